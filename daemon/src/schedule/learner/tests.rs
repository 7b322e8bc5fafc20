//! When it is time to learn anew, and what is kept and withdrawn then.

mod told;

use super::*;
use crate::entry::{
    HotEnd, Job, JobState, Mode, Outcome, PrintEnd, PrinterName, Reading, Settings, SettingsChange, ToolNumber,
};
use crate::store::{Commit, SaidSuggestion, Standing, SuggestionRow};
use crate::tracker::{Context, Effect};
use dwell_analysis::advice::{Change, PartKind, Step};
use dwell_analysis::idle::SpanMeasure;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes};
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
    (folder, Learner::new(store, clock, TimeZone::UTC, Arc::default(), Learning::default(), Liners::new()))
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

const T1: usize = 1;

/// Prints with material and settings told, in which T1 waits hot for an hour.
fn hot_waits(store: &Store) {
    let tool = |number| ToolNumber::new(number).unwrap();
    let degrees = Celsius::new(210.0);
    let settings =
        Settings { material: Some("PLA".into()), print: Some(degrees), standby: Some(degrees), ..Settings::default() };
    let at = STARTED - Seconds::minutes(10.0);
    store.record_settings(&bench(), &SettingsChange { at, tool: tool(T1), settings }).unwrap();
    for nth in 0..8 {
        let began = STARTED + Seconds::minutes(180.0 + 120.0 * f64::from(nth));
        let (turn, ended) = (began + Seconds::minutes(60.0), began + Seconds::minutes(90.0));
        let (mean, idle) = (Some(degrees), Seconds::minutes(60.0));
        let (dose, ooze) = (DoseMinutes::new(90.0), Some(CubicMm::new(20.0)));
        let measure = SpanMeasure { idle, gap: Seconds::ZERO, mean, max: mean, dose, ooze };
        let visit = |tool, began, ended| Effect::VisitEnded { tool, began, ended, gap: Seconds::ZERO, mean, max: mean };
        let effects = vec![
            Effect::PrintStarted { started: began, name: None },
            Effect::VisitBegan { started: began, tool: tool(0), began },
            Effect::SpanBegan { tool: tool(T1), began, context: Context::InPrint, print: Some(began), target: mean },
            visit(tool(0), began, turn),
            Effect::SpanEnded { tool: tool(T1), began, ended: turn, measure, end: mean, target: mean },
            Effect::VisitBegan { started: began, tool: tool(T1), began: turn },
            visit(tool(T1), turn, ended),
            Effect::PrintEnded { started: began, at: ended, end: PrintEnd::Completed, fraction_millionths: None },
            Effect::Sample { reading: reading(ended), tools: Vec::new() },
        ];
        store.commit(Commit { printer: bench(), effects, alarms: Vec::new(), notices: false }).unwrap();
    }
    store.flush().unwrap();
}

fn reading(at: Timestamp) -> Reading {
    let job = Job { state: JobState::Completed, name: None, fraction_millionths: None, byte: None };
    Reading { at, after_gap: false, job, active_tool: None, tools: Vec::new(), bed: None }
}

fn new_liner() -> SaidSuggestion {
    let (tool, change) = (ToolNumber::FIRST, Change::Replace(PartKind::Liner));
    let id = "bench-t0-any-part-liner".to_owned();
    SaidSuggestion { id, printer: bench(), tool, material: None, change, body: "{}".to_owned() }
}

fn suggestions(store: &Store) -> Vec<SuggestionRow> {
    store.reader().unwrap().suggestions().unwrap()
}

#[tokio::test]
async fn what_is_advised_is_kept_with_what_was_learned_and_withdrawn_once_nothing_speaks_for_it() {
    let (_folder, mut learner) = learner();
    let store = learner.store.clone();
    hot_waits(&store);
    store.keep_suggestions(vec![new_liner()], NOON).unwrap();
    assert!(!look(&mut learner, 0.0).await && look(&mut learner, 10.0).await);
    let kept = suggestions(&store);
    let newest = store.reader().unwrap().newest().unwrap().unwrap();
    let of = |change: fn(&Change) -> bool| kept.iter().find(|row| change(&row.change)).unwrap();
    let cooler = of(|change| matches!(change, Change::Standby(_)));
    assert_eq!((cooler.standing, cooler.first, cooler.last), (Standing::Open, newest, newest));
    let Change::Standby(Step { from, to }) = cooler.change else { unreachable!() };
    assert!(from == Some(Celsius::new(210.0)) && to < Celsius::new(210.0), "{cooler:?}");
    let body: serde_json::Value = serde_json::from_str(&cooler.body).unwrap();
    assert_eq!((&body["id"], &body["to"]), (&cooler.id.as_str().into(), &to.get().into()));
    let liner = of(|change| matches!(change, Change::Replace(PartKind::Liner)));
    assert_eq!((liner.standing, liner.since), (Standing::Withdrawn, newest));
    assert!(liner.why.as_ref().is_some_and(|why| why.contains("not said any more")), "{liner:?}");
}

#[tokio::test]
async fn what_was_learned_is_kept_though_advice_fails_and_that_is_tried_again() {
    let (folder, mut learner) = learner();
    let store = learner.store.clone();
    store.keep_suggestions(vec![new_liner()], NOON).unwrap();
    let db = rusqlite::Connection::open(folder.path().join("record.db")).unwrap();
    db.execute_batch("CREATE TRIGGER full BEFORE UPDATE ON suggestion BEGIN SELECT RAISE(FAIL, 'full'); END").unwrap();
    assert_eq!(learner.look(NOON).unwrap(), None);
    let source = learner.look(NOON + Seconds::new(10.0)).unwrap().unwrap();
    let failed = learner.learn(source.clone()).await.unwrap_err().to_string();
    assert!(failed.contains("advised") && failed.contains("full"), "{failed}");
    assert_eq!(kept(&learner).map(|(from, _)| from), Some(source));
    assert_eq!(suggestions(&store)[0].standing, Standing::Open);
    db.execute_batch("DROP TRIGGER full").unwrap();
    assert!(!look(&mut learner, 30.0 * 60.0).await);
    assert!(look(&mut learner, 61.0 * 60.0).await);
    assert_eq!(suggestions(&store)[0].standing, Standing::Withdrawn);
}

#[tokio::test]
async fn a_start_advises_anew_at_once_since_its_settings_may_be_others_and_pages_wait_for_it() {
    let (_folder, mut learner) = learner();
    assert!(!look(&mut learner, 0.0).await && look(&mut learner, 10.0).await);
    assert!(!look(&mut learner, 60.0).await && !look(&mut learner, 120.0).await);
    let (store, clock, materials) = (learner.store.clone(), Arc::clone(&learner.clock), Arc::default());
    let mut restarted = Learner::new(store, clock, TimeZone::UTC, materials, Learning::default(), Liners::new());
    let worked = restarted.worked();
    assert!(worked.borrow().is_none());
    assert!(look(&mut restarted, 180.0).await);
    assert_eq!(worked.borrow().as_ref().map(|worked| worked.learned.prints), Some(0));
    assert!(!look(&mut restarted, 240.0).await && !look(&mut restarted, 300.0).await);
}

#[tokio::test]
async fn advice_knows_what_liners_stand() {
    let (_folder, mut learner) = learner();
    let store = learner.store.clone();
    hot_waits(&store);
    let mut has_heat_break = Vec::new();
    for (nth, rating) in [240.0, 200.0].into_iter().enumerate() {
        learner.liners = Liners::from([((bench(), ToolNumber::new(T1).unwrap()), Celsius::new(rating))]);
        learner.learn(nth.to_string()).await.unwrap();
        let open = suggestions(&store).into_iter().filter(|row| row.standing == Standing::Open);
        has_heat_break.push(open.map(|row| row.change).collect::<Vec<_>>().contains(&Change::AllMetal));
    }
    assert_eq!(has_heat_break, [false, true]);
}
