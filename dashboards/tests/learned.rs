//! What must hold of the page of what was learned, whatever the record told.

#![expect(clippy::unwrap_used, reason = "a test may stop")]

#[path = "sample/learned.rs"]
mod sample;

use dwell_analysis::estimate::Refusal;
use dwell_analysis::risk::{Group, Settling, State};
use dwell_dashboards::view::{BothReadings, LearnView, ModeView};
use dwell_dashboards::{SAFETY_WORDS, render_learned_text};
use sample::{full, jam, of_jam, reading, share, unknown};

const COLUMNS: usize = 100;

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
