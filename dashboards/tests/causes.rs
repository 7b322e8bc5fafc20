//! What must hold of the pages of *Causes*, whatever the record told.

#![expect(clippy::unwrap_used, reason = "a test may stop")]

#[path = "sample/learned.rs"]
mod sample;

use dwell_analysis::estimate::Refusal;
use dwell_analysis::risk::{State, Step};
use dwell_dashboards::view::{CausesTold, CausesView, Frame, LearnView};
use dwell_dashboards::week::IsoWeek;
use dwell_dashboards::{SAFETY_WORDS, render_cause, render_causes, render_learned_text};
use jiff::tz::TimeZone;
use sample::{at, full, of_jam, share, unknown};

fn view(learned: Option<&LearnView>, words_since: u32, is_behind: bool) -> CausesView<'_> {
    let frame =
        Frame { zone: TimeZone::UTC, week: IsoWeek::parse("2026-W10").unwrap(), rehearsal: false, signs_in: false };
    CausesView { frame, told: learned.map(|learned| CausesTold { learned, made: at(), words_since, is_behind }) }
}

/// The words of a page, without its tags.
fn words(html: &str) -> String {
    let pieces = html.split('<').map(|piece| piece.split_once('>').map_or(piece, |(_, words)| words));
    let text = pieces.collect::<Vec<_>>().join(" ").replace('\u{a0}', " ").replace("&amp;", "&");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn overview(learned: &LearnView) -> String {
    words(&render_causes(&view(Some(learned), 0, false)))
}

fn page(learned: &LearnView, mode: &str) -> String {
    words(&render_cause(&view(Some(learned), 0, false), mode).unwrap())
}

#[track_caller]
fn says(page: &str, claims: &[&str]) {
    for claim in claims {
        assert!(page.contains(claim), "not said: {claim}\n{page}");
    }
}

#[track_caller]
fn hides(page: &str, claims: &[&str]) {
    for claim in claims {
        assert!(!page.contains(claim), "said: {claim}\n{page}");
    }
}

#[test]
fn the_overview_has_each_mode_that_happened_with_its_state_its_interval_and_its_likeliest_group() {
    let page = overview(&full());
    says(
        &page,
        &[
            "As of Mon 2 Mar 2026, 08:00: 230 prints, 460 tool-runs (one tool in one print), 206 of them reported.",
            "Jam ● learned 23 of 412 tool-runs, 5.6 % (90 % interval 3.8 to 7.8 %). Likeliest to carry it: idle heat (80 %).",
            "Liner ○ too little 2 of 412 tool-runs, 0.5 %",
            "No factor is weighed: it happened 2 times, and 4 times are needed.",
            "Never reported Blob, scrape. With none in 412 tool-runs each is under 0.7 %",
            "Silence on 24 prints counts as unknown; as clean it would change no state",
            "200 tool-runs: waits 1 h 35 min at the longest, at 213 °C on the mean",
            "What goes together is not yet a cause",
            "Worked out Mon 2 Mar 2026, 08:00.",
            SAFETY_WORDS,
        ],
    );
    let places = ["Jam ●", "Liner ○", "Never reported"].map(|of| page.find(of).unwrap());
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn what_happened_most_often_comes_first_and_of_two_as_often_the_graver_one() {
    let mut learned = full();
    for mode in learned.modes.iter_mut().filter(|mode| mode.mode != "jam") {
        (mode.learned.events, mode.severities) = (23, [0, 0, 23]);
    }
    let page = overview(&learned);
    assert!(page.find("Liner ○").unwrap() < page.find("Jam ●").unwrap(), "{page}");
    of_jam(&mut learned).learned.events = 24;
    let page = overview(&learned);
    assert!(page.find("Jam ●").unwrap() < page.find("Liner ○").unwrap(), "{page}");
}

#[test]
fn a_mode_s_page_says_what_is_known_how_sure_and_what_it_rests_on() {
    let mut learned = full();
    of_jam(&mut learned).learned.reliability[0].mean_forecast = 0.5;
    says(
        &page(&learned, "jam"),
        &[
            "23 of 412 tool-runs, 5.6 % (90 % interval 3.8 to 7.8 %). Severity: 3 grave, 8 serious, 10 slight, 2 not told.",
            "7 tool-runs noted as under-extrusion may have been this",
            "Of 2 prints it was told without a tool that took part",
            "Learned: forecasts made before each print did better than the running rate, beyond chance.",
            "What carries it Shares of the explaining",
            "idle heat : 80 %",
            "2 other groups : 1 %",
            "nothing recorded : 7 %",
            "Not to be told apart: idle heat (highest dose at a restart) and retraction went together (correlation 0.97). \
             To tell: with highest dose at a restart 12 equivalent min or more, print with 0.8 mm of retraction",
            "How it answers to highest dose at a restart",
            "It happened in 0 of 40 tool-runs at the lowest levels and in 11 of 40 at the highest.",
            "Of 3 tool-runs highest dose at a restart is not known; they are left out.",
            "Longest wait 42 min or more: 20 of 60, 33.3 % (90 % interval",
            "Patterns, by chance as strong in under 1 % of such searches",
            "1. highest dose at a restart : hazard doubles; sign sure: 98 %",
            "3. PETG : as before; sign sure: 98 %",
            "+0.69 (+0.21 to +1.18) +0.30 (-0.52 to +1.12) not told doubles 98 % 70 %",
            "In 9 of 10 groups of like forecasts, what was forecast lies within the interval of what came of it.",
            "over 380 tool-runs: log loss 0.1623, of the running rate 0.2010, of a plain ridge logistic regression 0.1850",
            "Calibration slope 0.90 (0.70 to 1.10; 1 is right).",
        ],
    );
}

/// The sentences are those of `learn`: whoever changes one there changes it here.
#[test]
fn the_page_and_the_text_say_the_same_of_a_mode() {
    let learned = full();
    let text = render_learned_text(&learned).split_whitespace().collect::<Vec<_>>().join(" ");
    let page = page(&learned, "jam");
    for sentence in [
        "Learned: forecasts made before each print did better than the running rate, beyond chance. Advice may rest on it",
        "Not to be told apart: idle heat (highest dose at a restart) and retraction went together (correlation 0.97).",
        "How often it happened, by highest dose at a restart in equivalent min (rising; 90 % intervals)",
        "longest wait under 42 min: 3 of 352, 0.9 %",
    ] {
        assert!(text.contains(sentence), "{sentence}\n{text}");
        assert!(page.to_lowercase().contains(&sentence.to_lowercase()), "{sentence}\n{page}");
    }
}

#[test]
fn of_what_is_too_little_known_nothing_is_claimed() {
    let mut learned = full();
    of_jam(&mut learned).learned.state = State::TooLittle;
    says(&overview(&learned), &["No claim on what carries it; so far the likeliest is idle heat (80 %)."]);
    let page = page(&learned, "jam");
    says(
        &page,
        &[
            "What may carry it Shares of the explaining so far (no claim)",
            "What it would say (no claim)",
            "No claim rests on it.",
            "Forecasts did better, but not enough to count, than the running rate (log loss 0.1623 against 0.2010).",
        ],
    );
    hides(&page, &["What carries it", "Not to be told apart", "Advice may rest"]);
}

#[test]
fn a_mode_of_few_prints_says_what_is_lacking_and_draws_nothing() {
    let mut learned = full();
    learned.modes = vec![unknown("jam", 10, 2), unknown("blob", 10, 0)];
    let page = page(&learned, "jam");
    says(&page, &["2 of 10 tool-runs, 20.0 % (90 % interval", "No factor is weighed: it happened 2 times"]);
    hides(&page, &["What may carry it", "How it answers", "Patterns", "Forecasts made before each print"]);
    assert!(!render_cause(&view(Some(&learned), 0, false), "jam").unwrap().contains("<figure"));
}

#[test]
fn of_a_mode_that_nobody_ever_reported_no_more_than_that_is_said() {
    for (n, told) in [(204, "Never reported in 204 tool-runs with a known outcome."), (0, "Never reported; nor is")] {
        let mut learned = full();
        learned.modes.iter_mut().filter(|mode| mode.mode == "jam").for_each(|mode| *mode = unknown("jam", n, 0));
        let page = page(&learned, "jam");
        says(&page, &[told]);
        hides(&page, &["0 of", "too few", "too little", "are needed", "every time", "how often"]);
    }
}

#[test]
fn a_response_of_one_step_is_told_as_no_answer() {
    let mut learned = full();
    of_jam(&mut learned).response.as_mut().unwrap().response.steps.truncate(1);
    let page = page(&learned, "jam");
    says(&page, &["the tool-runs show no answer to highest dose at a restart."]);
    hides(&page, &["at the lowest levels"]);
}

#[test]
fn each_print_is_a_mark_on_the_curve_and_its_table_says_whether_it_happened() {
    let mut learned = full();
    let response = of_jam(&mut learned).response.as_mut().unwrap();
    response.runs = vec![(1234.5, false), (3703.5, true), (3703.5, false)];
    let html = render_cause(&view(Some(&learned), 0, false), "jam").unwrap();
    let marks = |class: &str| html.matches(&format!("class=\"{class}\"")).count();
    // One of each is the key's.
    assert_eq!((marks("happened"), marks("clean-run")), (2, 3), "{html}");
}

#[test]
fn silence_that_matters_is_told_on_the_page_of_its_mode_alone() {
    let mut learned = full();
    let jam = learned.silence.readings.iter_mut().find(|both| both.mode == "jam").unwrap();
    (jam.other.n, jam.other.rate, jam.other.state) = (900, Ok(share(23, 900)), State::Leaning);
    let both =
        "Jam: unknown: 23 of 412, 5.6 % (90 % interval 3.8 to 7.8 %), learned, idle heat first; clean: 23 of 900";
    says(&overview(&learned), &[both]);
    says(&page(&learned, "jam"), &[both]);
    hides(&page(&learned, "liner"), &["It matters"]);
}

#[test]
fn a_record_without_readings_prints_or_words_says_so_and_claims_nothing() {
    let mut learned = full();
    learned.reported = 0;
    learned.modes = ["jam", "liner"].map(|mode| unknown(mode, 0, 0)).to_vec();
    let page = overview(&learned);
    says(&page, &["Without a word on how prints came out nothing can be learned from them."]);
    hides(&page, &["Never reported", "not yet a cause"]);
    (learned.prints, learned.runs, learned.habits) = (0, 0, Vec::new());
    says(&overview(&learned), &["No print has ended yet"]);
    learned.as_of = None;
    says(&overview(&learned), &["Nothing was recorded yet: no printer has been read."]);
}

#[test]
fn until_it_is_worked_out_both_pages_say_so_and_show_nothing_else() {
    for html in [render_causes(&view(None, 0, false)), render_cause(&view(None, 0, false), "jam").unwrap()] {
        says(&words(&html), &["What the record says of this is being worked out;", SAFETY_WORDS]);
        assert!(!html.contains("<h2"), "{html}");
    }
}

#[test]
fn what_was_said_since_is_counted_and_what_else_was_recorded_is_told() {
    let learned = full();
    for (words_since, is_behind, claim) in [
        (1, true, "1 word on a print that came since is not yet in it"),
        (3, true, "3 words on prints that came since are not yet in it"),
        (0, true, "What was recorded since is not yet in it"),
    ] {
        let told = view(Some(&learned), words_since, is_behind);
        says(&words(&render_causes(&told)), &[claim]);
        says(&words(&render_cause(&told, "jam").unwrap()), &[claim]);
    }
    hides(&overview(&learned), &["not yet in it"]);
}

#[test]
fn there_is_no_page_of_a_mode_that_is_none() {
    assert_eq!(render_cause(&view(Some(&full()), 0, false), "clean"), None);
}

/// Every factor weighed, a step a level and a run a print, of years.
#[test]
fn a_page_of_many_years_stays_under_a_hundred_kilobytes() {
    let mut learned = full();
    let jam = of_jam(&mut learned);
    let factor = jam.learned.factors[0];
    jam.learned.factors = vec![factor; 40];
    let response = jam.response.as_mut().unwrap();
    response.runs = (0..20_000).map(|run| (f64::from(run), run % 7 == 0)).collect();
    let step = response.response.steps[3];
    response.response.steps =
        (0..150).map(|at| Step { from: f64::from(at), to: f64::from(at) + 0.5, ..step }).collect();
    for html in
        [render_causes(&view(Some(&learned), 0, false)), render_cause(&view(Some(&learned), 0, false), "jam").unwrap()]
    {
        assert!(html.len() < 100_000, "{} bytes", html.len());
    }
}

/// Each of these may be missing, with any of the others.
const MISSING: [fn(&mut LearnView); 9] = [
    |view| of_jam(view).learned.skill = None,
    |view| of_jam(view).learned.calibration = None,
    |view| of_jam(view).learned.reliability.truncate(1),
    |view| of_jam(view).learned.groups.clear(),
    |view| of_jam(view).learned.factors.clear(),
    |view| of_jam(view).trials.clear(),
    |view| of_jam(view).response = None,
    |view| of_jam(view).patterns = Err(Refusal::NothingVaries),
    |view| of_jam(view).learned.rate = Err(Refusal::NoEvents),
];

#[test]
fn whatever_is_missing_no_page_has_a_number_that_is_none_and_headings_stay_in_order() {
    for missing in 0..1 << MISSING.len() {
        let mut learned = full();
        for (_, remove) in MISSING.iter().enumerate().filter(|(at, _)| missing >> at & 1 == 1) {
            remove(&mut learned);
        }
        for html in [
            render_causes(&view(Some(&learned), 0, false)),
            render_cause(&view(Some(&learned), 0, false), "jam").unwrap(),
        ] {
            let text = words(&html);
            hides(&text, &["NaN", " inf", "None", "Some("]);
            assert_eq!(html.matches("<h1").count(), 1);
            let level = |piece: &str| piece.chars().next().and_then(|level| level.to_digit(10));
            let levels: Vec<u32> = html.split("<h").skip(1).filter_map(level).collect();
            assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
        }
    }
}
