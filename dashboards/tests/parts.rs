//! The page *Parts* against views written by hand: what a part went through, its curve with now and limit, when to replace
//! it, what was told before, and how each lack is told.

#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample is shared with tests of other pages")]

mod sample;

use dwell_analysis::estimate::Estimate;
use dwell_analysis::survival::Lasting;
use dwell_analysis::units::{Celsius, Probability, Seconds};
use dwell_dashboards::render_parts;
use dwell_dashboards::view::*;
use sample::{HOSTILE, at, frame};

fn figures(part: &'static str, replace: Replace) -> PartView {
    let estimate = |value, low, high| Estimate { value, low, high, n: 3 };
    PartView {
        printer: "bench".to_owned(),
        tool: 1,
        part,
        fitted: at(0.0),
        as_of: Some(at(60.0)),
        hot: Seconds::minutes(60.0 * 82.0),
        wear_h: Ok(61.4),
        heat_cycles: 47,
        expected: Ok(PartExpected {
            left_h: estimate(130.0, 8.2, 410.0),
            left_days: Ok(estimate(61.0, 5.0, 200.0)),
            limit_h: 98.0,
            accepted: Probability::new(0.1).unwrap(),
            replace,
            basis: "mixed",
            n_lives: 3,
            n_failures: 1,
        }),
    }
}

fn past() -> PastPart {
    PastPart {
        printer: "bench".to_owned(),
        tool: 1,
        part: "liner",
        fitted: at(-9000.0),
        ended: at(0.0),
        has_failed: true,
        hot: Seconds::minutes(60.0 * 140.0),
        wear_h: Ok(93.0),
        heat_cycles: 51,
    }
}

fn lives() -> LivesView {
    let at = |step: u32| {
        let age = 5.0 * f64::from(step);
        Lasting { age, share: (-age / 300.0).exp(), low: (-age / 150.0).exp(), high: (-age / 600.0).exp() }
    };
    LivesView { part: "liner", curve: (0..=40).map(at).collect(), past: vec![past()] }
}

fn page(in_use: Vec<PartNow>, changes: Vec<PartTold>, liner: LinerStands) -> PartsPage {
    let tools = vec![ToolParts { number: 1, liner, in_use, changes }];
    PartsPage {
        frame: frame(),
        at: at(61.0),
        token: "t0k".to_owned(),
        notice: None,
        typed: None,
        lives: vec![lives()],
        printers: vec![PrinterParts { name: "bench".to_owned(), tools }],
    }
}

fn fitted(replace: Replace) -> PartNow {
    PartNow { part: "liner", fitted: at(0.0), figures: Some(figures("liner", replace)) }
}

fn told(note: &str) -> PartTold {
    let ended = vec![past()];
    PartTold { at: at(0.0), part: "liner", event: "fitted", reason: Some("failed"), note: Some(note.to_owned()), ended }
}

const RATED: LinerStands = LinerStands::Rated(Celsius::new(240.0));

#[test]
fn a_part_tells_what_it_went_through_what_it_may_last_when_to_replace_it_and_what_its_liner_stands() {
    let before = Replace::Before { at: at(30_000.0), low: at(20_000.0), high: at(40_000.0) };
    let html = render_parts(&page(vec![fitted(before)], vec![told("brittle")], RATED));
    for says in [
        "1 part in use was told, and it is not due.",
        "<dt>Hot</dt><dd>82 h</dd>",
        "<dt>Wear</dt><dd>61 h</dd>",
        "<dt>Heated from cold</dt><dd>47 times</dd>",
        "Replace it before Sat 21 Mar 2026 (Sat 14 Mar 2026 to Sat 28 Mar 2026 at the tool's recent use)",
        "another 130 h of wear (90 % interval 8.2 h to 410 h)",
        "1 of 3 lives ended in failure",
        "Its liner is rated for 240 °C.",
        "fumes that harm people and kill birds",
        "liner failed after 140 h hot, 93 h of wear, heated 51 times",
        "failed “brittle”",
    ] {
        assert!(html.contains(says), "{says}: {html}");
    }
}

#[test]
fn the_curve_has_the_part_s_age_its_limit_and_the_lives_that_are_over_and_a_table_behind() {
    let html = render_parts(&page(vec![fitted(Replace::Due)], Vec::new(), RATED));
    let chart = html.split("id=\"tool-0-1-liner-curve\"").nth(1).unwrap().split("</figure>").next().unwrap();
    for says in
        ["now, 61 h", "limit, 98 h", "own part: failed", "class=\"band\"", "Upright lines", "out on Sat 28 Feb 2026"]
    {
        assert!(chart.contains(says), "{says}: {chart}");
    }
    let told = chart.split("<desc").nth(1).unwrap();
    assert!(told.contains("10 % have failed by 98 h"), "{told}");
    assert_eq!(chart.matches("class=\"happened\"").count(), 2, "a life that failed, and its key");
}

#[test]
fn a_part_that_is_due_is_counted_on_top_and_marked_by_words() {
    let html = render_parts(&page(vec![fitted(Replace::Due), fitted(Replace::Due)], Vec::new(), RATED));
    assert!(html.contains("2 of 2 parts in use are due: replace them.") && html.contains("Replace it now"), "{html}");
    let one = render_parts(&page(vec![fitted(Replace::Due)], Vec::new(), RATED));
    assert!(one.contains("The part in use that was told is due"), "{one}");
}

#[test]
fn what_is_not_known_is_told_with_its_reason_and_without_a_number() {
    let nothing = PartsPage { printers: Vec::new(), ..page(Vec::new(), Vec::new(), RATED) };
    assert!(render_parts(&nothing).contains("No printer has been read yet."));
    let untold = render_parts(&page(Vec::new(), Vec::new(), LinerStands::Assumed(Celsius::new(250.0))));
    assert!(
        untold.contains("No part was told yet.") && untold.contains("PTFE is taken to last at up to 250 °C"),
        "{untold}"
    );
    assert!(!untold.contains("<figure") && untold.contains("Record a change of T1"), "{untold}");
    let new = PartNow { figures: None, ..fitted(Replace::Due) };
    let waits = render_parts(&page(vec![new], Vec::new(), LinerStands::Absent));
    assert!(waits.contains("is being worked out. <a href=\"/parts\">Look again</a>"), "{waits}");
    assert!(waits.contains("is not known yet") && waits.contains("has no liner"), "{waits}");
    let mut refused = figures("nozzle", Replace::Due);
    (refused.wear_h, refused.expected) = (Err("no temperature".to_owned()), Err("no temperature".to_owned()));
    let refused = PartNow { part: "nozzle", fitted: at(0.0), figures: Some(refused) };
    let refused = render_parts(&page(vec![refused], Vec::new(), RATED));
    assert!(
        refused.contains("not known: no temperature") && refused.contains("Nothing is expected of it"),
        "{refused}"
    );
}

#[test]
fn what_was_typed_into_a_refused_form_stands_in_it_and_opens_no_tag() {
    let mut page = page(vec![fitted(Replace::Due)], vec![told(HOSTILE)], RATED);
    let text = |text: &str| text.to_owned();
    page.typed = Some(PartTyped {
        printer: text("bench"),
        tool: text("1"),
        part: text("nozzle"),
        event: text("removed"),
        reason: text("preventive"),
        note: text(HOSTILE),
        at: text("2026-02-28T22:30"),
    });
    let html = render_parts(&page);
    for says in [
        "<option value=\"nozzle\" selected>",
        "<option value=\"removed\" selected>",
        "<option value=\"preventive\" selected>",
        "value=\"2026-02-28T22:30\"",
    ] {
        assert!(html.contains(says), "{says}: {html}");
    }
    assert!(!html.contains("<script>alert") && html.contains("id=\"record-0-1\" open"), "{html}");
    page.typed = page.typed.map(|typed| PartTyped { printer: "attic".to_owned(), ..typed });
    assert!(!render_parts(&page).contains("id=\"record-0-1\" open"), "it was typed elsewhere");
}

#[test]
fn two_tools_with_two_parts_and_a_long_history_each_stay_under_a_hundred_kilobytes() {
    let parts =
        ["liner", "nozzle"].map(|part| PartNow { part, fitted: at(0.0), figures: Some(figures(part, Replace::Due)) });
    let changes: Vec<PartTold> = std::iter::repeat_n(told("brittle"), 60).collect();
    let mut page = page(parts.to_vec(), changes, RATED);
    page.lives.push(LivesView { part: "nozzle", ..lives() });
    let tool = page.printers[0].tools[0].clone();
    page.printers[0].tools = (0..2).map(|number| ToolParts { number, ..tool.clone() }).collect();
    let html = render_parts(&page);
    assert!(html.len() < 100_000, "{} bytes", html.len());
}
