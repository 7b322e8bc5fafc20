//! What people said of alarms, when the program that takes it dies: it is there wholly or not at all, a daemon that is
//! started again goes on with it, and nobody is called twice.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::simulated::Simulated;
use dwellwatch::alarm::{AlarmEffect, Priority, Rule, State, Subject};
use dwellwatch::clock::wall_now;
use dwellwatch::entry::{HotEnd, PrinterName, ToolNumber};
use dwellwatch::points::Point;
use dwellwatch::rehearsal::{Fault, Shape};
use dwellwatch::store::{AlarmRow, Commit, Halt, Reader, Store, examine};
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// The daemon looks every five seconds; on a busy machine later.
const PATIENCE: Duration = Duration::from_secs(40);
const SIGKILL: i32 = 9;
const HOUR: Seconds = Seconds::new(3600.0);

/// The places that are on no other way.
pub(crate) const PLACES: [Point; 4] =
    [Point::AlarmSaid, Point::AlarmSaidCommitted, Point::HoldsEnded, Point::HoldsEndedCommitted];

/// A record in which T1 of the printer has waited too hot since that instant.
fn with_alarm(db: &Path, raised: Timestamp) -> Store {
    let (store, bench) = (Store::open(db).unwrap(), PrinterName::new("bench").unwrap());
    store.ensure_printer(&bench, HotEnd::Separate, 2).unwrap();
    let [cause, consequence, action] = ["c", "d", "e"].map(str::to_owned);
    let alarm = AlarmEffect::Raised {
        subject: Subject { rule: Rule::IdleHot, tool: ToolNumber::new(1) },
        at: raised,
        priority: Priority::Medium,
        suppressed: None,
        cause,
        consequence,
        action,
    };
    store.commit(Commit { printer: bench, effects: Vec::new(), alarms: vec![alarm], notices: true }).unwrap();
    store
}

fn alarms(db: &Path, words: &[&str], dies_at: Option<Point>) -> Output {
    let mut program = Command::new(PROGRAM);
    program.arg("--db").arg(db).arg("alarms").args(words).env("USER", "anna");
    program.envs(dies_at.map(|point| ("DWELLWATCH_DIES_AT", format!("{}:1", point.word()))));
    program.output().unwrap()
}

fn only(db: &Path) -> (AlarmRow, usize) {
    let reader = Reader::open(db).unwrap();
    let mut found = reader.alarms(None, None).unwrap();
    assert_eq!(found.len(), 1, "raised once: {found:?}");
    let alarm = found.pop().unwrap();
    let n_changes = reader.alarm_changes(alarm.id).unwrap().len();
    (alarm, n_changes)
}

fn n_notices(db: &Path) -> u32 {
    let db = rusqlite::Connection::open(db).unwrap();
    db.query_row("SELECT count(*) FROM outbox", [], |row| row.get(0)).unwrap()
}

#[test]
fn a_word_about_an_alarm_is_taken_wholly_or_not_at_all_wherever_the_command_dies() {
    for (point, is_taken) in [(Point::AlarmSaid, false), (Point::AlarmSaidCommitted, true)] {
        let folder = tempfile::tempdir().unwrap();
        let db = folder.path().join("bench.db");
        drop(with_alarm(&db, wall_now()));
        let died = alarms(&db, &["acknowledge", "1"], Some(point));
        assert_eq!(died.status.signal(), Some(SIGKILL), "{point:?}: {died:?}");
        examine(&db, &Halt::default()).unwrap();
        let (alarm, n_changes) = only(&db);
        let state = if is_taken { State::Acknowledged } else { State::Unacknowledged };
        assert_eq!((alarm.state, alarm.acknowledged.is_some()), (state, is_taken), "{point:?}");
        assert_eq!(n_changes, 1 + usize::from(is_taken), "{point:?}");
        let again = alarms(&db, &["acknowledge", "1"], None);
        let said = String::from_utf8(again.stdout).unwrap();
        assert_eq!(said.contains("already"), is_taken, "{point:?}: {said}");
        let (alarm, n_changes) = only(&db);
        assert_eq!((alarm.state, n_changes), (State::Acknowledged, 2), "{point:?}");
        assert_eq!(alarm.acknowledged_by.as_deref(), Some("anna (command line)"));
    }
}

#[test]
fn shelving_that_is_over_calls_once_wherever_the_daemon_dies() {
    for point in [Point::HoldsEnded, Point::HoldsEndedCommitted] {
        let host = Simulated::start(11, 1.0);
        let folder = tempfile::tempdir().unwrap();
        let mut daemon = Daemon::start(PROGRAM, folder.path(), &host.printer(Shape::Hearths, "bench"));
        assert!(daemon.stop().success());
        let raised = Timestamp::from_ms(wall_now().as_ms() - 2 * 3_600_000);
        let store = with_alarm(&daemon.db(), raised);
        let n_before = n_notices(&daemon.db());
        daemon.restart_to_die(Some(&format!("{}:1", point.word())));
        // Beside the running daemon, and over for an hour.
        let id = only(&daemon.db()).0.id;
        assert_eq!(store.shelve(id, HOUR, "anna", None, raised).unwrap().state, State::Shelved);
        assert!(daemon.dies(PATIENCE), "{point:?} was not passed; the log: {}", daemon.log());
        examine(&daemon.db(), &Halt::default()).unwrap();
        let is_ended = point == Point::HoldsEndedCommitted;
        assert_eq!(only(&daemon.db()).0.state == State::Unacknowledged, is_ended, "{point:?}");
        daemon.restart();
        let calls = || only(&daemon.db()).0.state == State::Unacknowledged;
        assert!(eventually(PATIENCE, calls), "{point:?}: {:?}", only(&daemon.db()));
        assert!(daemon.record().holds().unwrap().is_empty());
        assert_eq!(n_notices(&daemon.db()), n_before + 1, "{point:?}");
        assert!(daemon.stop().success());
    }
}

#[test]
fn an_alarm_that_was_acknowledged_beside_the_daemon_stays_so_when_that_is_killed() {
    let host = Simulated::start(11, 1.0);
    let folder = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(PROGRAM, folder.path(), &host.printer(Shape::Hearths, "bench"));
    host.fault(Some(Fault::Unauthorized));
    let refuses =
        || daemon.record().alarms(None, None).unwrap().iter().any(|alarm| alarm.subject.rule == Rule::HostRefuses);
    assert!(eventually(PATIENCE, refuses), "{}", daemon.log());
    let of = |db: &Path| {
        let alarms = Reader::open(db).unwrap().alarms(None, None).unwrap();
        let mut of: Vec<_> = alarms.into_iter().filter(|alarm| alarm.subject.rule == Rule::HostRefuses).collect();
        assert_eq!(of.len(), 1, "raised once: {of:?}");
        of.pop().unwrap()
    };
    let id = of(&daemon.db()).id;
    let said = alarms(&daemon.db(), &["acknowledge", &id.to_string()], None);
    let told = String::from_utf8(said.stdout).unwrap();
    assert!(told.contains("is acknowledged") && told.contains("stands"), "{told}");
    daemon.kill();
    daemon.restart();
    assert_eq!(of(&daemon.db()).state, State::Acknowledged);
    host.fault(None);
    let is_over = || of(&daemon.db()).state == State::Normal;
    assert!(eventually(Duration::from_secs(90), is_over), "{:?}: {}", of(&daemon.db()), daemon.log());
    assert!(daemon.stop().success());
}
