//! A record that may not be written for a while: what waits, what leaves from memory, and what is written afterwards.

use super::*;
use crate::alarm::{Rule, Subject};
use crate::entry::HotEnd;
use crate::store::Store;
use crate::store::backlog::Bounds;
use dwell_analysis::units::Seconds;
use std::time::Duration;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);
const PATIENCE: Duration = Duration::from_secs(20);

fn at(second: u32) -> Timestamp {
    START + Seconds::new(f64::from(second))
}

fn record() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("bench.db")).unwrap();
    store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
    (folder, store)
}

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

/// From now on the record may not be written, or may be again.
fn close(store: &Store, closed: bool) {
    store.call(move |writer| Ok(writer.db.pragma_update(None, "query_only", closed)?)).unwrap();
}

fn commit(store: &Store, effects: Vec<Effect>, alarms: Vec<AlarmEffect>) -> Result<Committed, StoreError> {
    store.commit(Commit { printer: bench(), effects, alarms, notices: true })
}

fn raised(second: u32) -> AlarmEffect {
    let subject = Subject { rule: Rule::HostSilent, tool: None };
    let [cause, consequence, action] = ["c", "d", "e"].map(str::to_owned);
    AlarmEffect::Raised {
        subject,
        at: at(second),
        priority: crate::alarm::Priority::High,
        is_suppressed: false,
        cause,
        consequence,
        action,
    }
}

fn silence(from: u32, to: u32) -> [Effect; 2] {
    [Effect::ContactLost { since: at(from) }, Effect::ContactRegained { since: at(from), at: at(to) }]
}

/// Key, tries and whether it arrived, of every notice in the table.
fn outbox(store: &Store) -> Vec<(String, u32, bool)> {
    let rows = |writer: &mut Writer| {
        let sql = "SELECT key, attempts, delivered_ms IS NOT NULL FROM outbox ORDER BY id";
        let mut statement = writer.db.prepare(sql)?;
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    };
    store.call(rows).unwrap()
}

#[tokio::test]
async fn a_notice_leaves_memory_in_order_and_under_the_key_that_it_has_in_the_record() {
    let (_folder, store) = record();
    assert_eq!(commit(&store, Vec::new(), vec![raised(0)]).unwrap(), Committed::Durable);
    close(&store, true);
    for second in [1, 2] {
        assert_eq!(commit(&store, Vec::new(), vec![raised(second)]).unwrap(), Committed::Waiting);
    }
    let own = crate::alarm::record_full(at(3), crate::alarm::Priority::High, "no room", None, None);
    assert_eq!(store.commit_own(vec![own], true).unwrap(), Committed::Waiting);
    let mut keys = Vec::new();
    for _ in 0..2 {
        let notice = store.next_notice().await.unwrap().unwrap();
        store.delivered(&notice, at(10)).await.unwrap();
        keys.push(notice.key().to_owned());
    }
    let third = store.next_notice().await.unwrap().unwrap();
    store.postponed(&third, at(20)).await.unwrap();
    let again = store.next_notice().await.unwrap().unwrap();
    assert_eq!((again.key(), again.attempts(), again.due()), (third.key(), 1, at(20)));
    assert!(keys.iter().zip(["000-raised", "1000-raised"]).all(|(key, end)| key.ends_with(end)), "{keys:?}");
    assert_eq!(outbox(&store).len(), 1);
    close(&store, false);
    store.flush().unwrap();
    let rows = outbox(&store);
    let told: Vec<_> = rows.iter().map(|(_, attempts, arrived)| (*attempts, *arrived)).collect();
    assert_eq!(told, [(1, true), (1, true), (1, false), (0, false)]);
    assert_eq!([&rows[0].0, &rows[1].0, &rows[2].0], [&keys[0], &keys[1], third.key()]);
    let again = store.next_notice().await.unwrap().unwrap();
    assert_eq!((again.key(), again.attempts(), again.due()), (third.key(), 1, at(20)));
}

#[test]
fn steps_that_wait_are_told_with_their_cause_and_written_by_themselves_when_that_has_passed() {
    let (_folder, store) = record();
    close(&store, true);
    let [lost, regained] = silence(0, 30);
    assert_eq!(commit(&store, vec![lost], vec![raised(20)]).unwrap(), Committed::Waiting);
    assert_eq!(commit(&store, vec![regained], Vec::new()).unwrap(), Committed::Waiting);
    let unwritten = store.unwritten().unwrap();
    assert_eq!((unwritten.n_steps, unwritten.n_events, unwritten.n_alarms), (2, 2, 1));
    assert!(unwritten.cause.contains("read-only"), "{unwritten:?}");
    assert_eq!(store.unwritten_alarms(), [(Some(bench()), raised(20))]);
    assert!(store.flush().is_err(), "nothing was written, and that is said");
    assert!(store.reader().unwrap().alarms(None, None).unwrap().is_empty());
    close(&store, false);
    let begun = Instant::now();
    while store.unwritten().is_some() {
        assert!(begun.elapsed() < PATIENCE, "{:?}", store.unwritten());
        std::thread::sleep(Duration::from_millis(20));
    }
    let reader = store.reader().unwrap();
    assert_eq!((reader.alarms(None, None).unwrap().len(), reader.gaps(None, None).unwrap().len()), (1, 1));
    assert_eq!(reader.gaps(None, None).unwrap()[0].ended, Some(at(30)));
    assert!(store.unwritten_alarms().is_empty() && !*store.failing().borrow());
}

#[test]
fn an_end_whose_beginning_was_dropped_is_left_out_and_any_other_one_is_a_fault() {
    let (_folder, store) = record();
    store.waiting.held().backlog = Backlog::new(Bounds { steps: 2, total: 2 });
    close(&store, true);
    for from in [0, 100, 200] {
        let [lost, _] = silence(from, 0);
        assert_eq!(commit(&store, vec![lost], Vec::new()).unwrap(), Committed::Waiting);
    }
    let [_, regained] = silence(0, 30);
    assert_eq!(commit(&store, vec![regained], vec![raised(30)]).unwrap(), Committed::Waiting);
    assert_eq!(store.unwritten().unwrap().dropped, Dropped { readings: 0, events: 2 });
    close(&store, false);
    store.flush().unwrap();
    // One whose beginning went comes later, with others that are sound.
    let [_, regained] = silence(100, 130);
    let [lost, also] = silence(300, 330);
    assert_eq!(commit(&store, vec![regained, lost, also], Vec::new()).unwrap(), Committed::Durable);
    let reader = store.reader().unwrap();
    let gaps: Vec<_> = reader.gaps(None, None).unwrap().iter().map(|gap| (gap.began, gap.ended)).collect();
    assert_eq!(gaps, [(at(200), None), (at(300), Some(at(330)))]);
    assert_eq!(reader.alarms(None, None).unwrap().len(), 1);
    let [_, never] = silence(250, 260);
    let fault = commit(&store, vec![never], Vec::new()).unwrap_err();
    assert!(matches!(fault, StoreError::NoSuchRow { what: "gap", .. }), "{fault}");
}

#[test]
fn a_fault_among_what_waits_is_told_to_the_next_caller() {
    let (_folder, store) = record();
    close(&store, true);
    let [_, never] = silence(0, 30);
    assert_eq!(commit(&store, vec![never], Vec::new()).unwrap(), Committed::Waiting);
    close(&store, false);
    let begun = Instant::now();
    let [lost, _] = silence(100, 0);
    let fault = loop {
        if let Err(fault) = commit(&store, vec![lost.clone()], Vec::new()) {
            break fault;
        }
        assert!(begun.elapsed() < PATIENCE);
        std::thread::sleep(Duration::from_millis(20));
    };
    assert!(matches!(fault, StoreError::NoSuchRow { what: "gap", .. }), "{fault}");
}

#[test]
fn a_printer_that_is_taken_up_while_nothing_can_be_written_is_known_before_its_steps_are() {
    let (_folder, store) = record();
    close(&store, true);
    let lantern = PrinterName::new("lantern").unwrap();
    let known = Known { printer: lantern.clone(), hot_end: HotEnd::Shared, n_tools: 3, changes: Vec::new() };
    store.take_up(vec![known]).unwrap();
    let [lost, _] = silence(0, 0);
    let step = Commit { printer: lantern.clone(), effects: vec![lost], alarms: Vec::new(), notices: true };
    assert_eq!(store.commit(step).unwrap(), Committed::Waiting);
    close(&store, false);
    store.flush().unwrap();
    let reader = store.reader().unwrap();
    let printers = reader.printers().unwrap();
    let row = printers.iter().find(|row| row.name == lantern).unwrap();
    assert_eq!((row.hot_end, row.n_tools), (HotEnd::Shared, 3));
    assert_eq!(reader.gaps(None, None).unwrap().len(), 1);
}

#[test]
fn a_store_for_bulk_keeps_nothing_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_bulk(&folder.path().join("bench.db")).unwrap();
    store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
    close(&store, true);
    let [lost, _] = silence(0, 0);
    let refused = commit(&store, vec![lost], Vec::new()).unwrap_err();
    assert!(matches!(refused, StoreError::ReadOnly), "{refused}");
    assert_eq!(store.unwritten(), None);
}
