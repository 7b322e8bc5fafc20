//! What is said of trials, against views written by hand.

use super::*;
use crate::view::{Applied, HeldView, KnownBy, TrialPrint, WasSet};
use dwell_analysis::advice::{Arm, Change, Design, Plan, Step, shares};
use dwell_analysis::estimate::{Confidence, Estimate};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;

fn standby(to: f64) -> Change {
    Change::Standby(Step { from: Some(Celsius::new(175.0)), to: Celsius::new(to) })
}

fn print(nth: usize, drawn: Arm, applied: Applied, failed: Option<bool>) -> TrialPrint {
    let started = Timestamp::from_ms(1_772_438_400_000 + i64::try_from(nth).unwrap() * 86_400_000);
    let failures = if failed == Some(true) { vec!["under_extrusion"] } else { Vec::new() };
    TrialPrint {
        nth,
        print: 40,
        name: None,
        started,
        drawn: Some(drawn),
        applied,
        failed,
        failures,
        expected: Some(0.31),
    }
}

fn trial(state: TrialState) -> TrialView {
    let set = |set, to| Applied { set, value: Some(standby(to)), by: KnownBy::SetPoints };
    TrialView {
        id: "bench-t1-pla-standby_c".to_owned(),
        printer: "bench".to_owned(),
        tool: 1,
        material: Some("PLA".to_owned()),
        change: standby(155.0),
        adopted: Timestamp::from_ms(1_772_438_400_000),
        plan: Plan { design: Design::Alternation, prints: 24, ratio: 0.4, power: 0.82, detects: Some(0.38) },
        modes: vec!["jam", "under_extrusion"],
        prints: vec![
            print(1, Arm::Changed, set(WasSet::Changed, 155.0), Some(false)),
            print(2, Arm::AsBefore, set(WasSet::Neither, 165.0), Some(true)),
            print(3, Arm::AsBefore, Applied { set: WasSet::NotKnown, value: None, by: KnownBy::NotKnown }, None),
        ],
        figures: Some(TrialFigures {
            n_changed: 1,
            seen: 0,
            n_as_before: 1,
            seen_as_before: 1,
            expected: Estimate { value: 0.3, low: 0.1, high: 0.6, n: 1 },
            ratio: Estimate { value: 0.81, low: 0.2, high: 2.5, n: 2 },
            sure: 0.6,
            exact: shares((0, 1), (1, 1), Confidence::Percent90).ok(),
        }),
        ratio_as_applied: None,
        held: None,
        state,
    }
}

fn text(trials: Vec<TrialView>) -> String {
    render_review_text(&ReviewView { as_of: None, trials, closed: Vec::new() })
}

#[test]
fn each_print_of_a_trial_says_what_it_was_to_have_what_it_had_how_that_is_known_and_what_came_of_it() {
    let text = text(vec![trial(TrialState::Open { more: 22, on: None, next: Some(Arm::AsBefore) })]);
    let row = |nth: &str| {
        text.lines()
            .find(|line| line.trim_start().starts_with(nth))
            .unwrap()
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(row("1 "), "1 40 Tue 3 Mar, 08:00 155 °C 155 °C set points no 31 %");
    assert_eq!(row("2 "), "2 40 Wed 4 Mar, 08:00 175 °C 165 °C set points under-extrusion 31 %");
    assert_eq!(row("3 "), "3 40 Thu 5 Mar, 08:00 175 °C standby not told nothing not told 31 %");
    assert!(text.contains("Next print: as before, standby 175 °C."), "{text}");
    assert!(text.contains("Verdict: not yet (22 more prints with a known outcome)."), "{text}");
    assert!(text.contains("Nobody said how 1 print came out"), "{text}");
    assert!(text.contains("1 print had not what was to be set; it goes by the draw"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
}

#[test]
fn safety_is_spoken_of_where_heat_is_still_to_be_set_and_not_where_a_trial_is_over() {
    let ended = |verdict| {
        let at = Timestamp::from_ms(1_773_438_400_000);
        trial(TrialState::Ended { at, ending: "settled", verdict, why: "so it is".to_owned() })
    };
    let open = text(vec![trial(TrialState::Open { more: 0, on: None, next: None })]);
    assert!(open.contains("Not a safety device"), "{open}");
    for (verdict, said) in [
        ("helped", "it helped. Keep it: standby 155 °C."),
        ("harmed", "it did harm. Take it back: as before, standby 175 °C."),
        ("did_not_help", "it did not help. Nothing speaks for it: as before, standby 175 °C."),
        ("undecided", "undecided: so it is."),
    ] {
        let text = text(vec![ended(verdict)]);
        assert!(text.replace("\n ", "").replace("  ", " ").contains(said), "{text}");
        assert!(!text.contains("Not a safety device"), "{text}");
    }
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn where_the_draw_was_not_kept_it_says_that_it_goes_by_the_draw_how_many_had_not_the_change_and_what_was_set_comes_to()
{
    let mut view = trial(TrialState::Open { more: 20, on: None, next: None });
    assert!(flat(&text(vec![view.clone()])).contains("failed in 0 of 1 print with the change, where"));
    view.prints[0].applied.set = WasSet::AsBefore;
    view.ratio_as_applied = Some(Estimate { value: 0.9, low: 0.4, high: 1.8, n: 2 });
    let none = flat(&text(vec![view.clone()]));
    let claim = "failed in 0 of 1 print drawn to have the change (none of which had it), where";
    assert!(none.contains(claim) && none.contains("By what was really set the risk is 0.90 times"), "{none}");
    let (at, why) = (Timestamp::from_ms(1_773_438_400_000), trial_why(&view));
    let over = TrialState::Ended { at, ending: "planned", verdict: "did_not_help", why };
    let over = flat(&text(vec![TrialView { state: over, ratio_as_applied: None, ..view.clone() }]));
    assert!(over.contains("As it was written down then: it failed in 0 of 1 print drawn to have the change"), "{over}");
    assert!(over.contains("; by what was really set the risk is 0.90 times"), "{over}");
    if let Some(figures) = &mut view.figures {
        figures.n_changed = 5;
    }
    assert!(trial_why(&view).starts_with("failed in 0 of 5 prints drawn to have the change (1 of which did not"));
    assert!(trial_why(&view).ends_with("; by what was really set the risk is 0.90 times what it was (0.40 to 1.80)"));
}

#[test]
fn a_tool_that_holds_another_material_says_since_when_and_that_no_print_counts() {
    let mut view = trial(TrialState::Open { more: 20, on: None, next: Some(Arm::Changed) });
    assert!(!text(vec![view.clone()]).contains("holds"));
    view.held = Some(HeldView { material: "PETG".to_owned(), since: Timestamp::from_ms(1_772_438_400_000) });
    let text = flat(&text(vec![view]));
    let claim = "The tool holds PETG since Mon 2 Mar, 08:00: no print counts until it holds PLA again. Next print:";
    assert!(text.contains(claim), "{text}");
}

#[test]
fn what_is_advised_no_more_says_why_and_a_record_without_advice_says_what_to_do() {
    let closed = |is_declined, why: Option<&str>| ClosedView {
        id: "bench-t1-pla-standby_c".to_owned(),
        printer: "bench".to_owned(),
        tool: 1,
        material: None,
        change: standby(155.0),
        is_declined,
        since: Timestamp::from_ms(1_772_438_400_000),
        why: why.map(str::to_owned),
    };
    let view = ReviewView {
        as_of: None,
        trials: Vec::new(),
        closed: vec![closed(true, None), closed(false, Some("it is in force"))],
    };
    let text = render_review_text(&view).replace("\n  ", " ").replace("  ", " ");
    assert!(text.contains("Nothing was adopted yet. `dwellwatch advise`"), "{text}");
    assert!(text.contains("(standby 155 °C instead of 175 °C): declined Mon 2 Mar, 08:00."), "{text}");
    assert!(text.contains("withdrawn Mon 2 Mar, 08:00: it is in force."), "{text}");
}

#[test]
fn who_adopts_is_told_what_to_set_for_how_long_and_what_the_next_print_is_to_have() {
    let mut begun = trial(TrialState::Open { more: 24, on: Some(Arm::AsBefore), next: Some(Arm::Changed) });
    let text = render_adopted_text(&begun, false);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("Set: bench T1 with PLA: standby 155 °C instead of 175 °C, print by print as it was drawn."),
        "{text}"
    );
    assert!(flat.contains("For: 24 prints with a known outcome. If it does what is expected"), "{text}");
    assert!(flat.contains("Watched: jam or under-extrusion on bench T1 with PLA."), "{text}");
    assert!(flat.contains("Now on: as before, standby 175 °C. Next print: standby 155 °C."), "{text}");
    assert!(flat.contains("Not a safety device"), "{text}");
    begun.plan = Plan { design: Design::BeforeAfter, power: 0.2, detects: None, ..begun.plan };
    let flat = render_adopted_text(&begun, true).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("in every print. For: 24 prints with a known outcome. Failures are so rare"), "{flat}");
    assert!(flat.contains("nobody knows: half of it is taken here"), "{flat}");
}

/// None of one against one of one: half of the ways to draw one failure of two prints.
#[test]
fn the_two_groups_are_compared_without_the_model_too() {
    let words = text(vec![trial(TrialState::Open { more: 7, on: None, next: None })]);
    let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("by chance alone it fails so seldom beside the prints as before in 50 % of cases"),
        "{words}"
    );
}
