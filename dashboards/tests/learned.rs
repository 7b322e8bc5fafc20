//! What must hold of the page of what was learned, whatever the record told.

#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::estimate::{Confidence, Estimate, Refusal, rate};
use dwell_analysis::risk::{
    Bound, Calibration, Carries, Condition, Direction, Factor, Group, Habit, Inseparable, Learned, Pattern, Patterns,
    Reliability, Response, Settling, Skill, State, Step, Trial,
};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Probability, Seconds};
use dwell_dashboards::view::{
    BothReadings, LearnView, ModeView, PartExpected, PartView, ReadingView, Replace, ResponseView, SilenceView,
};
use dwell_dashboards::{SAFETY_WORDS, render_learned_text};

const COLUMNS: usize = 100;

fn estimate(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, n: 412 }
}

fn share(events: usize, n: usize) -> Estimate {
    rate(events, n, Confidence::Percent90).unwrap()
}

fn skill(log_loss: f64) -> Skill {
    let (brier, brier_base, ece) = (0.04, 0.05, 0.01);
    Skill { n: 380, log_loss, log_loss_base: 0.201, brier, brier_base, auc: Some(0.87), ece, evidence: 9.0 }
}

fn factor(name: &'static str, group: Group, rank: usize, repeats_prior: bool) -> Factor {
    let (effect, prior) = (estimate(0.69, 0.21, 1.18), estimate(0.3, -0.52, 1.12));
    Factor { factor: name, group, effect, prior, alone: None, repeats_prior, sure: 0.98, carries: 0.7, rank }
}

fn reliability(bins: usize) -> Vec<Reliability> {
    let bin = |at: u8| {
        let low = f64::from(at) / 10.0;
        Reliability { low, high: low + 0.1, n: 20, mean_forecast: low + 0.05, observed: share(usize::from(2 * at), 20) }
    };
    (0..10).take(bins).map(bin).collect()
}

/// A jam of which much is known.
fn jam() -> ModeView {
    let learned = Learned {
        n: 412,
        events: 23,
        doubtful: 7,
        rate: Ok(share(23, 412)),
        state: State::Learned,
        factors: vec![
            factor("restart_dose_max", Group::IdleHeat, 1, false),
            factor("retract", Group::Retraction, 1, false),
            factor("material_petg", Group::Material, 3, true),
            factor("dried", Group::Drying, 4, false),
        ],
        groups: [(Group::IdleHeat, 0.8), (Group::Retraction, 0.12), (Group::Drying, 0.01), (Group::Wear, 0.0)]
            .map(|(group, probability)| Carries { group, probability })
            .to_vec(),
        inseparable: vec![Inseparable {
            factors: ["restart_dose_max", "retract"],
            groups: [Group::IdleHeat, Group::Retraction],
            correlation: 0.97,
        }],
        refused: None,
        skill: Some(skill(0.1623)),
        baseline: Some(skill(0.185)),
        reliability: reliability(10),
        calibration: Some(Calibration {
            slope: estimate(0.9, 0.7, 1.1),
            intercept: estimate(0.0, -0.2, 0.2),
            in_the_large: estimate(0.0, -0.2, 0.2),
        }),
        settling: Settling::Settled,
        predictions: Vec::new(),
    };
    ModeView {
        mode: "jam",
        learned,
        severities: [10, 8, 3],
        unplaced: 2,
        mixed_up_with: Some("under_extrusion"),
        patterns: Ok(patterns()),
        response: Some(response()),
        trials: vec![Some(Trial {
            set: "retract",
            to: 0.8,
            instead: 6.0,
            held: "restart_dose_max",
            bound: Bound::AtLeast(12.4),
            runs: Some(9),
        })],
    }
}

fn patterns() -> Patterns {
    let leaf = |bound, events, n| Pattern {
        conditions: vec![Condition { factor: "wait_longest", bound, chance: 0.001 }],
        events,
        n,
        rate: share(events, n),
    };
    let leaves = vec![leaf(Bound::AtLeast(42.0), 20, 60), leaf(Bound::Under(42.0), 3, 352)];
    Patterns { n: 412, events: 23, leaves, tried: 300, left_out: Vec::new() }
}

fn response() -> ResponseView {
    let step = |at: u8| {
        let from = f64::from(at) * 1234.5;
        Step { from, to: from + 1000.0, events: usize::from(at), n: 40, rate: share(usize::from(at), 40) }
    };
    let response = Response { direction: Direction::Rising, steps: (0..12).map(step).collect(), unplaced: 3 };
    ResponseView { factor: "restart_dose_max", response, runs: Vec::new(), is_by_doubling: true }
}

/// A mode of which little is known.
fn unknown(mode: &'static str, n: usize, events: usize) -> ModeView {
    let learned = Learned {
        n,
        events,
        doubtful: 0,
        rate: rate(events, n, Confidence::Percent90),
        state: State::TooLittle,
        factors: Vec::new(),
        groups: Vec::new(),
        inseparable: Vec::new(),
        refused: Some(Refusal::TooFew { have: events, need: 4 }),
        skill: None,
        baseline: None,
        reliability: Vec::new(),
        calibration: None,
        settling: if events == 0 { Settling::NoRate } else { Settling::RunsToRuleOut(290) },
        predictions: Vec::new(),
    };
    let patterns = Err(Refusal::NoEvents);
    ModeView {
        mode,
        learned,
        severities: [0; 3],
        unplaced: 0,
        mixed_up_with: None,
        patterns,
        response: None,
        trials: Vec::new(),
    }
}

fn reading(mode: &ModeView) -> ReadingView {
    let Learned { n, events, rate, state, groups, .. } = mode.learned.clone();
    ReadingView { n, events, rate, state, first: groups.first().map(|of| of.group) }
}

fn silence(modes: &[ModeView]) -> SilenceView {
    let both = |mode: &ModeView| BothReadings { mode: mode.mode, shown: reading(mode), other: reading(mode) };
    SilenceView { means_clean: false, prints: 24, readings: modes.iter().map(both).collect() }
}

fn part(printer: &str, replace: Replace) -> PartView {
    let expected = PartExpected {
        left_h: estimate(131.0, 15.0, 767.0),
        left_days: Ok(estimate(72.0, 8.0, 432.0)),
        limit_h: 58.0,
        accepted: Probability::new(0.1).unwrap(),
        replace,
        basis: "prior",
        n_lives: 4,
        n_failures: 1,
    };
    PartView {
        printer: printer.to_owned(),
        tool: 1,
        part: "liner",
        fitted: at(),
        as_of: Some(at()),
        hot: Seconds::minutes(3000.0),
        wear_h: Ok(49.0),
        heat_cycles: 12,
        expected: Ok(expected),
    }
}

fn at() -> Timestamp {
    // 2026-03-02T08:00:00Z, a Monday.
    Timestamp::from_ms(1_772_438_400_000)
}

/// A full record.
fn full() -> LearnView {
    let modes = vec![unknown("blob", 412, 0), unknown("liner", 412, 2), jam(), unknown("scrape", 412, 0)];
    let habit = |wait: f64, events| Habit {
        n: 200,
        wait_longest: Seconds::minutes(wait),
        idle_mean: Celsius::new(213.0),
        changes_per_hour: Some(6.2),
        events,
        rate: Ok(share(events, 180)),
    };
    let day = at() + Seconds::minutes(4.0 * 1440.0);
    LearnView {
        as_of: Some(at()),
        prints: 230,
        runs: 460,
        reported: 206,
        silence: silence(&modes),
        modes,
        habits: vec![habit(95.0, 20), habit(0.0, 3)],
        parts: vec![
            part("bench", Replace::Before { at: day, low: day, high: day }),
            part(&"gull".repeat(16), Replace::Due),
            part("bench", Replace::Unknown("no use".to_owned())),
        ],
    }
}

/// The page, its lines checked and joined again to sentences.
fn said(view: &LearnView) -> String {
    let page = render_learned_text(view);
    for line in page.lines() {
        assert!(line.chars().count() <= COLUMNS, "{} columns: {line}", line.chars().count());
        assert!(!line.contains("NaN") && !line.contains("inf ") && !line.contains('\u{a0}'), "{line}");
    }
    assert!(!page.contains("\n\n\n"), "two blank lines:\n{page}");
    page.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn says(view: &LearnView, claims: &[&str]) {
    let page = said(view);
    for claim in claims {
        assert!(page.contains(claim), "not said: {claim}\n{}", render_learned_text(view));
    }
}

#[test]
fn each_thing_that_is_known_of_a_mode_is_said_with_how_sure_it_is() {
    says(
        &full(),
        &[
            "As of Mon 2 Mar 2026, 08:00 UTC: 230 prints, 460 tool-runs (one tool in one print), 206 of them reported.",
            "Silence on 24 prints counts as unknown; as clean it would change no state, no first group",
            "JAM 23 of 412 tool-runs, 5.6 % (90 % interval 3.8 to 7.8 %). Severity: 3 grave, 8 serious, 10 slight, 2 not told.",
            "7 tool-runs noted as under-extrusion may have been this",
            "Learned: forecasts made before each print did better than the running rate, beyond chance.",
            "idle heat ████████████████████████ 80 %",
            "2 other groups ▎ 1 %",
            "nothing recorded ██▏ 7 %",
            "1. highest dose at a restart +0.69 (+0.21 to +1.18) +0.30 (-0.52 to +1.12) doubles 98 %",
            "1. retraction +0.69",
            "3. PETG +0.69 (+0.21 to +1.18) +0.30 (-0.52 to +1.12) as before 98 %",
            "as before: repeats what was believed beforehand; the record says nothing of it",
            "Not to be told apart: idle heat (highest dose at a restart) and retraction went together (correlation 0.97).",
            "To tell: with highest dose at a restart 12 equivalent min or more, print with 0.8 mm of retraction instead of \
             6 mm of retraction for the next 9 tool-runs.",
            "over 380 tool-runs: log loss 0.1623, of the running rate 0.2010, of a plain ridge logistic regression 0.1850",
            "in 87 % of cases. Calibration slope 0.90 (0.70 to 1.10; 1 is right).",
            "How often it happened, by highest dose at a restart in equivalent min (rising; 90 % intervals)",
            "Patterns, by chance as strong in under 1 % of such searches (chosen on these same runs",
            "longest wait 42 min or more: 20 of 60, 33.3 % (90 % interval",
            "LINER 2 of 412 tool-runs",
            "No factor is weighed: it happened 2 times, and 4 times are needed.",
            "About 145 more reported prints (290 tool-runs) would find a factor of which a standard deviation doubles the hazard",
            "NEVER REPORTED Blob, scrape. With none in 412 tool-runs each is under 0.7 %",
            "200 tool-runs: waits 1 h 35 min at the longest, at 213 °C on the mean, 6.2 tool changes an hour; failed in 20 \
             of 180, 11.1 %",
            "200 tool-runs: hardly waits",
            "bench T1 liner 49 h of 58 h 72 days (8 to 432) before Fri 6 Mar 2026",
            "49 h 72 days (8 to 432) no day can be said",
            "What goes together is not yet a cause",
            "`dwellwatch note --print latest --clean`",
            SAFETY_WORDS,
        ],
    );
}

#[test]
fn the_worst_known_comes_first_and_what_never_happened_last() {
    let page = said(&full());
    let places = ["JAM", "LINER", "NEVER REPORTED", "HOW TOOLS ARE LEFT", "PARTS IN USE"];
    let places = places.map(|heading| page.find(heading).unwrap());
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn a_long_response_and_many_bins_are_pooled_and_no_run_is_lost() {
    let page = render_learned_text(&full());
    let rows = |from: &str| {
        let lines = page.lines().skip_while(move |line| !line.contains(from)).skip(1);
        let lines = lines.take_while(|line| !line.is_empty()).map(str::to_owned);
        lines.collect::<Vec<_>>()
    };
    let counts = |rows: &[String]| {
        let each = rows.iter().map(|row| {
            let (before, after) = row.split_once(" of ").unwrap();
            let last = before.split(' ').next_back().unwrap().parse::<usize>().unwrap();
            (last, after.split(',').next().unwrap().parse::<usize>().unwrap())
        });
        each.fold((0, 0), |sum, row| (sum.0 + row.0, sum.1 + row.1))
    };
    let (forecasts, steps) = (rows("Forecast on the mean"), rows("How often it happened"));
    assert_eq!((forecasts.len(), counts(&forecasts)), (5, (90, 200)), "{forecasts:?}");
    assert_eq!((steps.len(), counts(&steps)), (6, (66, 480)), "{steps:?}");
}

#[test]
fn of_what_is_too_little_known_groups_and_patterns_are_shown_as_no_claim() {
    let mut view = full();
    let jam = of_jam(&mut view);
    (jam.learned.state, jam.learned.settling) = (State::TooLittle, Settling::RunsToRuleOut(59));
    says(
        &view,
        &[
            "Too little for a claim: how often it happens is known; what goes with it has not forecast it yet. Forecasts did better, but not enough to \
             count, than the running rate (log loss 0.1623 against 0.2010). About 30 more reported prints (59 tool-runs)",
            "What may carry it, shares of the explaining so far (no claim) idle heat",
            "Patterns, by chance as strong in",
        ],
    );
    assert!(!said(&view).contains("Log-hazard") && !said(&view).contains("Advice may rest"));
    of_jam(&mut view).patterns = Err(Refusal::NothingVaries);
    assert!(!said(&view).contains("How often it happened, by"), "a curve alone shows a rise by chance too");
}

#[test]
fn silence_that_matters_is_told_with_both_readings() {
    let mut view = full();
    let jam = view.silence.readings.iter_mut().find(|both| both.mode == "jam").unwrap();
    (jam.other.n, jam.other.rate, jam.other.state) = (900, Ok(share(23, 900)), State::Leaning);
    says(
        &view,
        &[
            "Silence on 24 prints counts as unknown. It matters: as clean, these would differ.",
            "jam: unknown: 23 of 412, 5.6 % (90 % interval 3.8 to 7.8 %), learned, idle heat first; clean: 23 of 900, 2.6 %",
            "leaning, idle heat first",
        ],
    );
    view.silence.means_clean = true;
    says(&view, &["Silence on 24 prints counts as clean. It matters: as unknown, these would differ."]);
}

#[test]
fn another_reading_matters_by_state_by_first_group_and_by_rate_and_not_by_a_guess() {
    let same = |mode: &ModeView| BothReadings { mode: mode.mode, shown: reading(mode), other: reading(mode) };
    let mut both = same(&jam());
    assert!(!both.differ());
    both.other.first = Some(Group::Wear);
    assert!(both.differ());
    (both.shown.state, both.other.state) = (State::TooLittle, State::TooLittle);
    assert!(!both.differ(), "of what is too little known, the first group is a guess");
    both.other.rate = Ok(share(23, 900));
    assert!(both.differ());
    both.other.rate = Err(Refusal::NoEvents);
    assert!(!both.differ());
}

#[test]
fn a_record_without_prints_or_words_says_so_and_claims_nothing() {
    let mut view = full();
    view.reported = 0;
    view.modes = ["jam", "liner"].map(|mode| unknown(mode, 0, 0)).to_vec();
    says(&view, &["none of them reported. Without a word on how prints came out nothing can be learned from them."]);
    assert!(!said(&view).contains("NEVER REPORTED") && !said(&view).contains("not yet a cause"));
    (view.prints, view.runs, view.habits) = (0, 0, Vec::new());
    says(&view, &["no print has ended yet", "`dwellwatch note --print latest --clean`", SAFETY_WORDS]);
    view.as_of = None;
    says(&view, &["Nothing was recorded yet: no printer has been read."]);
}

/// Each of these may be missing, with any of the others.
const MISSING: [fn(&mut LearnView); 11] = [
    |view| of_jam(view).learned.skill = None,
    |view| of_jam(view).learned.baseline = None,
    |view| of_jam(view).learned.calibration = None,
    |view| of_jam(view).learned.reliability.truncate(1),
    |view| of_jam(view).learned.groups.clear(),
    |view| of_jam(view).learned.factors.clear(),
    |view| of_jam(view).trials.clear(),
    |view| of_jam(view).response = None,
    |view| of_jam(view).patterns = Err(Refusal::NothingVaries),
    |view| of_jam(view).learned.rate = Err(Refusal::NoEvents),
    |view| (view.prints, view.runs) = (0, 0),
];

fn of_jam(view: &mut LearnView) -> &mut ModeView {
    view.modes.iter_mut().find(|mode| mode.mode == "jam").unwrap()
}

/// The page without what the bits of `missing` name.
fn without(missing: usize, state: State, settling: Settling) {
    let mut view = full();
    let jam = of_jam(&mut view);
    (jam.learned.state, jam.learned.settling) = (state, settling);
    let each = MISSING.iter().enumerate();
    each.filter(|(at, _)| missing >> at & 1 == 1).for_each(|(_, remove)| remove(&mut view));
    let page = said(&view);
    assert!(page.contains("JAM 23 of 412 tool-runs") && page.contains(SAFETY_WORDS), "{page}");
}

#[test]
fn whatever_is_missing_the_page_keeps_to_its_columns_and_has_no_number_that_is_none() {
    for missing in 0..1 << MISSING.len() {
        without(missing, State::Learned, Settling::Settled);
    }
    for state in [State::Learned, State::Leaning, State::TooLittle] {
        for settling in [Settling::Settled, Settling::Runs(59), Settling::RunsToRuleOut(3100), Settling::NoRate] {
            (0..MISSING.len()).for_each(|one| without(1 << one, state, settling));
        }
    }
}
