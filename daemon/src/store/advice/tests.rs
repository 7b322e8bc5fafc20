//! What becomes of suggestions and trials in the record.

use super::*;
use crate::change::tests::each;
use crate::entry::{HotEnd, Mode};
use crate::store::{Drawn, Ended, Ending, Figures, NewTrial, TrialVerdict};
use dwell_analysis::advice::{Arm, Design, Plan, Step};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::units::{Celsius, Millimetres};
use tempfile::TempDir;

const PLAN: Plan = Plan { design: Design::Alternation, prints: 3, ratio: 0.5, power: 0.8, detects: None };
const RISK: Estimate = Estimate { value: 0.2, low: 0.1, high: 0.3, n: 3 };
const SAID: Timestamp = Timestamp::from_ms(1_772_438_400_000);
const STANDBY: &str = "bench-t1-pla-standby_c";
const RETRACT: &str = "bench-t1-pla-retract_mm";

fn later(hours: i64) -> Timestamp {
    Timestamp::from_ms(SAID.as_ms() + hours * 3_600_000)
}

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

fn record() -> (TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.db")).unwrap();
    store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
    (folder, store)
}

fn said(change: Change) -> SaidSuggestion {
    let tool = ToolNumber::new(1).unwrap();
    SaidSuggestion {
        id: format!("bench-t1-pla-{}", change::setting(&change)),
        printer: bench(),
        tool,
        material: Some("PLA".to_owned()),
        change,
        body: r#"{"sure":0.9}"#.to_owned(),
    }
}

fn standby(to: f64) -> SaidSuggestion {
    said(Change::Standby(Step { from: Some(Celsius::new(175.0)), to: Celsius::new(to) }))
}

fn retract() -> SaidSuggestion {
    said(Change::Retract(Step { from: None, to: Millimetres::new(0.6) }))
}

fn row(store: &Store, id: &str) -> SuggestionRow {
    store.reader().unwrap().suggestions().unwrap().into_iter().find(|row| row.id == id).unwrap()
}

fn trial(suggestion: &str, at: Timestamp) -> NewTrial {
    NewTrial {
        suggestion: suggestion.to_owned(),
        at,
        plan: PLAN,
        risk: RISK,
        modes: vec![Mode::Jam, Mode::UnderExtrusion],
        baseline: "17".to_owned(),
        draws: vec![Arm::Changed, Arm::AsBefore, Arm::Changed],
    }
}

fn ended(verdict: TrialVerdict) -> Ended {
    let ending = if verdict == TrialVerdict::Harmed { Ending::Harm } else { Ending::Settled };
    let figures = Figures {
        n_changed: 9,
        seen: 2,
        n_as_before: 7,
        seen_as_before: 3,
        expected: Estimate { value: 4.5, low: 3.0, high: 6.0, n: 9 },
        ratio: Estimate { value: 0.4, low: 0.2, high: 0.9, n: 16 },
        sure: 0.97,
    };
    Ended { at: later(9), ending, verdict, figures: Some(figures), why: "so it is".to_owned() }
}

#[test]
fn what_is_kept_of_a_suggestion_is_what_was_said_whatever_it_changes() {
    let (_folder, store) = record();
    let all: Vec<SaidSuggestion> = each().into_iter().map(said).collect();
    store.keep_suggestions(all.clone(), SAID).unwrap();
    for said in &all {
        let row = row(&store, &said.id);
        let same = all.iter().rfind(|other| other.id == said.id).unwrap();
        assert_eq!((&row.change, &row.body, &row.material), (&same.change, &same.body, &same.material));
        assert_eq!((row.standing, row.first, row.last, row.why), (Standing::Open, SAID, SAID, None));
    }
}

#[test]
fn what_is_said_no_more_is_withdrawn_with_a_word_why_and_is_open_again_when_it_is_said_again() {
    let (_folder, store) = record();
    store.keep_suggestions(vec![standby(155.0), retract()], SAID).unwrap();
    store.keep_suggestions(vec![standby(150.0)], later(1)).unwrap();
    let gone = row(&store, RETRACT);
    assert_eq!((gone.standing, gone.since, gone.last), (Standing::Withdrawn, later(1), SAID));
    assert_eq!(gone.why.unwrap(), "it is not said any more by the record as of Mon 2 Mar 2026, 09:00 UTC");
    let moved = row(&store, STANDBY);
    assert_eq!(
        (moved.standing, moved.since, moved.last, moved.change),
        (Standing::Open, SAID, later(1), standby(150.0).change)
    );
    store.keep_suggestions(vec![retract()], later(2)).unwrap();
    let back = row(&store, RETRACT);
    assert_eq!((back.standing, back.since, back.first, back.why), (Standing::Open, later(2), SAID, None));
}

#[test]
fn what_was_declined_stays_so_until_it_comes_to_another_value() {
    let (_folder, store) = record();
    store.keep_suggestions(vec![standby(155.0)], SAID).unwrap();
    assert!(store.decline(STANDBY, Some("too slow"), later(1)).unwrap());
    assert!(!store.decline("bench-t0-pla-standby_c", None, later(1)).unwrap());
    // Said again as it was, as good as it was, and step by step to where it is another one.
    for (hour, to, standing) in
        [(2, 155.0, Standing::Declined), (3, 153.0, Standing::Declined), (4, 151.0, Standing::Open)]
    {
        store.keep_suggestions(vec![standby(to)], later(hour)).unwrap();
        let row = row(&store, STANDBY);
        assert_eq!((row.standing, row.last), (standing, later(hour)), "{to}");
        assert_eq!(row.why.as_deref(), (standing == Standing::Declined).then_some("too slow"));
    }
    assert!(store.decline(STANDBY, None, later(5)).unwrap());
    store.keep_suggestions(Vec::new(), later(6)).unwrap();
    assert_eq!(row(&store, STANDBY).standing, Standing::Declined, "said no more");
}

#[test]
fn a_trial_is_kept_as_it_was_adopted_with_its_draws_and_its_suggestion_does_not_move_it() {
    let (_folder, store) = record();
    store.keep_suggestions(vec![standby(155.0)], SAID).unwrap();
    assert!(!store.adopt(trial(RETRACT, later(1))).unwrap(), "nobody suggests it");
    assert!(store.adopt(trial(STANDBY, later(1))).unwrap());
    assert!(!store.adopt(trial(STANDBY, later(2))).unwrap(), "twice");
    store.keep_suggestions(vec![standby(140.0)], later(2)).unwrap();
    store.keep_suggestions(Vec::new(), later(3)).unwrap();
    assert_eq!((row(&store, STANDBY).standing, row(&store, STANDBY).last), (Standing::Adopted, later(2)));
    let trials = store.reader().unwrap().trials().unwrap();
    assert_eq!(trials.len(), 1);
    let kept = &trials[0];
    assert_eq!((&kept.change, kept.adopted, kept.plan, kept.risk), (&standby(155.0).change, later(1), PLAN, RISK));
    assert_eq!(kept.modes, [Mode::Jam, Mode::UnderExtrusion]);
    let drawn: Vec<Drawn> =
        (1..).zip([Arm::Changed, Arm::AsBefore, Arm::Changed]).map(|(nth, arm)| Drawn { nth, arm }).collect();
    assert_eq!((&kept.draws, &kept.ended), (&drawn, &None));
}

#[test]
fn what_was_drawn_can_not_be_drawn_again() {
    let (folder, store) = record();
    store.keep_suggestions(vec![standby(155.0)], SAID).unwrap();
    store.adopt(trial(STANDBY, later(1))).unwrap();
    let db = Connection::open(folder.path().join("record.db")).unwrap();
    for meddling in [
        "UPDATE trial_draw SET arm = 'changed'",
        "DELETE FROM trial_draw",
        "INSERT INTO trial_draw VALUES (1, 1, 'changed')",
    ] {
        assert!(db.execute_batch(meddling).is_err(), "{meddling}");
    }
    assert_eq!(store.reader().unwrap().trials().unwrap()[0].draws.len(), 3);
}

#[test]
fn one_change_of_a_tool_and_its_material_is_tried_at_a_time() {
    let (_folder, store) = record();
    let mut petg = standby(165.0);
    (petg.id, petg.material) = ("petg".to_owned(), Some("PETG".to_owned()));
    let mut liner = said(Change::Replace(dwell_analysis::advice::PartKind::Liner));
    (liner.id, liner.material) = ("liner".to_owned(), None);
    let mut other = retract();
    (other.id, other.tool) = ("other".to_owned(), ToolNumber::FIRST);
    store.keep_suggestions(vec![standby(155.0), retract(), petg.clone(), liner.clone(), other.clone()], SAID).unwrap();
    assert!(store.adopt(trial(STANDBY, later(1))).unwrap());
    for (suggestion, may) in [(RETRACT, false), (&*liner.id, false), (&*other.id, true), (&*petg.id, true)] {
        assert_eq!(store.adopt(trial(suggestion, later(1))).unwrap(), may, "{suggestion}");
    }
    let first = store.reader().unwrap().trials().unwrap()[0].id;
    assert!(store.end_trial(first, ended(TrialVerdict::Helped)).unwrap());
    assert!(store.adopt(trial(RETRACT, later(10))).unwrap(), "it has ended");
}

#[test]
fn a_swap_of_materials_is_tried_beside_no_change_of_either_tool() {
    let (_folder, store) = record();
    let mut swap = said(Change::Material(Step { from: None, to: dwell_analysis::polymer::Material::Petg }));
    (swap.id, swap.tool) = ("swap".to_owned(), ToolNumber::FIRST);
    store.keep_suggestions(vec![standby(155.0), swap.clone()], SAID).unwrap();
    assert!(store.adopt(trial(&swap.id, later(1))).unwrap());
    assert!(!store.adopt(trial(STANDBY, later(1))).unwrap(), "T1 is given what T0 held");
}

#[test]
fn a_verdict_decides_what_is_said_of_its_suggestion_counts_as_evidence_and_is_given_once() {
    use Standing::{Adopted, Open, Withdrawn};
    for (verdict, standing, again, moved) in [
        (TrialVerdict::Helped, Adopted, Adopted, Open),
        (TrialVerdict::DidNotHelp, Withdrawn, Withdrawn, Open),
        (TrialVerdict::Harmed, Withdrawn, Withdrawn, Open),
        (TrialVerdict::Undecided, Open, Open, Open),
    ] {
        let (_folder, store) = record();
        store.keep_suggestions(vec![standby(155.0)], SAID).unwrap();
        store.adopt(trial(STANDBY, later(1))).unwrap();
        let evidence = || store.reader().unwrap().evidence(None).unwrap();
        let before = evidence();
        assert!(store.end_trial(1, ended(verdict)).unwrap());
        assert!(!store.end_trial(1, ended(TrialVerdict::Harmed)).unwrap(), "it has ended");
        assert_ne!(evidence(), before, "{verdict:?}");
        assert_eq!(store.reader().unwrap().trials().unwrap()[0].ended, Some(ended(verdict)));
        let stands = || row(&store, STANDBY).standing;
        assert_eq!(stands(), standing, "{verdict:?}");
        store.keep_suggestions(vec![standby(156.0)], later(10)).unwrap();
        assert_eq!(stands(), again, "{verdict:?}: said again");
        store.keep_suggestions(vec![standby(140.0)], later(11)).unwrap();
        assert_eq!(stands(), moved, "{verdict:?}: another value");
    }
}

#[test]
fn who_declines_what_is_on_trial_gives_the_trial_up() {
    let (_folder, store) = record();
    store.keep_suggestions(vec![standby(155.0)], SAID).unwrap();
    store.adopt(trial(STANDBY, later(1))).unwrap();
    assert!(store.decline(STANDBY, Some("it squeaks"), later(2)).unwrap());
    let ended = store.reader().unwrap().trials().unwrap()[0].ended.clone().unwrap();
    assert_eq!((ended.ending, ended.verdict, &*ended.why), (Ending::GivenUp, TrialVerdict::Undecided, "it squeaks"));
    assert_eq!(row(&store, STANDBY).standing, Standing::Declined);
}

#[test]
fn the_record_takes_no_verdict_without_an_end_and_no_setting_that_it_does_not_know() {
    let (folder, store) = record();
    store.keep_suggestions(vec![standby(155.0)], SAID).unwrap();
    store.adopt(trial(STANDBY, later(1))).unwrap();
    let db = Connection::open(folder.path().join("record.db")).unwrap();
    for wrong in [
        "UPDATE trial SET verdict = 'helped'",
        "UPDATE trial SET ended_ms = 9999999999999",
        "UPDATE trial SET ended_ms = 9999999999999, ending = 'harm', verdict = 'helped', why = ''",
        "UPDATE trial SET design = 'guess'",
        "UPDATE trial SET prints = 0",
        "UPDATE trial SET risk = 1.5",
        "UPDATE trial SET sure = 0.5",
        "UPDATE suggestion SET setting = 'fan'",
        "UPDATE suggestion SET to_value = 'hot'",
        "UPDATE suggestion SET body = 'hot'",
        "UPDATE suggestion SET state = 'withdrawn'",
        "UPDATE suggestion SET state = 'lost'",
    ] {
        assert!(db.execute_batch(wrong).is_err(), "{wrong}");
    }
}
