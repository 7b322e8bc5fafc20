//! A record that may not be written for a while: what waits, what leaves from memory, and what is written afterwards.

use super::*;
use crate::entry::HotEnd;
use crate::notify::Kind;
use crate::store::backlog::Bounds;
use crate::store::backlog::tests::alarm as raised;
use crate::store::{Carrier, Draft, Store, Underway};
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
    store.takes_nothing(closed).unwrap();
}

fn commit(store: &Store, effects: Vec<Effect>, alarms: Vec<AlarmEffect>) -> Result<Committed, StoreError> {
    store.commit(Commit { printer: bench(), effects, alarms, notices: true })
}

fn silence(from: u32, to: u32) -> [Effect; 2] {
    [Effect::ContactLost { since: at(from) }, Effect::ContactRegained { since: at(from), at: at(to) }]
}

/// Key, channel, tries and whether it arrived, of every notice in the table and every channel that has it in a message.
fn outbox(store: &Store) -> Vec<(String, String, u32, bool)> {
    let rows = |writer: &mut Writer| {
        let sql = "SELECT outbox.key, message.channel, attempts, delivered_ms IS NOT NULL FROM outbox
            JOIN delivery ON notice = outbox.id JOIN message ON message.id = message ORDER BY message.channel, outbox.id";
        let mut statement = writer.db.prepare(sql)?;
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    };
    store.call(rows).unwrap()
}

fn carrier(channel: &str) -> Carrier {
    Carrier { channel: channel.into(), all: ["log", "post"].map(str::to_owned).into() }
}

/// The oldest notice of a channel in a message of its own.
async fn next(store: &Store, channel: &str, second: u32) -> Option<Underway> {
    let outbox = store.outbox(&carrier(channel), 0, at(second)).await.unwrap();
    if outbox.underway.is_some() {
        return outbox.underway;
    }
    let message = (Kind::Single, vec![outbox.pending.first()?.clone()]);
    let draft = Draft { message: Some(message), skipped: Vec::new() };
    store.make_message(&carrier(channel), draft, at(second)).await.unwrap()
}

#[tokio::test]
async fn a_notice_leaves_memory_in_order_once_a_channel_and_under_the_key_that_it_has_in_the_record() {
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
        let underway = next(&store, "post", 9).await.unwrap();
        keys.push(underway.message.key.clone());
        store.delivered(&carrier("post"), underway, at(10)).await.unwrap();
    }
    let third = next(&store, "post", 10).await.unwrap();
    store.postponed(&carrier("post"), third.clone(), at(20)).await.unwrap();
    let again = next(&store, "post", 11).await.unwrap();
    assert_eq!((&again.message, again.attempts, again.due), (&third.message, 1, at(20)));
    assert!(keys.iter().zip(["000-raised", "1000-raised"]).all(|(key, end)| key.ends_with(end)), "{keys:?}");
    // Another channel has its own order.
    let first = next(&store, "log", 12).await.unwrap();
    assert_eq!(first.message.key, keys[0]);
    assert_eq!(outbox(&store), []);
    close(&store, false);
    store.flush().unwrap();
    let post = |key: &String, attempts, arrived| (key.clone(), "post".to_owned(), attempts, arrived);
    let log = (keys[0].clone(), "log".to_owned(), 0, false);
    let expected = [log, post(&keys[0], 1, true), post(&keys[1], 1, true), post(&third.message.key, 1, false)];
    assert_eq!(outbox(&store), expected);
    let again = next(&store, "post", 13).await.unwrap();
    assert_eq!((&again.message, again.attempts, again.due), (&third.message, 1, at(20)));
    let pending = store.outbox(&carrier("post"), 0, at(13)).await.unwrap().pending;
    assert_eq!(pending.len(), 1);
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
