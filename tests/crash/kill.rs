//! The daemon killed in mid-print at moments drawn by chance: its record beside that of a daemon on the same host that
//! nobody killed.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_tests::daemon::Daemon;
use dwell_tests::simulated::{POLL_S, Simulated};
use dwellwatch::clock::wall_now;
use dwellwatch::rehearsal::Shape;
use dwellwatch::store::{PrintFilter, PrintRow, SpanFilter};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// Both daemons see a change within a poll of each other; as much again for a busy machine.
const APART: f64 = 2.0 * POLL_S;
/// Simulated seconds a real second: the job's turns of 40 s and more take 2 s and more.
const RATE: f64 = 20.0;
/// From here on the job changes tools every minute or two, simulated seconds.
const STEADY_FROM: i64 = 900;
/// From the start of both daemons to their end.
const RUN: Duration = Duration::from_secs(20);
const KILLS: u64 = 10;
/// Runs at a time: twice as many daemons share the machine.
const AT_ONCE: usize = 5;

/// What a record says of something that began and, perhaps, ended: what, and at which instants.
type Event = (String, Vec<Timestamp>);

struct Outage {
    from: Timestamp,
    to: Timestamp,
}

fn print(daemon: &Daemon) -> PrintRow {
    let prints = daemon.record().prints(&PrintFilter::default()).unwrap();
    assert!(prints.len() == 1 && prints[0].ended.is_none(), "one print, which goes on: {prints:?}");
    prints[0].clone()
}

fn tool_changes(daemon: &Daemon) -> Vec<Event> {
    let changes = daemon.record().tool_changes(print(daemon).id).unwrap();
    changes.iter().map(|change| (format!("T{} to T{}", change.from.idx(), change.to.idx()), vec![change.at])).collect()
}

/// The spans that have ended, but the one that began with the record.
fn spans(daemon: &Daemon) -> Vec<Event> {
    let started = print(daemon).started;
    let spans = daemon.record().spans(&SpanFilter::default()).unwrap();
    let ended = spans.iter().filter(|span| span.began > started).filter_map(|span| {
        Some((format!("T{} {}", span.tool.idx(), span.context.word()), vec![span.began, span.ended?]))
    });
    ended.collect()
}

/// The same events in the same order, at the same instants but for a poll, or for the outage where it hid one.
fn check_same(killed: &[Event], whole: &[Event], outage: &Outage, until: Timestamp, context: &str) {
    let is_due = |event: &&Event| event.1.iter().all(|at| *at < until);
    let wanted: Vec<&Event> = whole.iter().filter(is_due).collect();
    assert!(!wanted.is_empty(), "{context}: nothing to compare in {whole:?}");
    assert!(killed.len() >= wanted.len(), "{context}: lost: {killed:?} of {whole:?}");
    for (found, wanted) in killed.iter().zip(&wanted) {
        assert!(found.0 == wanted.0 && found.1.len() == wanted.1.len(), "{context}: {found:?}, not {wanted:?}");
        for (found, wanted) in found.1.iter().zip(&wanted.1) {
            let late = (*found - *wanted).get();
            let was_hidden = *wanted >= outage.from - Seconds::new(APART) && *wanted <= outage.to;
            let latest = if was_hidden { (outage.to - *wanted).get().max(0.0) + APART } else { APART };
            assert!((-APART..=latest).contains(&late), "{context}: {late} s apart: {killed:?} and {whole:?}");
        }
    }
    for extra in &killed[wanted.len()..] {
        let near_end = extra.1.iter().any(|at| *at > until - Seconds::new(APART));
        assert!(near_end, "{context}: made up: {extra:?}, beside {whole:?}");
    }
}

/// One run: two daemons on one host, one of them killed `after` the start of both.
fn run(seed: u64, after: Duration) {
    let context = format!("seed {seed}, killed after {after:?}");
    let host = Simulated::at_new_turn(seed, STEADY_FROM, RATE);
    let folder = tempfile::tempdir().unwrap();
    let printer = host.printer(Shape::Hearths, "bench");
    let start = |name: &str| Daemon::start(PROGRAM, &folder.path().join(name), &printer);
    let (mut killed, mut whole) = (start("killed"), start("whole"));
    let started = Instant::now();
    sleep(after);
    let from = wall_now();
    killed.kill();
    let before = print(&killed);
    let n_before = tool_changes(&killed).len();
    killed.restart();
    // The first poll follows the start at once; the page stands by then.
    let outage = Outage { from, to: wall_now() + Seconds::new(POLL_S) };
    assert!((outage.to - outage.from).get() < 1.8, "{context}: a turn may have gone by unseen");
    sleep(RUN.saturating_sub(started.elapsed()));
    let until = wall_now() - Seconds::new(1.0);
    assert!(killed.stop().success() && whole.stop().success(), "{context}: {}", killed.log());

    let db = rusqlite::Connection::open(killed.db()).unwrap();
    let sound: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(sound, "ok", "{context}");
    let after = print(&killed);
    assert_eq!((after.id, after.started), (before.id, before.started), "{context}: still the same print");
    assert!(tool_changes(&killed).len() >= n_before, "{context}");
    check_same(&tool_changes(&killed), &tool_changes(&whole), &outage, until, &context);
    check_same(&spans(&killed), &spans(&whole), &outage, until, &context);
    let gaps = killed.record().gaps(None, None).unwrap();
    assert!(gaps.is_empty(), "{context}: the outage was shorter than a gap: {gaps:?}");
    check_readings(&killed, &outage, &context);
}

/// What a kill may lose are the plain readings since the last event, whose commit took all before it along.
fn check_readings(killed: &Daemon, outage: &Outage, context: &str) {
    let at: Vec<Timestamp> = killed.readings("bench").iter().map(|reading| reading.at).collect();
    let changes = tool_changes(killed).into_iter().flat_map(|(_, at)| at);
    let last_event = changes.filter(|at| *at < outage.from).max().unwrap_or(at[0]);
    assert!(at.contains(&last_event), "{context}");
    let holes = at.windows(2).filter(|pair| (pair[1] - pair[0]).get() > 1.5);
    let unexplained = holes.filter(|pair| pair[0] < last_event || pair[1] < outage.from || pair[0] > outage.to);
    let unexplained: Vec<_> = unexplained.collect();
    assert!(unexplained.is_empty(), "{context}: {unexplained:?}, last event at {last_event:?}");
}

#[test]
fn a_kill_in_mid_print_costs_no_event_and_no_readings_but_those_since_the_last_event() {
    let seed = u64::try_from(wall_now().as_ms()).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let moments: Vec<(u64, Duration)> =
        (0..KILLS).map(|run| (seed + run, Duration::from_millis(rng.random_range(1000..15_000)))).collect();
    for together in moments.chunks(AT_ONCE) {
        thread::scope(|scope| {
            for (seed, after) in together {
                scope.spawn(move || run(*seed, *after));
            }
        });
    }
}
