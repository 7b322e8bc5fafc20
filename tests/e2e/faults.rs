//! Each way in which a host can fail, from its socket to the page: the cause is named, the daemon lives on, and the
//! record holds nothing of the time in which nothing was told.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::simulated::{POLL_S, Simulated};
use dwellwatch::alarm::Rule;
use dwellwatch::clock::wall_now;
use dwellwatch::entry::{HotEnd, Reading};
use dwellwatch::rehearsal::shape::{
    HEARTHS_PATH, PANEL_HEAT_PATH, PANEL_TASK_PATH, hearths, panel_heat, panel_task, printer_toml,
};
use dwellwatch::rehearsal::{Fault, LiveJob, Shape};
use dwellwatch::store::PrintFilter;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::thread::{self, sleep};
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// The page names a cause with the first poll that fails: that takes its deadline at the longest.
const NAMED_WITHIN: Duration = Duration::from_secs(12);
/// A silence is a gap after 20 s, and a host that refused is asked again after 60.
const PATIENCE: Duration = Duration::from_secs(80);
/// A reading is stamped before it is asked for: one that is stamped this shortly before a fault ends may be sound.
const EDGE: Seconds = Seconds::new(0.5);
/// Silence that is longer is a gap.
const SILENCE_MAX: Seconds = Seconds::new(20.0);

/// A daemon that watches a simulated host, and sees it.
struct Bench {
    host: Simulated,
    daemon: Daemon,
    _folder: TempDir,
}

impl Bench {
    fn new(shape: Shape) -> Self {
        let host = Simulated::start(11, 1.0);
        let folder = tempfile::tempdir().unwrap();
        let daemon = Daemon::start(PROGRAM, folder.path(), &host.printer(shape, "bench"));
        let bench = Self { host, daemon, _folder: folder };
        assert!(eventually(PATIENCE, || bench.page_shows("lantern.gcode")), "{}", bench.daemon.log());
        sleep(Duration::from_secs(1));
        bench
    }

    fn page_shows(&self, text: &str) -> bool {
        self.daemon.page().contains(text)
    }

    /// Lets the host fail until the page has named the cause, at once, and the silence, once it is a gap; gives when the
    /// fault began and ended.
    fn fail(&self, fault: Fault, named: &str) -> (Timestamp, Timestamp) {
        let is_gone = fault == Fault::Gone;
        assert!(!self.page_shows(named) && !self.daemon.log().contains(named));
        self.host.fault(Some(fault));
        if is_gone {
            // Connections that are open may still be answered while the host goes.
            sleep(Duration::from_millis(500));
        }
        let from = wall_now();
        assert!(eventually(NAMED_WITHIN, || self.page_shows(named)), "{named}: {}", self.daemon.page());
        assert!(!self.page_shows("No reading since"), "{named}: named before the silence is a gap");
        assert!(eventually(PATIENCE, || self.page_shows("No reading since")), "{named}: {}", self.daemon.page());
        let to = wall_now();
        self.host.fault(None);
        (from, to)
    }

    /// Waits for sound readings, stops the daemon, and gives what it has recorded.
    fn recovered(&mut self, named: &str) -> Vec<Reading> {
        assert!(eventually(PATIENCE, || self.daemon.log().contains("readings again")), "{}", self.daemon.log());
        assert!(eventually(PATIENCE, || !self.page_shows("Trouble with the host")), "{}", self.daemon.page());
        let log = self.daemon.log();
        let cause = log.lines().position(|line| line.contains("no reading") && line.contains(named));
        let again = log.lines().position(|line| line.contains("readings again"));
        assert!(cause.is_some() && cause < again, "{named}: {log}");
        sleep(Duration::from_secs(1));
        assert!(self.daemon.lives());
        assert!(self.daemon.stop().success(), "{}", self.daemon.log());
        self.daemon.readings("bench")
    }
}

/// Nothing inside the fault, something before and after it.
fn check_readings(readings: &[Reading], from: Timestamp, to: Timestamp) {
    let inside = readings.iter().filter(|reading| reading.at > from && reading.at < to - EDGE).count();
    let count = |wanted: fn(&Timestamp, &Timestamp) -> bool, edge: Timestamp| {
        readings.iter().filter(|reading| wanted(&reading.at, &edge)).count()
    };
    assert_eq!(inside, 0, "made up between {from:?} and {to:?}");
    assert!(count(Timestamp::lt, from) >= 3 && count(Timestamp::gt, to) >= 3, "{} readings", readings.len());
}

/// One fault that lasts until the page names it, from end to end.
fn long(fault: Fault, shape: Shape, named: &str) {
    let mut bench = Bench::new(shape);
    let is_refusal = fault == Fault::Unauthorized;
    let (from, to) = bench.fail(fault, named);
    let readings = bench.recovered(named);
    check_readings(&readings, from, to);
    let gaps = bench.daemon.record().gaps(None, None).unwrap();
    let [gap] = gaps.as_slice() else { unreachable!("{named}: one gap: {gaps:?}") };
    let silence = readings.windows(2).find(|pair| pair[1].at - pair[0].at > SILENCE_MAX).unwrap();
    assert_eq!((gap.began, gap.ended), (silence[0].at, Some(silence[1].at)), "{named}");
    // The host fell silent while it was hot: raised when the silence became a gap, gone with the first reading.
    let alarms = bench.daemon.record().alarms(None, None).unwrap();
    let of = |rule| alarms.iter().filter(|alarm| alarm.subject.rule == rule).collect::<Vec<_>>();
    let [silent] = *of(Rule::HostSilent) else { unreachable!("{named}: one alarm: {alarms:?}") };
    assert_eq!((silent.raised, silent.returned), (gap.began + SILENCE_MAX, gap.ended), "{named}");
    assert!(silent.cause.contains("T0 at"), "{silent:?}");
    let refuses = of(Rule::HostRefuses);
    assert_eq!(refuses.len(), usize::from(is_refusal), "{named}: {refuses:?}");
    assert!(refuses.iter().all(|alarm| alarm.returned == gap.ended && alarm.cause.contains(named)), "{refuses:?}");
    let prints = bench.daemon.record().prints(&PrintFilter::default()).unwrap();
    assert!(prints.len() == 1 && prints[0].ended.is_none(), "{named}: the same print goes on: {prints:?}");
}

#[test]
fn each_fault_is_named_leaves_one_gap_with_nothing_in_it_and_the_print_goes_on_after_it() {
    let away = Fault::Redirect("http://127.0.0.1:9/else".to_owned());
    let faults = [
        (Fault::Slow(Duration::from_secs(8)), Shape::Hearths, "no whole answer within 5 s"),
        (Fault::CutOff, Shape::Hearths, "cut off before the answer"),
        (Fault::Garbage, Shape::Panel, "answer is not JSON"),
        (Fault::ServerError, Shape::Panel, "host answers 500"),
        (Fault::Unauthorized, Shape::Hearths, "its key belongs under printer.headers"),
        (Fault::Huge, Shape::Hearths, "answer larger than 1048576 bytes"),
        (Fault::Gone, Shape::Hearths, "connection refused"),
        (away, Shape::Panel, "redirected away to http://127.0.0.1:9;"),
    ];
    // A fault that fails stops the test when all are over.
    thread::scope(|scope| {
        for (fault, shape, named) in faults {
            scope.spawn(move || long(fault, shape, named));
        }
    });
}

#[test]
fn a_short_fault_is_named_in_the_log_and_is_no_gap() {
    let mut bench = Bench::new(Shape::Hearths);
    let from = wall_now();
    bench.host.fault(Some(Fault::ServerError));
    sleep(Duration::from_secs(3));
    let to = wall_now();
    bench.host.fault(None);
    check_readings(&bench.recovered("host answers 500"), from, to);
    let gaps = bench.daemon.record().gaps(None, None).unwrap();
    assert!(gaps.is_empty(), "{gaps:?}");
}

#[test]
fn a_document_that_is_gone_is_named_on_the_page_while_the_rest_is_read() {
    let mut bench = Bench::new(Shape::Panel);
    let from = wall_now();
    bench.host.fault(Some(Fault::NoHeat));
    let named = "/panel/heat: host answers 404";
    assert!(eventually(NAMED_WITHIN, || bench.page_shows(named)), "{}", bench.daemon.page());
    let is_vague = || bench.page_shows("its temperature is not told");
    assert!(eventually(NAMED_WITHIN, is_vague) && !bench.page_shows("No reading since"), "{}", bench.daemon.page());
    sleep(Duration::from_secs(3));
    let to = wall_now();
    bench.host.fault(None);
    assert!(eventually(NAMED_WITHIN, || !bench.page_shows(named)), "{}", bench.daemon.page());
    assert!(bench.daemon.stop().success());
    let inside = |reading: &&Reading| reading.at > from + EDGE && reading.at < to - EDGE;
    let readings = bench.daemon.readings("bench");
    let lacking: Vec<&Reading> = readings.iter().filter(inside).collect();
    assert!(lacking.len() >= 3, "{}", lacking.len());
    let is_untold =
        |reading: &&Reading| reading.tools.iter().all(|tool| tool.actual.is_none() && tool.target.is_none());
    assert!(lacking.iter().all(|reading| is_untold(reading) && reading.job.name.is_some()), "{lacking:?}");
    assert!(bench.daemon.record().gaps(None, None).unwrap().is_empty());
}

#[test]
fn a_tool_that_the_printer_does_not_have_is_left_out_and_counted_on_the_page() {
    let mut bench = Bench::new(Shape::Panel);
    let before = bench.daemon.page();
    assert!(!before.contains("tool out of range"), "{before}");
    let from = wall_now() + EDGE;
    bench.host.fault(Some(Fault::ToolOutOfRange));
    assert!(eventually(PATIENCE, || bench.page_shows("tool out of range")), "{}", bench.daemon.page());
    sleep(Duration::from_secs(2));
    let to = wall_now();
    bench.host.fault(None);
    sleep(Duration::from_secs(2));
    assert!(bench.daemon.lives() && bench.daemon.stop().success());
    check_readings(&bench.daemon.readings("bench"), from, to);
    let refused = bench.daemon.record().refused(None, None).unwrap();
    assert!(refused.len() == 1 && refused[0].reason == "tool_out_of_range" && refused[0].n >= 3, "{refused:?}");
}

/// Serves both shapes of one reading for ever, and gives where.
fn standing(reading: Reading) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let base = format!("http://{}", listener.local_addr().unwrap());
    thread::spawn(move || {
        for mut connection in listener.incoming().map(Result::unwrap) {
            let mut asked = [0; 4096];
            let n_read = connection.read(&mut asked).unwrap();
            let asked = String::from_utf8_lossy(&asked[..n_read]).into_owned();
            let document = match asked.split(' ').nth(1).unwrap() {
                HEARTHS_PATH => hearths(&reading, HotEnd::Separate),
                PANEL_HEAT_PATH => panel_heat(&reading, HotEnd::Separate),
                PANEL_TASK_PATH => panel_task(&reading),
                other => unreachable!("{other}"),
            };
            let body = document.to_string();
            let head = format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\nConnection: close", body.len());
            write!(connection, "{head}\r\n\r\n{body}").unwrap();
        }
    });
    base
}

#[test]
fn both_shapes_of_one_reading_are_recorded_as_the_same_temperatures() {
    let reading = LiveJob::new(11, HotEnd::Separate).reading(Timestamp::from_ms(0));
    let base = standing(reading.clone());
    let folder = tempfile::tempdir().unwrap();
    let printer = |shape, name| printer_toml(shape, HotEnd::Separate, &base, name, POLL_S);
    let printers = printer(Shape::Hearths, "celsius") + &printer(Shape::Panel, "fahrenheit");
    let mut daemon = Daemon::start(PROGRAM, folder.path(), &printers);
    sleep(Duration::from_secs(2));
    assert!(daemon.stop().success());
    let temperatures = |reading: &Reading| -> Vec<f64> {
        let heaters = reading.tools.iter().chain(&reading.bed);
        let both = heaters.flat_map(|heater| [heater.actual.unwrap(), heater.target.unwrap()]);
        both.map(|temp| temp.celsius().get()).collect()
    };
    let told = temperatures(&reading);
    assert!(told.len() == 6 && told[0] > 150.0, "{told:?}");
    for name in ["celsius", "fahrenheit"] {
        let recorded = daemon.readings(name);
        assert!(recorded.len() >= 3, "{name}: {}", recorded.len());
        for found in recorded.iter().map(temperatures) {
            let is_near = told.iter().zip(&found).all(|(told, found)| (told - found).abs() <= 0.06);
            assert!(is_near && found.len() == told.len(), "{name}: {told:?} and {found:?}");
        }
    }
}

/// Receives one notice, answers `status`, and gives the whole request.
fn receive(listener: &TcpListener, status: &str) -> String {
    let (mut connection, _) = listener.accept().unwrap();
    connection.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    let mut asked = String::new();
    let is_whole = |asked: &str| {
        let Some((head, body)) = asked.split_once("\r\n\r\n") else { return false };
        let length = head.lines().find_map(|line| line.to_lowercase().strip_prefix("content-length: ")?.parse().ok());
        length.is_some_and(|length: usize| body.len() >= length)
    };
    while !is_whole(&asked) {
        let mut piece = [0; 4096];
        let n_read = connection.read(&mut piece).unwrap();
        assert!(n_read > 0, "{asked}");
        asked.push_str(&String::from_utf8_lossy(&piece[..n_read]));
    }
    write!(connection, "HTTP/1.1 {status}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").unwrap();
    asked
}

#[test]
fn a_notice_that_was_refused_survives_a_kill_and_arrives_under_the_same_key() {
    let host = Simulated::start(11, 1.0);
    let folder = tempfile::tempdir().unwrap();
    let receiver = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = receiver.local_addr().unwrap();
    let alert = "[alarm]\nidle_over_c = 40\nidle_for_min = 0.05\n";
    let notify = format!("[notify]\nwebhook = \"http://{address}/alarms\"\n");
    let configuration = notify + alert + &host.printer(Shape::Hearths, "bench");
    let mut daemon = Daemon::start(PROGRAM, folder.path(), &configuration);
    let refused = receive(&receiver, "500 Internal Server Error");
    assert!(eventually(PATIENCE, || daemon.log().contains("receiver answers 500")), "{}", daemon.log());
    daemon.kill();
    drop(receiver);
    let receiver = TcpListener::bind(address).unwrap();
    daemon.restart();
    let arrived = receive(&receiver, "200 OK");
    let key = |asked: &str| asked.lines().find(|line| line.starts_with("idempotency-key: ")).unwrap().to_owned();
    let body =
        |asked: &str| -> serde_json::Value { serde_json::from_str(asked.split_once("\r\n\r\n").unwrap().1).unwrap() };
    assert_eq!((key(&arrived), body(&arrived)), (key(&refused), body(&refused)));
    assert!(body(&arrived).to_string().contains("idle_hot"), "{arrived}");
    let delivered = || {
        let db = rusqlite::Connection::open(daemon.db()).unwrap();
        let sql =
            "SELECT count(*) FROM message WHERE channel = 'webhook' AND delivered_ms IS NOT NULL AND attempts >= 2";
        db.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap() == 1
    };
    assert!(eventually(PATIENCE, delivered), "{}", daemon.log());
}
