//! Advice that is taken up: what is drawn, what is really set, and what it comes to, on an invented record in which jams
//! follow hot waits.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

#[path = "advice/bench.rs"]
mod bench;

use bench::{Bench, HOT, MILD, Print, RETRACT, STANDBY, WAIT_S};
use dwell_analysis::advice::{Arm, Change, Step};
use dwell_analysis::units::Celsius;
use dwellwatch::store::Standing;
use serde_json::{Value, json};

#[test]
fn a_trial_that_is_followed_print_by_print_ends_with_its_verdict_and_shows_what_was_really_set() {
    let mut bench = Bench::with_advice();
    let told = bench.done(&["adopt", STANDBY]);
    assert!(told.contains("standby 165 °C instead of 215 °C") && told.contains("Not a safety device"), "{told}");
    let draws = bench.draws();
    let next = if draws[0] == Arm::Changed {
        "Next print: standby 165 °C."
    } else {
        "Next print: as before, standby 215 °C."
    };
    assert!(told.contains(next), "{told}");
    let trial = bench.follow(0.0, 0.6);
    assert_eq!((&trial["verdict"], &trial["design"]), (&json!("helped"), &json!("alternation")), "{trial}");
    let prints = trial["prints"].as_array().unwrap();
    let word = |arm: &Arm| if *arm == Arm::Changed { "changed" } else { "as_before" };
    for (print, drawn) in prints.iter().zip(&draws) {
        assert_eq!((&print["drawn"], &print["applied"]), (&json!(word(drawn)), &json!(word(drawn))), "{print}");
        assert_eq!((&print["known_by"], &print["name"]), (&json!("set_points"), &json!("lantern.gcode")), "{print}");
    }
    let figures = &trial["figures"];
    assert_eq!(figures["failures"], 0);
    assert_eq!(
        figures["n_changed"].as_u64().unwrap() + figures["n_as_before"].as_u64().unwrap(),
        u64::try_from(prints.len()).unwrap()
    );
    assert!(figures["ratio"]["high"].as_f64().unwrap() < 1.0, "{trial}");
    assert_eq!((bench.draws(), bench.standing(STANDBY)), (draws, Standing::Adopted));
    let text = bench.done(&["review"]);
    assert!(text.contains("it helped") && text.contains("Keep it: standby 165 °C."), "{text}");
    assert!(bench.refused(&["adopt", STANDBY]).contains("it was tried"));
    // Said again at a value that nobody would tell apart, and at another one.
    let to = |to| Change::Standby(Step { from: Some(Celsius::new(MILD)), to: Celsius::new(to) });
    bench.advise(&[to(MILD - 1.0)]);
    assert!(bench.refused(&["adopt", STANDBY]).contains("it was tried"));
    bench.advise(&[to(140.0)]);
    assert!(bench.done(&["adopt", STANDBY]).contains("standby 140 °C instead of 165 °C"));
}

#[test]
fn a_trial_that_does_harm_is_stopped_early_and_its_suggestion_is_withdrawn_with_its_figures() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    let trial = bench.follow(1.0, 0.1);
    assert_eq!((&trial["verdict"], &trial["ending"]), (&json!("harmed"), &json!("harm")), "{trial}");
    assert!(
        trial["prints"].as_array().unwrap().len() < trial["prints_planned"].as_u64().unwrap().try_into().unwrap(),
        "{trial}"
    );
    assert_eq!(bench.standing(STANDBY), Standing::Withdrawn);
    let again = bench.refused(&["adopt", STANDBY]);
    assert!(again.contains("withdrawn") && again.contains("failed in"), "{again}");
}

#[test]
fn what_was_not_set_as_drawn_or_not_told_is_shown_as_such() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    bench.replay(&[
        Print { wait_s: WAIT_S, wait_c: 190.0, jammed: Some(false) },
        Print { wait_s: WAIT_S, wait_c: HOT, jammed: None },
        Print { wait_s: WAIT_S, wait_c: MILD, jammed: Some(true) },
    ]);
    let trial = bench.trial();
    let of = |key: &str| trial["prints"].as_array().unwrap().iter().map(|print| print[key].clone()).collect::<Vec<_>>();
    assert_eq!(of("applied"), ["neither", "as_before", "changed"]);
    assert_eq!(of("value"), [json!(190.0), json!(HOT), json!(MILD)]);
    assert_eq!(of("failed"), [json!(false), Value::Null, json!(true)]);
    assert_eq!(of("failures"), [json!([]), json!([]), json!(["jam"])]);
    assert!(trial["not_applied"].as_u64().unwrap() >= 1, "{trial}");
    assert!(bench.done(&["review"]).contains("Nobody said how 1 print came out"));
}

/// Hot waits jam seven times in ten, mild ones hardly ever; both were recorded before.
#[test]
fn a_print_with_the_change_is_held_against_what_it_would_have_come_to_without() {
    let mut bench = Bench::new();
    let mix = |bench: &mut Bench, nth: usize| {
        if nth.is_multiple_of(2) { bench.print(HOT, 0.7) } else { bench.print(MILD, 0.02) }
    };
    let prints: Vec<Print> = (0..80).map(|nth| mix(&mut bench, nth)).collect();
    bench.replay(&prints);
    bench.advise(&[Change::Standby(Step { from: Some(Celsius::new(HOT)), to: Celsius::new(MILD) })]);
    bench.done(&["adopt", STANDBY]);
    bench.replay(&[MILD, HOT].map(|wait_c| Print { wait_s: WAIT_S, wait_c, jammed: Some(false) }));
    let trial = bench.trial();
    let expected = [0, 1].map(|idx| trial["prints"][idx]["expected"].as_f64().unwrap());
    assert!(expected.iter().all(|chance| (0.4..0.9).contains(chance)), "{expected:?}");
}

/// Long waits jam six times in ten, short ones hardly ever, at whatever standby: shorter jobs are not the change's
/// merit, nor are longer ones its fault. Two of the modes that are watched never happened.
#[test]
fn other_jobs_after_a_change_are_neither_its_merit_nor_its_fault() {
    let jams = |wait_s| if wait_s >= 1_800 { 0.6 } else { 0.02 };
    let print = |bench: &mut Bench, wait_c, waits: &[i64]| {
        let nth = (0..waits.len()).rfind(|nth| bench.chance.next() * f64::from(u32::try_from(nth + 1).unwrap()) < 1.0);
        let wait_s = waits[nth.unwrap_or(0)];
        Print { wait_s, ..bench.print(wait_c, jams(wait_s)) }
    };
    for waits in [[120, 240], [2_700, 3_600]] {
        let mut bench = Bench::new();
        let prints: Vec<Print> =
            (0..60).map(|_| print(&mut bench, HOT, &[120, 300, 900, 1_800, 2_700, 3_600])).collect();
        bench.replay(&prints);
        let standby = Change::Standby(Step { from: Some(Celsius::new(HOT)), to: Celsius::new(MILD) });
        bench.advise_with(&[standby], 0.1, ("learned", &["jam", "under_extrusion", "blob"]));
        bench.done(&["adopt", STANDBY]);
        let prints: Vec<Print> = (0..60).map(|_| print(&mut bench, MILD, &waits)).collect();
        bench.replay(&prints);
        let trial = bench.trial();
        assert_eq!(trial["design"], "before_after", "{trial}");
        assert!(trial["verdict"] != "helped" && trial["verdict"] != "harmed", "{waits:?}: {trial}");
    }
}

#[test]
fn a_tool_that_holds_another_material_is_told_of_and_since_when() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    assert_eq!(bench.trial()["held"], Value::Null);
    bench.load("PETG");
    let prints: Vec<Print> = (0..3).map(|_| bench.print(MILD, 0.0)).collect();
    bench.replay(&prints);
    let trial = bench.trial();
    assert_eq!((&trial["held"]["material"], &trial["prints"]), (&json!("PETG"), &json!([])), "{trial}");
    assert!(bench.done(&["review"]).contains("no print counts until it holds PLA again"));
    bench.load("PLA");
    bench.replay(&prints);
    let trial = bench.trial();
    assert_eq!((&trial["held"], trial["prints"].as_array().unwrap().len()), (&Value::Null, 3), "{trial}");
}

#[test]
fn what_was_never_set_has_neither_helped_nor_harmed() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    let n = bench.draws().len();
    let prints: Vec<Print> = (0..n).map(|_| Print { wait_s: WAIT_S, wait_c: HOT, jammed: Some(true) }).collect();
    bench.replay(&prints);
    let trial = bench.trial();
    assert_eq!((&trial["verdict"], &trial["state"]), (&json!("undecided"), &json!("ended")), "{trial}");
    assert!(trial["why"].as_str().unwrap().contains("seldom set"), "{trial}");
    assert_eq!(bench.standing(STANDBY), Standing::Open);
}

#[test]
fn a_change_is_adopted_once_one_at_a_time_and_by_its_name() {
    let bench = Bench::with_advice();
    let unknown = bench.refused(&["adopt", "bench-t1-pla-standby"]);
    assert!(unknown.contains(STANDBY) && unknown.contains("`dwellwatch advise` lists them"), "{unknown}");
    bench.done(&["adopt", STANDBY]);
    let twice = bench.refused(&["adopt", STANDBY]);
    assert!(twice.contains("on trial since") && twice.contains("review"), "{twice}");
    let other = bench.refused(&["adopt", RETRACT]);
    assert!(other.contains(STANDBY) && other.contains("one change at a time"), "{other}");
    assert!(bench.refused(&["decline", "bench-t1-pla-prime"]).contains("no such suggestion"));
    let declined = bench.done(&["decline", STANDBY, "--reason", "it squeaks"]);
    assert!(declined.contains("given up"), "{declined}");
    assert_eq!((&bench.trial()["ending"], &bench.trial()["why"]), (&json!("given_up"), &json!("it squeaks")));
    bench.done(&["adopt", RETRACT]);
    assert_eq!(bench.reader().trials().unwrap().len(), 2);
    bench.done(&["decline", RETRACT, "--reason", " "]);
    let text = bench.done(&["review"]);
    assert!(text.contains("undecided: given up. If it is"), "{text}");
}

#[test]
fn advice_whose_effect_nobody_knows_is_watched_as_if_it_halved_the_risk() {
    let bench = Bench::with_advice();
    bench.advise_with(&[Change::Clean], 0.5, ("mixed", &["jam"]));
    let told = bench.done(&["adopt", "bench-t1-pla-part-nozzle"]);
    assert!(told.contains("nobody knows"), "{told}");
    assert_eq!((&bench.trial()["ratio_expected"], &bench.trial()["design"]), (&json!(0.5), &json!("before_after")));
}

#[test]
fn what_is_said_no_more_is_listed_with_why_and_can_not_be_adopted() {
    let bench = Bench::with_advice();
    bench.done(&["decline", STANDBY]);
    bench.advise(&[]);
    let review: Value = serde_json::from_str(&bench.done(&["review", "--json"])).unwrap();
    let closed = review["closed"].as_array().unwrap();
    let told: Vec<_> = closed.iter().map(|row| (row["id"].as_str().unwrap(), row["state"].as_str().unwrap())).collect();
    assert_eq!(told, [(RETRACT, "withdrawn"), (STANDBY, "declined")]);
    assert!(closed[0]["why"].as_str().unwrap().contains("not said any more"));
    assert!(bench.refused(&["adopt", RETRACT]).contains("it was withdrawn"));
}

#[test]
fn replaying_a_journal_again_changes_no_trial() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    let prints: Vec<Print> = (0..6).map(|_| bench.print(MILD, 0.1)).collect();
    let journal = bench.replay(&prints);
    let before = bench.done(&["review", "--json"]);
    bench.done(&["replay", journal.to_str().unwrap()]);
    assert_eq!(bench.done(&["review", "--json"]), before);
    assert!(before.contains("\"nth\":6"), "{before}");
}
