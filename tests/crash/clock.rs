//! The daemon whose machine's clock is wrong by a year: set back and right again in mid-print, set forwards and back,
//! and started behind its own record.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_tests::page;
use dwell_tests::simulated::{POLL_S, Simulated};
use dwellwatch::app::App;
use dwellwatch::clock::{Clock, wall_now};
use dwellwatch::config::Config;
use dwellwatch::entry::{PrinterName, Reading};
use dwellwatch::rehearsal::Shape;
use dwellwatch::store::{PrintFilter, Reader, SpanFilter, Store};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::thread::{self, JoinHandle, sleep};
use std::time::Duration;
use tokio::sync::oneshot;

const YEAR_MS: i64 = 365 * 86_400_000;
const YEAR_S: f64 = 365.0 * 86_400.0;
/// Simulated seconds a real second: the job's turns take two real seconds and more.
const RATE: f64 = 20.0;
/// From here on the job changes tools every minute or two, simulated seconds.
const STEADY_FROM: i64 = 900;
/// How long the clock is let be, each time.
const A_WHILE: Duration = Duration::from_secs(4);
/// Between two readings at most, on a busy machine.
const APART_MAX: f64 = POLL_S + 1.3;

/// A daemon in this process, by a clock of the test's.
struct Watching {
    port: u16,
    stop: oneshot::Sender<()>,
    thread: JoinHandle<()>,
}

impl Watching {
    fn start(db: &Path, printer: &str, shown: fn() -> Timestamp) -> Self {
        let config = Config::parse(printer, db).unwrap();
        let store = Store::open(db).unwrap();
        let clock = Arc::new(Clock::showing(shown, store.reader().unwrap().newest().unwrap()));
        let (stop, stopped) = oneshot::channel();
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        listener.set_nonblocking(true).unwrap();
        let port = listener.local_addr().unwrap().port();
        let thread = thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(async {
                let listener = tokio::net::TcpListener::from_std(listener).unwrap();
                let app = App { config, store, clock, listener, rehearsal: false };
                app.run(async { drop(stopped.await) }).await.unwrap();
            });
        });
        Self { port, stop, thread }
    }

    /// Whether the Now page says that the printer is in contact.
    fn is_in_contact(&self) -> bool {
        let page = page::get(self.port, "/").unwrap();
        page.contains("200 OK") && page.contains("in contact since")
    }

    fn stop(self) {
        self.stop.send(()).unwrap();
        self.thread.join().unwrap();
    }
}

fn readings(db: &Path) -> Vec<Reading> {
    let reader = Reader::open(db).unwrap();
    reader.readings(&PrinterName::new("bench").unwrap(), None, None).unwrap().collect::<Result<_, _>>().unwrap()
}

/// Checks that readings follow each other as polls do but for `n_gaps`, and gives what passes in these.
fn check_order(db: &Path, n_gaps: usize) -> Vec<Seconds> {
    let readings = readings(db);
    let steps: Vec<(Seconds, bool)> =
        readings.windows(2).map(|pair| (pair[1].at - pair[0].at, pair[1].after_gap)).collect();
    assert!(steps.iter().all(|(step, _)| *step > Seconds::ZERO), "out of order: {steps:?}");
    let within = steps.iter().filter(|(_, after_gap)| !after_gap);
    assert!(within.clone().all(|(step, _)| step.get() < APART_MAX), "{steps:?}");
    let gaps: Vec<Seconds> = steps.iter().filter(|(_, after_gap)| *after_gap).map(|(step, _)| *step).collect();
    let reader = Reader::open(db).unwrap();
    let told: Vec<Seconds> =
        reader.gaps(None, None).unwrap().iter().map(|gap| gap.ended.unwrap() - gap.began).collect();
    assert_eq!((&gaps, gaps.len()), (&told, n_gaps), "every jump is a gap, and nothing else is");
    gaps
}

/// One print, still on, and no more waiting in it than there was time for.
fn check_print(db: &Path, lasted: Duration) {
    let reader = Reader::open(db).unwrap();
    let prints = reader.prints(&PrintFilter::default()).unwrap();
    assert!(prints.len() == 1 && prints[0].ended.is_none(), "one print, which goes on: {prints:?}");
    assert!(reader.tool_changes(prints[0].id).unwrap().len() >= 2, "tools are followed all along");
    let spans = reader.spans(&SpanFilter::default()).unwrap();
    let idle: f64 = spans.iter().filter_map(|span| span.idle).map(Seconds::get).sum();
    assert!(idle > 0.0 && idle <= 2.0 * lasted.as_secs_f64(), "two tools idled {idle} s in {lasted:?}: {spans:?}");
}

fn place(folder: &Path) -> PathBuf {
    folder.join("bench.db")
}

#[test]
fn a_clock_that_is_set_back_a_year_in_mid_print_and_right_again_changes_nothing() {
    static OFF_MS: AtomicI64 = AtomicI64::new(0);
    fn shown() -> Timestamp {
        Timestamp::from_ms(wall_now().as_ms() + OFF_MS.load(Ordering::Relaxed))
    }
    let host = Simulated::at_new_turn(3, STEADY_FROM, RATE);
    let folder = tempfile::tempdir().unwrap();
    let db = place(folder.path());
    let began = wall_now();
    let watching = Watching::start(&db, &host.printer(Shape::Hearths, "bench"), shown);
    for off_ms in [0, -YEAR_MS, 0] {
        OFF_MS.store(off_ms, Ordering::Relaxed);
        sleep(A_WHILE);
        assert!(watching.is_in_contact(), "{off_ms} ms off");
    }
    let ended = wall_now();
    watching.stop();
    check_order(&db, 0);
    check_print(&db, 3 * A_WHILE);
    let all = readings(&db);
    let (first, last) = (all[0].at, all[all.len() - 1].at);
    assert!(first >= began && (ended - last).get().abs() < APART_MAX, "{first:?} to {last:?}, by the right clock");
}

#[test]
fn a_clock_that_is_set_forwards_a_year_leaves_one_gap_and_nothing_is_lost_when_it_is_right_again() {
    static OFF_MS: AtomicI64 = AtomicI64::new(0);
    fn shown() -> Timestamp {
        Timestamp::from_ms(wall_now().as_ms() + OFF_MS.load(Ordering::Relaxed))
    }
    let host = Simulated::at_new_turn(4, STEADY_FROM, RATE);
    let folder = tempfile::tempdir().unwrap();
    let db = place(folder.path());
    let printer = host.printer(Shape::Hearths, "bench");
    let watching = Watching::start(&db, &printer, shown);
    for off_ms in [0, YEAR_MS, 0] {
        OFF_MS.store(off_ms, Ordering::Relaxed);
        sleep(A_WHILE);
        assert!(watching.is_in_contact(), "{off_ms} ms off");
    }
    watching.stop();
    let before = readings(&db);
    let gaps = check_order(&db, 1);
    assert!((gaps[0].get() - YEAR_S).abs() < APART_MAX, "{gaps:?}");
    check_print(&db, 3 * A_WHILE);

    // Started with a right clock, behind its record.
    let watching = Watching::start(&db, &printer, wall_now);
    sleep(A_WHILE);
    assert!(watching.is_in_contact());
    watching.stop();
    let gaps = check_order(&db, 2);
    assert!(gaps[1].get() < APART_MAX, "how long it was away is not known: {gaps:?}");
    check_print(&db, 4 * A_WHILE);
    let all = readings(&db);
    assert!(all.starts_with(&before) && all.len() > before.len() + 10, "{} readings, then {}", before.len(), all.len());

    // What a person says now is said after what is recorded.
    let program = env!("CARGO_BIN_EXE_dwellwatch-under-test");
    let said = |arguments: &[&str]| {
        let output = Command::new(program).args(arguments).arg("--db").arg(&db).output().unwrap();
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    };
    said(&["part", "fitted", "--printer", "bench", "--tool", "1", "--part", "nozzle"]);
    said(&["note", "--print", "latest", "--clean"]);
    let newest = all[all.len() - 1].at;
    let reader = Reader::open(&db).unwrap();
    assert!(reader.parts(None).unwrap().iter().all(|row| row.change.at >= newest));
    let noted = reader.prints(&PrintFilter::default()).unwrap().remove(0).outcomes;
    assert!(noted.len() == 1 && noted[0].at >= newest, "{noted:?}");
}
