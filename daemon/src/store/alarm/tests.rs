//! What people do about alarms, against the record: states, changes, notices, and what is refused.

use super::*;
use crate::alarm::{Priority, Rule};
use crate::entry::HotEnd;
use crate::store::{AlarmChangeRow, Commit, Committed, HoldKind, Store};
use dwell_analysis::units::Seconds;
use tempfile::TempDir;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);
const HOUR: Seconds = Seconds::new(3600.0);
const IDLE: Subject = Subject { rule: Rule::IdleHot, tool: Some(ToolNumber::FIRST) };

fn at(minute: u32) -> Timestamp {
    START + Seconds::minutes(f64::from(minute))
}

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

struct Record {
    store: Store,
    folder: TempDir,
}

impl Record {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("bench.db")).unwrap();
        store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
        Self { store, folder }
    }

    fn commit(&self, alarm: AlarmEffect) -> Committed {
        let commit = Commit { printer: bench(), effects: Vec::new(), alarms: vec![alarm], notices: true };
        self.store.commit(commit).unwrap()
    }

    /// Raises the alarm, and gives its number.
    fn raise(&self, minute: u32) -> i64 {
        self.commit(raised(minute));
        self.store.reader().unwrap().alarm_of(Some(&bench()), IDLE, at(minute)).unwrap().unwrap().id
    }

    fn alarm(&self, id: i64) -> AlarmRow {
        self.store.reader().unwrap().alarm(id).unwrap().unwrap()
    }

    fn state(&self, id: i64) -> State {
        self.alarm(id).state
    }

    /// What happened to it: minute, from, to, who.
    fn changes(&self, id: i64) -> Vec<(Timestamp, State, State, String)> {
        let row = |row: AlarmChangeRow| (row.at, row.from, row.to, row.by);
        self.store.reader().unwrap().alarm_changes(id).unwrap().into_iter().map(row).collect()
    }

    /// The notices' keys, without the record's word.
    fn notices(&self) -> Vec<String> {
        let sql = "SELECT substr(key, 18) FROM outbox ORDER BY id";
        let db = rusqlite::Connection::open(self.store.path()).unwrap();
        let mut statement = db.prepare(sql).unwrap();
        statement.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    }

    /// From now on the record may not be written, or may be again.
    fn close(&self, is_closed: bool) {
        self.store.call(move |writer| Ok(writer.db.pragma_update(None, "query_only", is_closed)?)).unwrap();
    }
}

fn raised(minute: u32) -> AlarmEffect {
    let [cause, consequence, action] = ["c", "d", "e"].map(str::to_owned);
    let (subject, at, priority) = (IDLE, at(minute), Priority::Medium);
    AlarmEffect::Raised { subject, at, priority, suppressed: None, cause, consequence, action }
}

fn suppressed(minute: u32, why: Suppressed) -> AlarmEffect {
    let AlarmEffect::Raised { subject, at, priority, cause, consequence, action, .. } = raised(minute) else {
        unreachable!("raised")
    };
    AlarmEffect::Raised { subject, at, priority, suppressed: Some(why), cause, consequence, action }
}

fn gone(raised: u32, minute: u32) -> AlarmEffect {
    AlarmEffect::Returned { subject: IDLE, raised: at(raised), at: at(minute), is_superseded: false }
}

fn key(minute: u32, way: &str) -> String {
    format!("bench.T0-idle_hot-{}-{way}", at(minute).as_ms())
}

#[test]
fn what_is_seen_and_what_is_over_are_told_apart_and_every_change_has_its_author() {
    let record = Record::new();
    let (seen, unseen) = (record.raise(0), 2);
    assert_eq!(record.state(seen), State::Unacknowledged);
    let acted = record.store.acknowledge(seen, "anna", Some("on my way"), at(3)).unwrap();
    assert_eq!(acted, Acted { state: State::Acknowledged, is_new: true });
    assert_eq!(record.alarm(seen).returned, None, "acknowledging never clears");
    record.commit(gone(0, 5));
    assert_eq!(record.state(seen), State::Normal);
    assert_eq!(record.raise(10), unseen);
    record.commit(gone(10, 12));
    assert_eq!(record.state(unseen), State::ReturnedUnacknowledged, "clearing never acknowledges");
    let open = record.store.reader().unwrap().open_alarms().unwrap();
    assert_eq!(open.iter().map(|row| row.id).collect::<Vec<_>>(), [unseen]);
    let acted = record.store.acknowledge(unseen, "ben", None, at(20)).unwrap();
    assert_eq!(acted, Acted { state: State::Normal, is_new: true });

    let row = record.alarm(seen);
    assert_eq!((row.acknowledged, row.acknowledged_by.as_deref()), (Some(at(3)), Some("anna")));
    let dwellwatch = || DWELLWATCH.to_owned();
    let wanted = [
        (at(0), State::Normal, State::Unacknowledged, dwellwatch()),
        (at(3), State::Unacknowledged, State::Acknowledged, "anna".to_owned()),
        (at(5), State::Acknowledged, State::Normal, dwellwatch()),
    ];
    assert_eq!(record.changes(seen), wanted);
    assert_eq!(record.changes(unseen)[2].3, "ben");
    let told = [key(0, "raised"), key(0, "returned"), key(10, "raised"), key(10, "returned")];
    assert_eq!(record.notices(), told);
}

#[test]
fn who_says_it_twice_has_said_it_once_and_who_says_it_too_early_has_said_it_when_it_was_raised() {
    let record = Record::new();
    let id = record.raise(10);
    record.store.acknowledge(id, "anna", None, at(2)).unwrap();
    let again = record.store.acknowledge(id, "ben", None, at(20)).unwrap();
    assert_eq!(again, Acted { state: State::Acknowledged, is_new: false });
    record.commit(gone(10, 30));
    let again = record.store.acknowledge(id, "ben", None, at(40)).unwrap();
    assert_eq!(again, Acted { state: State::Normal, is_new: false });
    assert_eq!(record.alarm(id).acknowledged, Some(at(10)));
    assert_eq!(record.changes(id).len(), 3);
    for is_new in [true, false] {
        assert_eq!(record.store.mark(id, false, "anna", at(50)).unwrap(), Acted { state: State::Normal, is_new });
    }
    assert_eq!((record.alarm(id).is_right, record.changes(id).len()), (Some(false), 4));
}

#[test]
fn what_an_alarm_can_not_have_is_refused_with_what_was_found() {
    let record = Record::new();
    let id = record.raise(0);
    let said = |result: Result<Acted, AlarmError>| result.unwrap_err().to_string();
    let unshelved = said(record.store.unshelve(id, "anna", None, at(1)));
    assert_eq!(unshelved, format!("alarm {id}: it is unacknowledged, not shelved"));
    assert!(said(record.store.return_to_service(id, "anna", None, at(1))).contains("not out of service"));
    assert!(said(record.store.acknowledge(7, "anna", None, at(1))).contains("alarm 7: no such alarm"));
    assert!(said(record.store.acknowledge(id, " ", None, at(1))).contains("who"));
    for lasting in [Seconds::ZERO, SHELVED_MAX + HOUR] {
        assert!(said(record.store.shelve(id, lasting, "anna", None, at(1))).contains("7 days"));
    }
    record.store.out_of_service(id, "anna", Some("sensor is loose"), at(2)).unwrap();
    assert!(said(record.store.shelve(id, HOUR, "anna", None, at(3))).contains("return-to-service"));
    assert!(said(record.store.acknowledge(id, "anna", None, at(3))).contains("out of service"));
    let superseded = AlarmEffect::Returned { subject: IDLE, raised: at(0), at: at(4), is_superseded: true };
    record.commit(superseded);
    assert_eq!(record.state(id), State::OutOfService);
    record.store.return_to_service(id, "anna", None, at(5)).unwrap();
    assert!(said(record.store.acknowledge(id, "anna", None, at(6))).contains("nothing to acknowledge"));
}

#[test]
fn shelving_ends_by_itself_and_what_stands_calls_again_and_what_is_gone_does_not() {
    let record = Record::new();
    let first = record.raise(0);
    record.store.shelve(first, HOUR, "anna", Some("changing the nozzle"), at(1)).unwrap();
    let row = record.alarm(first);
    assert_eq!((row.state, row.shelved_until), (State::Shelved, Some(at(61))));
    record.commit(gone(0, 10));
    // Another one of the same thing is recorded, and calls nobody.
    let second = record.raise(20);
    assert_eq!((record.state(first), record.state(second)), (State::Shelved, State::Shelved));
    assert_eq!(record.notices(), [key(0, "raised")]);
    let held = record.store.reader().unwrap().holds().unwrap();
    assert_eq!((held.len(), held[0].kind, held[0].until), (1, HoldKind::Shelved, Some(at(61))));
    assert!(!record.store.end_holds(at(60)).unwrap());
    assert!(record.store.end_holds(at(61)).unwrap());
    assert_eq!((record.state(first), record.state(second)), (State::Normal, State::Unacknowledged));
    let again = format!("{}-again-{}", key(20, "raised"), at(61).as_ms());
    assert_eq!(record.notices(), [key(0, "raised"), again]);
    assert!(record.store.reader().unwrap().holds().unwrap().is_empty());
    assert!(!record.store.end_holds(at(62)).unwrap(), "it ends once");
    // What is raised now calls.
    record.commit(gone(20, 70));
    record.raise(71);
    assert_eq!(record.notices().len(), 4);
}

#[test]
fn shelving_can_be_ended_early_and_made_longer_and_out_of_service_does_not_end_by_itself() {
    let record = Record::new();
    let id = record.raise(0);
    record.store.shelve(id, HOUR, "anna", None, at(1)).unwrap();
    record.store.shelve(id, HOUR, "anna", None, at(31)).unwrap();
    assert_eq!(record.alarm(id).shelved_until, Some(at(91)));
    assert!(!record.store.end_holds(at(70)).unwrap());
    for is_new in [true, false] {
        let acted = record.store.unshelve(id, "ben", None, at(71)).unwrap();
        assert_eq!(acted, Acted { state: State::Unacknowledged, is_new });
    }
    assert_eq!(record.notices().len(), 2);
    for is_new in [true, false] {
        let acted = record.store.out_of_service(id, "ben", Some("sensor is loose"), at(80)).unwrap();
        assert_eq!(acted, Acted { state: State::OutOfService, is_new });
    }
    assert!(!record.store.end_holds(at(1_000_000)).unwrap());
    record.commit(gone(0, 90));
    let acted = record.store.return_to_service(id, "ben", None, at(100)).unwrap();
    assert_eq!(acted, Acted { state: State::Normal, is_new: true });
    assert_eq!(record.notices().len(), 2);
}

#[test]
fn what_comes_while_a_printer_is_set_up_is_recorded_and_what_stands_calls_when_that_is_over() {
    let record = Record::new();
    for minute in [0, 10] {
        record.commit(suppressed(minute, Suppressed::Commissioning));
        if minute == 0 {
            record.commit(gone(0, 5));
        }
    }
    let states = || {
        let alarms = record.store.reader().unwrap().alarms(None, None).unwrap();
        alarms.iter().map(|row| row.state).collect::<Vec<_>>()
    };
    assert_eq!((states(), record.notices().len()), (vec![State::Normal, State::SuppressedByDesign], 0));
    assert!(!record.store.end_suppression(vec![PrinterName::new("lantern").unwrap()], at(20)).unwrap());
    assert!(record.store.end_suppression(vec![bench()], at(20)).unwrap());
    assert_eq!((states(), record.notices().len()), (vec![State::Normal, State::Unacknowledged], 1));
}

#[test]
fn what_was_said_lately_calls_nobody_after_a_restart_either_and_is_over_with_its_condition() {
    let record = Record::new();
    let id = |minute| record.store.reader().unwrap().alarm_of(Some(&bench()), IDLE, at(minute)).unwrap().unwrap().id;
    record.commit(suppressed(0, Suppressed::SaidLately));
    assert_eq!(record.state(id(0)), State::SuppressedByDesign);
    // A start looks at what no longer holds alarms back.
    let again = Store::open(&record.folder.path().join("bench.db")).unwrap();
    assert!(!again.end_suppression(vec![bench()], at(20)).unwrap());
    drop(again);
    assert_eq!(record.state(id(0)), State::SuppressedByDesign);
    record.commit(gone(0, 30));
    assert_eq!(record.state(id(0)), State::Normal);
    record.commit(suppressed(40, Suppressed::SaidLately));
    record.commit(AlarmEffect::Returned { subject: IDLE, raised: at(40), at: at(45), is_superseded: true });
    assert_eq!(record.state(id(40)), State::Normal);
    assert!(record.store.reader().unwrap().open_alarms().unwrap().is_empty());
    assert!(record.notices().is_empty());
    let why = |minute| record.store.reader().unwrap().alarm_changes(id(minute)).unwrap()[0].why.clone();
    assert_eq!(why(0).as_deref(), Some("said lately"));
}

/// What a person said holds for what is seen while the disk takes nothing, and nothing that a person says then is half
/// taken.
#[tokio::test]
async fn while_the_disk_takes_nothing_words_are_refused_and_those_of_before_hold() {
    let record = Record::new();
    let id = record.raise(0);
    record.store.shelve(id, HOUR, "anna", None, at(1)).unwrap();
    record.close(true);
    assert_eq!(record.commit(gone(0, 10)), Committed::Waiting);
    for minute in [20, 70] {
        assert_eq!(record.commit(raised(minute)), Committed::Waiting);
        assert_eq!(record.commit(gone(minute, minute + 1)), Committed::Waiting);
    }
    let refused = record.store.acknowledge(id, "anna", None, at(30)).unwrap_err();
    assert!(matches!(&refused, AlarmError::Store(error) if error.is_transient()), "{refused}");
    assert!(refused.to_string().contains("read-only"), "{refused}");
    assert!(record.store.end_holds(at(80)).is_err());
    record.close(false);
    record.store.flush().unwrap();
    assert_eq!(record.notices(), [key(0, "raised"), key(70, "raised"), key(70, "returned")]);
    let states = || {
        let alarms = record.store.reader().unwrap().alarms(None, None).unwrap();
        alarms.iter().map(|row| row.state).collect::<Vec<_>>()
    };
    assert_eq!(states(), [State::Shelved, State::Shelved, State::ReturnedUnacknowledged]);
    assert!(record.store.end_holds(at(80)).unwrap());
    assert_eq!(states(), [State::Normal, State::Normal, State::ReturnedUnacknowledged]);
}

/// The disk may take something again only after the shelving is over.
#[test]
fn what_was_shelved_when_it_was_raised_is_let_go_though_it_is_written_later() {
    let record = Record::new();
    let id = record.raise(0);
    record.commit(gone(0, 1));
    record.store.shelve(id, HOUR, "anna", None, at(2)).unwrap();
    record.store.unshelve(id, "anna", None, at(30)).unwrap();
    let late = record.raise(20);
    assert_eq!(record.state(late), State::Shelved);
    assert!(record.store.end_holds(at(31)).unwrap());
    assert_eq!(record.state(late), State::Unacknowledged);
    let before = Store::open(&record.folder.path().join("bench.db")).unwrap();
    assert_eq!(before.acknowledge(late, "ben", None, at(32)).unwrap().state, State::Acknowledged, "beside a writer");
}

#[test]
fn notices_that_leave_memory_keep_to_what_a_person_said() {
    let record = Record::new();
    let id = record.raise(0);
    record.commit(gone(0, 1));
    record.store.shelve(id, HOUR, "anna", None, at(2)).unwrap();
    let quiet = record.store.call(|writer| Quiet::read(&writer.db)).unwrap();
    let covers = |alarm: &AlarmEffect| quiet.covers(Some(&bench()), alarm);
    assert!(covers(&raised(30)) && !covers(&raised(62)) && !covers(&raised(1)));
    assert!(!quiet.covers(None, &raised(30)) && !covers(&gone(0, 1)));
}
