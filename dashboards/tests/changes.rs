//! The page *Changes* against views written by hand: each figure of a suggestion and a trial stands there, what can't be
//! done is not offered, and an empty record is told why.

#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample is shared with tests of other pages")]

mod sample;

use dwell_analysis::advice::{Arm, Basis, Change, Design, ModeEffect, Plan, RiskMove, Step, Suggestion};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{FailureMode, State};
use dwell_analysis::units::Celsius;
use dwell_dashboards::render_changes;
use dwell_dashboards::view::*;
use sample::{HOSTILE, at, frame};

const ID: &str = "bench-t1-pla-standby_c";

const PLAN: Plan = Plan { design: Design::Alternation, prints: 24, ratio: 0.4, power: 0.82, detects: Some(0.38) };

fn standby() -> Change {
    Change::Standby(Step { from: Some(Celsius::new(205.0)), to: Celsius::new(155.0) })
}

fn effect(mode: FailureMode, now: f64, after: f64) -> ModeEffect {
    let around = |value: f64| Estimate { value, low: 0.6 * value, high: 1.6 * value, n: 60 };
    let falls = if after < now { 0.97 } else { 0.12 };
    let (now, after, state) = (around(now), around(after), State::Learned);
    ModeEffect { mode, now, after, falls, state, n: 412, events: 23, own_n: 120, own_events: 14 }
}

fn suggestion(basis: Basis) -> SuggestionView {
    let effects = vec![effect(FailureMode::Jam, 0.117, 0.052), effect(FailureMode::Stringing, 0.04, 0.045)];
    SuggestionView {
        id: ID.to_owned(),
        setting: "standby_c",
        printer: "bench".to_owned(),
        tool: 1,
        material: Some("PLA".to_owned()),
        beside: None,
        middle: None,
        meant: None,
        plan: None,
        is_adopted: false,
        suggestion: Suggestion {
            change: standby(),
            meant: vec![FailureMode::Jam],
            risk: Some(RiskMove { now: effects[0].now, after: effects[0].after, sure: 0.97 }),
            effects,
            minutes: Estimate { value: 1.3, low: 0.8, high: 2.1, n: 60 },
            gain: Some(Estimate { value: 12.4, low: 2.2, high: 24.1, n: 60 }),
            basis,
            rule: None,
            n_courses: 60,
            n_waits: 61,
            n_long_waits: 41,
        },
    }
}

fn trial(state: TrialState) -> TrialView {
    let print = |nth: usize, drawn: Arm, failed: Option<bool>| TrialPrint {
        nth,
        print: 40 + i64::try_from(nth).unwrap(),
        name: Some(format!("lantern-{nth}.gcode")),
        started: at(60.0),
        drawn: Some(drawn),
        applied: Applied { set: WasSet::Changed, value: Some(standby()), by: KnownBy::SetPoints },
        failed,
        failures: Vec::new(),
        expected: Some(0.31),
    };
    TrialView {
        id: ID.to_owned(),
        printer: "bench".to_owned(),
        tool: 1,
        material: Some("PLA".to_owned()),
        change: standby(),
        adopted: at(0.0),
        plan: PLAN,
        modes: vec!["jam"],
        prints: vec![print(1, Arm::Changed, Some(false)), print(2, Arm::AsBefore, None)],
        figures: Some(TrialFigures {
            n_changed: 9,
            seen: 1,
            n_as_before: 8,
            seen_as_before: 3,
            expected: Estimate { value: 3.4, low: 2.1, high: 4.8, n: 9 },
            ratio: Estimate { value: 0.43, low: 0.17, high: 1.2, n: 17 },
            sure: 0.93,
            exact: None,
        }),
        ratio_as_applied: None,
        held: None,
        state,
    }
}

fn open(next: Option<Arm>) -> TrialState {
    TrialState::Open { more: 7, on: None, next }
}

fn card(state: TrialState) -> TrialCard {
    TrialCard { trial: trial(state), is_assumed: false, is_behind: false, may_return: false }
}

fn offer(basis: Basis) -> OfferView {
    OfferView { of: suggestion(basis), planned: Ok(PlannedView { plan: PLAN, is_assumed: false }) }
}

fn advice(prints: usize, reported: usize) -> AdviceView {
    AdviceView { as_of: Some(at(0.0)), prints, reported, asked: Vec::new(), suggestions: Vec::new() }
}

fn page(offers: Vec<OfferView>, trials: Vec<TrialCard>, closed: Vec<ClosedView>) -> ChangesPage {
    let shown = trials.iter().map(|card| card.trial.clone()).collect();
    let review = ReviewView { as_of: Some(at(0.0)), trials: shown, closed };
    let advice = AdviceView { suggestions: offers.iter().map(|offer| offer.of.clone()).collect(), ..advice(130, 120) };
    let worked = Some(ChangesView { made: at(1.0), advice, offers, review, trials });
    ChangesPage { frame: frame(), token: "t0k".to_owned(), notice: None, worked }
}

/// The page's text without its marks.
fn text(html: &str) -> String {
    let mut text = String::new();
    for part in html.split('<') {
        text.push(' ');
        text.push_str(part.split_once('>').map_or(part, |(_, after)| after));
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_suggestion_tells_what_to_change_each_risk_what_it_costs_how_sure_it_is_and_how_it_would_be_tried() {
    let html = render_changes(&page(vec![offer(Basis::Learned)], Vec::new(), Vec::new()));
    let text = text(&html);
    for says in [
        "1. T1: wait at 155 °C instead of 205 °C",
        "bench T1 with PLA",
        "Learned from this record",
        "the risk falls with a probability of 97 %",
        "Jam : 11.7 % (7.0 to 18.7), then 5.2 % (3.1 to 8.3)",
        "Stringing : 4.0 % (2.4 to 6.4), then 4.5 % (2.7 to 7.2)",
        "It costs 1.3 min (0.8 to 2.1) per print.",
        "it saves 12 min (2 to 24) a print",
        "Trade-off: Falls: jam. Rises: stringing.",
        "Set by a draw print by print, for 24 prints with a known outcome",
        "they show it with a probability of 82 %",
        "limits of the material and of the parts",
    ] {
        assert!(text.contains(says), "{says}: {text}");
    }
    assert!(html.contains("<title>1 to decide: Changes"), "{html}");
    assert!(
        html.contains(&format!("action=\"/changes/{ID}/adopt\"")) && html.contains(&format!("/changes/{ID}/decline"))
    );
    assert!(html.contains("value=\"standby 155 °C instead of 205 °C\""), "the form says what was seen");
}

#[test]
fn what_advice_rests_on_is_labelled_in_words() {
    for (basis, says) in [
        (Basis::Learned, "Learned from this record"),
        (Basis::CommonPractice, "Common practice"),
        (Basis::Mixed, "The record leans this way"),
    ] {
        let html = render_changes(&page(vec![offer(basis)], Vec::new(), Vec::new()));
        let label = html.split("class=\"basis").nth(1).unwrap().split('<').next().unwrap().to_owned();
        assert!(label.ends_with(&format!(">{says}")), "{label}");
    }
}

#[test]
fn what_can_not_be_adopted_now_has_its_reason_and_a_way_to_the_trial_in_its_place_but_no_button() {
    let refused =
        RefusedOffer { why: "one change at a time".to_owned(), beside: Some("bench-t1-pla-prime_mm3".to_owned()) };
    let offer = OfferView { planned: Err(refused), ..offer(Basis::Learned) };
    let html = render_changes(&page(vec![offer], Vec::new(), Vec::new()));
    assert!(html.contains("one change at a time") && html.contains("href=\"#trial-bench-t1-pla-prime_mm3\""), "{html}");
    assert!(!html.contains(">Adopt<") && html.contains(">Decline<"), "{html}");
}

#[test]
fn an_open_trial_tells_what_the_next_print_is_to_have_what_was_seen_against_expected_and_what_is_needed() {
    let html = render_changes(&page(Vec::new(), vec![card(open(Some(Arm::AsBefore)))], Vec::new()));
    let text = text(&html);
    for says in [
        "Next print: as before, standby 205 °C.",
        "It failed in 1 of",
        "3.4 (2.1 to 4.8) were expected without it",
        "With the change, 9 prints : 1 seen, 3.4 expected without it",
        "the risk 0.43 times what it was (90 % interval 0.17 to 1.20)",
        "not yet (7 more prints with a known outcome)",
        "Nobody said how 1 print came out:",
    ] {
        assert!(text.contains(says), "{says}: {text}");
    }
    assert!(html.contains("href=\"/prints/42\"") && html.contains(">Give the trial up<"), "{html}");
    let behind = TrialCard { is_behind: true, ..card(open(Some(Arm::AsBefore))) };
    let behind = render_changes(&page(Vec::new(), vec![behind], Vec::new()));
    assert!(!behind.contains("Next print: as before") && behind.contains("is being counted"), "{behind}");
    let made = render_changes(&page(Vec::new(), vec![card(open(None))], Vec::new()));
    assert!(made.contains("Next print: as you like"), "{made}");
}

#[test]
fn an_ended_trial_has_its_verdict_and_what_to_do_then_and_one_given_up_can_be_taken_up_again() {
    let ended = |verdict| TrialState::Ended { at: at(90.0), ending: "planned", verdict, why: "so it was".to_owned() };
    for (verdict, says) in [
        ("helped", "it helped. Keep it: standby 155 °C."),
        ("did_not_help", "it did not help. Nothing speaks for it: as before, standby 205 °C."),
        ("harmed", "stopped early, it did harm. Take it back"),
        ("undecided", "undecided: so it was. If it is advised again"),
    ] {
        let html = render_changes(&page(Vec::new(), vec![card(ended(verdict))], Vec::new()));
        assert!(html.contains(says), "{says}: {html}");
        assert!(!html.contains("Adopt it again"));
    }
    let back = TrialCard { may_return: true, ..card(ended("undecided")) };
    assert!(render_changes(&page(Vec::new(), vec![back], Vec::new())).contains("Adopt it again"));
}

#[test]
fn without_a_suggestion_the_page_says_why_and_without_a_record_that_it_is_being_worked_out() {
    let asked = AskedView {
        printer: "bench".to_owned(),
        tool: 1,
        material: None,
        courses: 60,
        waits: 0,
        middle: None,
        known: 120,
        failed: 14,
    };
    for (advice, says) in [
        (AdviceView { as_of: None, ..advice(0, 0) }, "no printer has been read"),
        (advice(0, 0), "no print has ended yet"),
        (AdviceView { asked: vec![asked.clone()], ..advice(9, 0) }, "nobody said how a print came out"),
        (AdviceView { asked: vec![asked], ..advice(130, 130) }, "no change is known that saves more than it costs"),
    ] {
        let mut page = page(Vec::new(), Vec::new(), Vec::new());
        let has_asked = !advice.asked.is_empty();
        page.worked = page.worked.map(|worked| ChangesView { advice, ..worked });
        let html = render_changes(&page);
        assert!(html.contains("Nothing is worth a change: ") && html.contains(says), "{says}: {html}");
        assert_eq!(html.contains("14 of 120 reported prints failed"), has_asked, "{html}");
    }
    let page = ChangesPage { worked: None, ..page(Vec::new(), Vec::new(), Vec::new()) };
    assert!(render_changes(&page).contains("is being worked out; this page shows it"));
}

#[test]
fn no_reason_that_was_typed_in_opens_a_tag_and_what_is_no_more_is_folded() {
    let closed = ClosedView {
        id: ID.to_owned(),
        printer: HOSTILE.to_owned(),
        tool: 1,
        material: None,
        change: standby(),
        is_declined: true,
        since: at(0.0),
        why: Some(HOSTILE.to_owned()),
    };
    let mut page = page(Vec::new(), Vec::new(), vec![closed]);
    page.notice = Some(PageNotice::Refused(HOSTILE.to_owned()));
    let html = render_changes(&page);
    assert!(!html.contains("<script>alert") && html.contains("&lt;script&gt;alert"), "{html}");
    assert!(html.contains("<details id=\"closed\">") && html.contains("Adopt it after all"), "{html}");
}

#[test]
fn a_page_full_of_suggestions_and_long_trials_stays_under_a_hundred_kilobytes() {
    let mut long = trial(open(Some(Arm::Changed)));
    long.prints = std::iter::repeat_n(long.prints[1].clone(), 200).collect();
    let long = |state: TrialState| TrialCard { trial: TrialView { state, ..long.clone() }, ..card(open(None)) };
    let ended = || TrialState::Ended { at: at(9.0), ending: "planned", verdict: "helped", why: "it did".to_owned() };
    let trials = (0..12).map(|_| long(open(None))).chain((0..30).map(|_| long(ended()))).collect();
    let offers = (0..20).map(|_| offer(Basis::Learned)).collect();
    let html = render_changes(&page(offers, trials, Vec::new()));
    for says in
        ["And 4 more: <code>dwellwatch review</code>", "And 14 more: <code>dwellwatch advise</code>", "And 22 more"]
    {
        assert!(html.contains(says), "{says}");
    }
    assert!(html.len() < 100_000, "{} bytes", html.len());
}
