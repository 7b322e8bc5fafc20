//! What becomes of alarms of before people could act on them.

use super::*;
use crate::alarm::{Priority, State};

/// What a database of the sixth schema held of alarms.
const SIXTH: &str = "INSERT INTO printer VALUES (1, 'bench', 'separate', 2);
    INSERT INTO alarm VALUES (1, 1, 1, 'idle_hot', 1000, NULL, 'unacknowledged', 'c', 'd', 'e'),
        (2, 1, NULL, 'host_silent', 1000, 2000, 'returned unacknowledged', 'c', 'd', 'e'),
        (3, NULL, NULL, 'record_full', 1000, NULL, 'acknowledged', 'c', 'd', 'e'),
        (4, 1, 0, 'residence_budget', 1000, 2000, 'normal', 'c', 'd', 'e');
    INSERT INTO outbox VALUES (1, 'gone', '{}', 1, 1000, 2000), (2, 'waits', '{}', 4, 9000, NULL);
    PRAGMA user_version = 6;";

#[test]
fn alarms_of_the_sixth_schema_live_on_and_people_can_act_on_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sixth.db");
    let db = Connection::open(&path).unwrap();
    bring(&db, 0..6).unwrap();
    db.execute_batch(SIXTH).unwrap();
    drop(db);
    let store = Store::open(&path).unwrap();
    let alarms = store.reader().unwrap().alarms(None, None).unwrap();
    let told: Vec<_> = alarms.iter().map(|row| (row.id, row.state, row.priority, row.acknowledged)).collect();
    assert_eq!(
        told,
        [
            (1, State::Unacknowledged, Priority::Medium, None),
            (2, State::ReturnedUnacknowledged, Priority::High, None),
            (3, State::Acknowledged, Priority::High, None),
            (4, State::Normal, Priority::High, None),
        ]
    );
    let at = Timestamp::from_ms(5000);
    assert_eq!(store.acknowledge(1, "anna", None, at).unwrap().state, State::Acknowledged);
    assert_eq!(store.acknowledge(2, "anna", None, at).unwrap().state, State::Normal);
    assert_eq!(store.out_of_service(3, "anna", None, at).unwrap().state, State::OutOfService);
    assert!(store.acknowledge(4, "anna", None, at).is_err());
    let waits: Vec<(String, i64)> = {
        let db = open_raw(&path).unwrap();
        let mut statement = db.prepare("SELECT key, at_ms FROM outbox WHERE settled_ms IS NULL").unwrap();
        statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap().map(Result::unwrap).collect()
    };
    assert_eq!(waits, [("waits".to_owned(), 9000)]);
    drop(store);
    crate::store::examine(&path, &crate::store::Halt::default()).unwrap();
    // An alarm that a change is of can't go.
    let db = Connection::open(&path).unwrap();
    db.execute_batch("PRAGMA foreign_keys = OFF; DELETE FROM alarm WHERE id = 1").unwrap();
    drop(db);
    let found = crate::store::examine(&path, &crate::store::Halt::default()).unwrap_err().to_string();
    assert!(found.contains("alarm_change names no alarm"), "{found}");
}
