//! What must hold of the page of advice and of the sentences of each suggestion, whatever it is.

#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::advice::{Basis, Change, Design, ModeEffect, PartKind, Plan, RiskMove, Rule, Step, Suggestion};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::polymer::Material;
use dwell_analysis::risk::{FailureMode, State};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, CubicMm, Millimetres, Seconds};
use dwell_dashboards::view::{AdviceView, AskedView, MeantView, MiddleWait, SuggestionView};
use dwell_dashboards::{SAFETY_WORDS, advice_words, render_advice_text};

const COLUMNS: usize = 96;

fn estimate(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, n: 60 }
}

fn effect(mode: FailureMode, now: f64, after: f64) -> ModeEffect {
    let around = |value: f64| estimate(value, 0.6 * value, 1.6 * value);
    ModeEffect {
        mode,
        now: around(now),
        after: around(after),
        falls: if after < now { 0.97 } else { 0.12 },
        state: State::Learned,
        n: 412,
        events: 23,
        own_n: 120,
        own_events: 14,
    }
}

fn standby() -> Change {
    Change::Standby(Step { from: Some(Celsius::new(205.0)), to: Celsius::new(155.0) })
}

fn long_waits() -> Rule {
    Rule::WaitsAreLong { round_trip: Seconds::new(250.0) }
}

/// T1 with PLA: jams fall, strings rise.
fn suggestion(change: Change, basis: Basis, rule: Option<Rule>) -> SuggestionView {
    let effects = vec![effect(FailureMode::Jam, 0.117, 0.052), effect(FailureMode::Stringing, 0.04, 0.045)];
    SuggestionView {
        id: "bench-t1-pla-standby_c".to_owned(),
        setting: "standby_c",
        printer: "bench".to_owned(),
        tool: 1,
        material: Some("PLA".to_owned()),
        beside: Some("PETG-CF".to_owned()),
        middle: Some(MiddleWait { n: 61, lasted: Seconds::new(540.0), mean: Celsius::new(204.6) }),
        meant: Some(MeantView {
            mode: FailureMode::Jam,
            state: State::Learned,
            n: 412,
            events: 23,
            own_n: 120,
            own_events: 14,
        }),
        plan: None,
        is_adopted: false,
        suggestion: Suggestion {
            change,
            meant: vec![FailureMode::Jam],
            risk: Some(RiskMove { now: effects[0].now, after: effects[0].after, sure: 0.97 }),
            effects,
            minutes: estimate(1.3, 0.8, 2.1),
            gain: Some(estimate(12.4, 2.2, 24.1)),
            basis,
            rule,
            n_courses: 60,
            n_waits: 61,
            n_long_waits: 41,
        },
    }
}

fn view(suggestions: Vec<SuggestionView>) -> AdviceView {
    let asked = AskedView {
        printer: "bench".to_owned(),
        tool: 1,
        material: Some("PLA".to_owned()),
        courses: 60,
        waits: 61,
        middle: suggestions.first().and_then(|of| of.middle),
        known: 120,
        failed: 14,
    };
    let as_of = Some(Timestamp::from_ms(1_772_438_400_000));
    AdviceView { as_of, prints: 130, reported: 120, asked: vec![asked], suggestions }
}

fn changes() -> Vec<Change> {
    let (celsius, mm) = (Celsius::new, Millimetres::new);
    vec![
        standby(),
        Change::Retract(Step { from: Some(mm(2.5)), to: mm(1.2) }),
        Change::RetractSpeed(Step { from: None, to: 35.0 }),
        Change::Prime(Step { from: Some(CubicMm::new(20.0)), to: CubicMm::new(45.0) }),
        Change::OozeShield(Step { from: Some(false), to: true }),
        Change::OozeShield(Step { from: Some(true), to: false }),
        Change::PrintTemperature(Step { from: Some(celsius(235.0)), to: celsius(215.0) }),
        Change::Dried(Step { from: None, to: true }),
        Change::Material(Step { from: Some(Material::Pla), to: Material::Petg }),
        Change::Replace(PartKind::Liner),
        Change::Replace(PartKind::Nozzle),
        Change::Clean,
        Change::AllMetal,
    ]
}

fn rules() -> Vec<Rule> {
    vec![
        long_waits(),
        Rule::WaitsAreShort { round_trip: Seconds::new(250.0) },
        Rule::StartsCold { deficit: CelsiusDelta::new(42.0) },
        Rule::RetractionOutside { low: Millimetres::new(0.5), high: Millimetres::new(2.0) },
        Rule::OverLiner { rating: Celsius::new(240.0) },
        Rule::PrintOutside { low: Celsius::new(190.0), high: Celsius::new(220.0) },
        Rule::PartDue,
        Rule::Oozes,
        Rule::Wet,
        Rule::Stagnant,
        Rule::WaitsBest,
    ]
}

fn why(change: Change, basis: Basis, rule: Option<Rule>) -> String {
    advice_words(&suggestion(change, basis, rule)).why
}

#[test]
fn what_was_learned_names_prints_failures_waits_and_what_would_refute_it() {
    assert_eq!(
        why(standby(), Basis::Learned, Some(long_waits())),
        "41 of T1's 61 waits took longer than the 4 min 10 s of cooling and heating again (the middle one 9 min, all \
         at 205 °C on the mean); it jammed in 14 of 120 reported prints of T1 with PLA; by what was learned the chance \
         of it falls from 11.7 to 5.2 % per print. It is refuted if jams stay as frequent in the prints to come with T1 \
         waiting at 155 °C."
    );
    assert_eq!(
        why(changes()[1], Basis::Learned, None),
        "It jammed in 14 of 120 reported prints of T1 with PLA; by what was learned the chance of it falls from 11.7 to \
         5.2 % per print. It is refuted if jams stay as frequent in the prints to come with a retraction of 1.20 mm."
    );
}

#[test]
fn common_practice_is_called_so_and_claims_nothing_of_the_record() {
    for (rule, change) in rules().into_iter().zip(changes().into_iter().cycle()) {
        let said = why(change, Basis::CommonPractice, Some(rule));
        let begins = match rule {
            Rule::PartDue => "Common practice: its age has passed the limit that you accept, so replace it",
            _ => "Common practice, while the record says too little yet: ",
        };
        assert!(said.starts_with(begins), "{said}");
        assert!(!said.contains("learned"), "{said}");
    }
}

#[test]
fn every_basis_rule_and_change_is_told_in_two_sentences_with_the_record_s_counts() {
    for basis in [Basis::Learned, Basis::Mixed, Basis::CommonPractice] {
        for rule in rules().into_iter().map(Some).chain([None]) {
            for change in changes() {
                let words = advice_words(&suggestion(change, basis, rule));
                assert!(
                    words.why.contains("it jammed in 14 of 120 reported prints of T1 with PLA")
                        || words.why.starts_with("It jammed in 14 of 120"),
                    "{words:?}"
                );
                // Of a part that is due by its age no trial as short as this one shows anything.
                let is_due = basis == Basis::CommonPractice && rule == Some(Rule::PartDue);
                let refute = if is_due { "No trial can show this; " } else { "It is refuted if jams " };
                assert!(words.why.ends_with(&words.refute) && words.refute.starts_with(refute), "{words:?}");
                assert_eq!(words.why.matches(". ").count(), 1, "{words:?}");
                assert!(words.suggestion.ends_with('.') && words.suggestion.contains("T1"), "{words:?}");
                assert!(!format!("{words:?}").contains("NaN"), "{words:?}");
            }
        }
    }
}

#[test]
fn each_rule_gives_its_own_reason_with_its_own_figures() {
    let said = |change: usize, rule: usize| why(changes()[change], Basis::Mixed, Some(rules()[rule]));
    let figures = [
        (0, 0, "41 of T1's 61 waits took longer than the 4 min 10 s"),
        (0, 1, "41 of T1's 61 waits took longer than the 4 min 10 s"),
        (0, 2, "T1 returned to work up to 42 K colder than its print set point"),
        (1, 3, "its drive and PLA need 0.5 to 2.0 mm, and T1 draws 2.50 mm back"),
        (12, 4, "more than its liner stands for good, 240 °C"),
        (6, 5, "PLA is usually printed at 190 to 220 °C"),
        (9, 6, "at its age, such a part of T1 will have failed with more than the accepted chance"),
        (4, 7, "T1 waited 61 times, 9 min in the middle, at 205 °C on the mean, and nothing catches what it oozes"),
        (7, 8, "nobody said whether that of T1 is dried"),
        (11, 9, "melt that has waited long clings to the walls of a nozzle"),
        (8, 10, "PETG-CF bears waiting better than PLA, and T1 is the one that waits more"),
    ];
    for (change, rule, reason) in figures {
        assert!(said(change, rule).contains(reason), "{}", said(change, rule));
    }
    let told = Change::Dried(Step { from: Some(false), to: true });
    assert!(why(told, Basis::Mixed, Some(Rule::Wet)).contains("that of T1 was not dried"));
}

#[test]
fn each_change_says_from_what_to_what_and_only_what_is_known() {
    let said = |at: usize| advice_words(&suggestion(changes()[at], Basis::Learned, None)).suggestion;
    let told = [
        "Let T1 wait at 155 °C instead of 205 °C.",
        "Let T1 draw filament back by 1.20 mm instead of 2.50 mm.",
        "Let T1 draw filament back at 35.0 mm/s.",
        "Let T1 prime 45.0 mm³ instead of 20.0 mm³ after a tool change.",
        "Let T1 print an ooze shield.",
        "Let T1 leave the ooze shield out.",
        "Let T1 print PLA at 215 °C instead of 235 °C.",
        "Let T1 dry PLA before printing.",
        "Let T1 hold PETG-CF instead of PLA, and let the tool beside it hold that.",
        "On T1, fit a new liner.",
        "On T1, fit a new nozzle.",
        "On T1, clean the nozzle by a cold pull.",
        "On T1, fit a heat break of metal alone, without PTFE in the heat.",
    ];
    for (at, told) in told.into_iter().enumerate() {
        assert_eq!(said(at), told);
    }
}

#[test]
fn without_an_outcome_no_count_is_made_up() {
    let mut of = suggestion(standby(), Basis::CommonPractice, Some(long_waits()));
    let meant = of.meant.unwrap();
    of.meant = Some(MeantView { own_n: 0, own_events: 0, ..meant });
    let others = advice_words(&of).why;
    assert!(
        others.contains(
            "no print of T1 with PLA was reported, and of all 412 reported tool-runs 23 ended so that it jammed"
        ),
        "{others}"
    );
    of.meant = Some(MeantView { n: 0, events: 0, own_n: 0, own_events: 0, ..meant });
    let none = advice_words(&of).why;
    assert!(none.contains("how prints came out nobody has said yet, so no failure of T1 is known"), "{none}");
    of.middle = None;
    assert!(!advice_words(&of).why.contains("middle"));
    of.material = None;
    assert!(!advice_words(&of).why.contains("PLA"));
    of.meant = None;
    assert!(advice_words(&of).why.ends_with("take no less time."), "{}", advice_words(&of).why);
}

#[test]
fn a_trial_that_would_tell_is_what_refutes_it_by_its_number_of_prints() {
    let refute = |design: Design, power: f64| {
        let mut of = suggestion(standby(), Basis::Learned, None);
        of.plan = Some(Plan { design, prints: 24, ratio: 0.44, power, detects: Some(0.4) });
        advice_words(&of).refute
    };
    assert_eq!(
        refute(Design::BeforeAfter, 0.8),
        "It is refuted if jams stay as frequent in the next 24 reported prints with T1 waiting at 155 °C."
    );
    assert_eq!(
        refute(Design::Alternation, 0.8),
        "It is refuted if, of the next 24 reported prints, jams are as frequent in the drawn half with T1 waiting at \
         155 °C as in the other."
    );
    assert_eq!(
        refute(Design::BeforeAfter, 0.1),
        "It is refuted if jams stay as frequent with T1 waiting at 155 °C, which 24 reported prints are too few to show."
    );
}

#[test]
fn a_change_whose_effect_the_record_can_t_tell_has_no_table_of_risks() {
    let mut of = suggestion(Change::Clean, Basis::CommonPractice, Some(Rule::Stagnant));
    of.suggestion.effects.clear();
    let text = page(vec![of]);
    assert!(text.contains("Meant for: jam. What it does to them the record can't tell."), "{text}");
    assert!(
        !text.contains("All in all") && !text.contains("chance per print") && text.contains("jammed in 14 of 120"),
        "{text}"
    );
}

#[test]
fn one_that_was_taken_up_is_not_offered_again() {
    let mut of = suggestion(standby(), Basis::Learned, None);
    of.is_adopted = true;
    let text = page(vec![of]);
    assert!(text.contains("It was taken up already") && !text.contains("dwellwatch adopt bench"), "{text}");
}

fn page(suggestions: Vec<SuggestionView>) -> String {
    render_advice_text(&view(suggestions))
}

#[test]
fn no_line_of_the_page_is_longer_than_its_columns_whatever_is_suggested() {
    let all = changes().into_iter().flat_map(|change| rules().into_iter().map(move |rule| (change, rule)));
    let mut all: Vec<_> = all.map(|(change, rule)| suggestion(change, Basis::Mixed, Some(rule))).collect();
    all[0].material = Some("a filament of an extraordinarily long name, such as spools have it".to_owned());
    for line in page(all).lines() {
        assert!(line.chars().count() <= COLUMNS, "{line}");
    }
}

#[test]
fn a_mode_that_rises_is_marked_and_none_is_called_a_trade_off_without_one() {
    let both = suggestion(standby(), Basis::Learned, None);
    let text = page(vec![both.clone()]);
    assert!(text.contains("A trade-off. Falls: jam. Rises: stringing.") && text.contains("12 %, rises"), "{text}");
    let mut one = both;
    one.suggestion.effects.truncate(1);
    let text = page(vec![one]);
    assert!(!text.contains("trade-off") && !text.contains("rises") && text.contains("97 %\n"), "{text}");
}

#[test]
fn time_is_said_as_cost_saving_or_none() {
    let of = |minutes: f64| {
        let mut of = suggestion(standby(), Basis::Learned, None);
        of.suggestion.minutes = estimate(minutes, minutes - 0.5, minutes + 0.5);
        page(vec![of])
    };
    assert!(of(1.3).contains("It costs 1.3 min (0.8 to 1.8) per print."));
    assert!(of(-1.3).contains("It saves 1.3 min (0.8 to 1.8) per print."));
    assert!(of(0.01).contains("It costs no time."));
}

#[test]
fn the_safety_words_stand_where_heat_is_touched_and_the_way_on_with_each() {
    let heat = page(vec![suggestion(standby(), Basis::Learned, None)]);
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat(&heat).contains(SAFETY_WORDS), "{heat}");
    assert!(heat.contains("dwellwatch adopt bench-t1-pla-standby_c\n"), "{heat}");
    let cold = page(vec![suggestion(changes()[1], Basis::Learned, None)]);
    assert!(!flat(&cold).contains("Not a safety device"), "{cold}");
}

#[test]
fn an_empty_list_says_why_and_what_is_known_all_the_same() {
    let nothing = |change: &dyn Fn(&mut AdviceView)| {
        let mut view = view(Vec::new());
        change(&mut view);
        render_advice_text(&view).split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let known = nothing(&|_| ());
    assert!(known.contains("no change is known that saves more than it costs"), "{known}");
    assert!(
        known.contains("bench T1 with PLA: the newest 60 prints, without a wait; 14 of 120 reported prints failed"),
        "{known}"
    );
    assert!(nothing(&|view| view.as_of = None).contains("no printer has been read"));
    assert!(nothing(&|view| view.prints = 0).contains("no print has ended yet"));
    assert!(nothing(&|view| view.reported = 0).contains("nobody said how a print came out"));
    assert!(nothing(&|view| view.asked.clear()).contains("no tool ran in the newest eight weeks"));
}
