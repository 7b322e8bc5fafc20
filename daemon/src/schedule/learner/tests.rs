//! When it is time to learn anew, and what is kept then.

use super::*;
use crate::entry::{HotEnd, Mode, Outcome, PrintEnd, PrinterName};
use crate::store::Commit;
use crate::tracker::Effect;
use tempfile::TempDir;

/// 2026-03-02T12:00:00Z.
const NOON: Timestamp = Timestamp::from_ms(1_772_452_800_000);
const STARTED: Timestamp = Timestamp::from_ms(1_772_438_400_000);

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

/// A record with one print that has ended.
fn learner() -> (TempDir, Learner) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.db")).unwrap();
    store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
    let ended = Effect::PrintEnded {
        started: STARTED,
        at: STARTED + Seconds::minutes(90.0),
        end: PrintEnd::Completed,
        fraction_millionths: None,
    };
    let effects = vec![Effect::PrintStarted { started: STARTED, name: None }, ended];
    store.commit(Commit { printer: bench(), effects, alarms: Vec::new(), notices: false }).unwrap();
    let clock = Arc::new(Clock::rehearsal(NOON, 1.001));
    (folder, Learner::new(store, clock, TimeZone::UTC, Arc::default(), Learning::default()))
}

fn say(store: &Store, minute: f64, mode: Mode) {
    let at = STARTED + Seconds::minutes(minute);
    let outcome =
        Outcome { at, job: "lantern.gcode".into(), started: STARTED, tool: None, mode, severity: None, note: None };
    store.record_outcome(&bench(), &outcome).unwrap();
}

/// Looks so long after noon, and learns if it is time; gives whether it was.
async fn look(learner: &mut Learner, after_s: f64) -> bool {
    let due = learner.look(NOON + Seconds::new(after_s)).unwrap();
    let is_due = due.is_some();
    if let Some(source) = due {
        learner.learn(source).await.unwrap();
    }
    is_due
}

fn kept(learner: &Learner) -> Option<(String, Timestamp)> {
    learner.store.reader().unwrap().learned_from().unwrap()
}

#[tokio::test]
async fn what_was_learned_is_kept_until_a_word_comes_and_words_are_learned_from_together() {
    let (_folder, mut learner) = learner();
    assert_eq!(kept(&learner), None);
    assert!(!look(&mut learner, 0.0).await && look(&mut learner, 10.0).await);
    let first = kept(&learner).unwrap();
    assert!(!look(&mut learner, 60.0).await);
    assert_eq!(kept(&learner).unwrap(), first);

    say(&learner.store, 100.0, Mode::Clean);
    assert!(!look(&mut learner, 100.0).await);
    // A correction within the time: counted from it.
    say(&learner.store, 101.0, Mode::Jam);
    assert!(!look(&mut learner, 105.0).await && !look(&mut learner, 114.9).await && look(&mut learner, 115.0).await);
    let second = kept(&learner).unwrap();
    assert!(second.0 != first.0 && second.1 > first.1, "{second:?} after {first:?}");
    // The same word again is no news.
    say(&learner.store, 101.0, Mode::Jam);
    assert!(!look(&mut learner, 200.0).await && !look(&mut learner, 300.0).await);
    assert_eq!(kept(&learner).unwrap(), second);
}

#[tokio::test]
async fn words_that_never_cease_do_not_put_it_off_for_ever() {
    let (_folder, mut learner) = learner();
    let mut due_at = None;
    for nth in 0..40 {
        let after_s = f64::from(nth) * 5.0;
        say(&learner.store, 100.0 + after_s, Mode::Clean);
        if look(&mut learner, after_s).await {
            due_at = Some(after_s);
            break;
        }
    }
    assert_eq!(due_at, Some(120.0));
}

#[tokio::test]
async fn a_night_learns_anew_from_the_same() {
    let (_folder, mut learner) = learner();
    assert!(!look(&mut learner, 0.0).await && look(&mut learner, 10.0).await);
    let first = kept(&learner).unwrap();
    let hour = 3600.0;
    // 02:59:59, and 03:00:00.
    assert!(!look(&mut learner, 15.0 * hour - 1.0).await);
    assert_eq!(learner.look(NOON + Seconds::new(15.0 * hour)).unwrap(), Some(first.0));
}

#[tokio::test]
async fn what_fails_leaves_the_old_one_and_is_not_tried_with_every_look() {
    let (folder, mut learner) = learner();
    assert!(!look(&mut learner, 0.0).await && look(&mut learner, 10.0).await);
    let first = kept(&learner).unwrap();
    say(&learner.store, 100.0, Mode::Jam);
    let db = rusqlite::Connection::open(folder.path().join("record.db")).unwrap();
    db.execute_batch("CREATE TRIGGER full BEFORE INSERT ON learned BEGIN SELECT RAISE(FAIL, 'full'); END").unwrap();
    assert_eq!(learner.look(NOON + Seconds::new(100.0)).unwrap(), None);
    let source = learner.look(NOON + Seconds::new(110.0)).unwrap().unwrap();
    let failed = learner.learn(source.clone()).await.unwrap_err();
    assert!(failed.to_string().contains("full"), "{failed}");
    assert_eq!(kept(&learner).unwrap(), first);
    assert_eq!(learner.look(NOON + Seconds::minutes(30.0)).unwrap(), None);
    db.execute_batch("DROP TRIGGER full").unwrap();
    assert_eq!(learner.look(NOON + Seconds::minutes(61.0)).unwrap(), None);
    assert_eq!(learner.look(NOON + Seconds::minutes(62.0)).unwrap(), Some(source));
}
