//! *Prints*: what the list and a print's page say, how much they weigh, and that each word is one tap.
#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample is shared")]

mod sample;

use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use dwell_dashboards::view::*;
use dwell_dashboards::{render_print, render_prints};
use sample::{at, print, print_row, prints, said, span};

/// What a page may weigh, bytes.
const PAGE_MAX: usize = 100_000;

fn page() -> PrintView {
    print("lantern.gcode")
}

/// The page without what no reader hears: marks between `<` and `>`.
fn text(html: &str) -> String {
    let mut text = String::new();
    let mut is_inside = false;
    for character in html.chars() {
        match character {
            '<' => is_inside = true,
            '>' => (is_inside, text) = (false, text + " "),
            other if !is_inside => text.push(other),
            _ => {}
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn count(html: &str, part: &str) -> usize {
    html.matches(part).count()
}

#[test]
fn a_print_of_five_thousand_tool_changes_is_a_page_under_its_limit_that_still_says_how_many() {
    let mut view = page();
    let n = 5000_u32;
    let length = 95.0 * 60.0 / f64::from(n);
    let begins = |nth: u32| at(-95.0) + Seconds::new(length * f64::from(nth));
    view.print.tool_changes = n;
    view.changes = (0..n)
        .map(|nth| ChangeRow {
            at: begins(nth),
            from: usize::from(!nth.is_multiple_of(2)),
            to: usize::from(nth.is_multiple_of(2)),
            source: "host",
        })
        .collect();
    view.spans = (0..n)
        .map(|nth| SpanRow {
            tool: usize::from(nth.is_multiple_of(2)),
            began: begins(nth),
            ended: Some(begins(nth + 1)),
            dose: Some(DoseMinutes::new(f64::from(nth % 7))),
            ..span(0.0, Some(1.0))
        })
        .collect();
    for tool in &mut view.tools {
        let kind =
            |nth: u32| if nth.is_multiple_of(2) == (tool.number == 0) { LaneKind::Working } else { LaneKind::Waiting };
        tool.lane = (0..n)
            .map(|nth| LanePiece {
                from: begins(nth),
                to: begins(nth + 1),
                kind: kind(nth),
                mean: Some(Celsius::new(200.0)),
            })
            .collect();
    }
    let html = render_print(&view);
    assert!(html.len() < PAGE_MAX, "{} bytes", html.len());
    let told = text(&html);
    assert!(told.contains("5000 tool changes in this time, too many to draw each"), "{told}");
    assert!(told.contains("The 40 with the largest doses, of 5000"), "{told}");
    assert!(told.contains("drawn in slices"), "{told}");
    // A minute of it has few enough that each is drawn.
    view.shown = (at(-60.0), at(-59.0));
    let near = render_print(&view);
    assert!(text(&near).contains("in this time, each an upright line") && !text(&near).contains("slices;"), "{near}");
}

#[test]
fn a_full_list_with_a_strip_is_a_page_under_its_limit() {
    let long = "a-lantern-with-a-very-long-name-that-somebody-gave-it-".repeat(3);
    let mut view = prints((0..25).map(|id| print_row(id, &long)).collect());
    let silent = |id| SilentPrint {
        id,
        printer: "bench".to_owned(),
        name: Some(long.clone()),
        started: at(-95.0),
        ended: at(0.0),
        end: "completed",
        n_tools: 2,
    };
    view.form.modes =
        vec!["jam", "stringing", "liner", "blob", "under_extrusion", "scrape", "misalignment", "adhesion", "other"];
    view.silent = SilentPrints { rows: (0..4).map(silent).collect(), n: 9 };
    (view.n_found, view.n_all, view.n_pages) = (12, 310, 1);
    let html = render_prints(&view);
    assert!(html.len() < PAGE_MAX, "{} bytes", html.len());
    let told = text(&html);
    assert!(told.contains("12 of 310 prints") && told.contains("how 9 prints came out"), "{told}");
    assert!(told.contains("And 5 earlier prints"), "{told}");
    // Each of the four: clean, and nine modes of each tool and of whichever it was.
    assert_eq!(count(&html, "name=\"what\""), 4 * (1 + 9 * 3));
}

#[test]
fn each_failure_is_one_button_of_a_form_in_which_serious_is_picked() {
    let html = render_print(&page());
    for value in ["all:clean", "0:jam", "1:under_extrusion", "all:other"] {
        assert_eq!(count(&html, &format!("<button type=\"submit\" name=\"what\" value=\"{value}\"")), 1, "{value}");
    }
    assert!(html.contains("name=\"severity\" value=\"2\" checked"), "{html}");
    assert_eq!(count(&html, " checked"), 1);
    let mut one_tool = page();
    one_tool.tools.truncate(1);
    assert!(!render_print(&one_tool).contains("I can't tell"), "whoever has one tool knows which it was");
}

#[test]
fn the_history_keeps_each_word_and_only_what_stands_can_be_taken_back() {
    let html = render_print(&page());
    let told = text(&html);
    assert!(told.contains("Whole print: clean said") && told.contains("replaced by a later word Sat 28 Feb"), "{told}");
    assert!(told.contains("T0: jam said") && told.contains("taken back Sat 28 Feb 2026, 23:25"), "{told}");
    assert_eq!(count(&html, "action=\"/prints/7/undo\""), 1);
    assert!(html.contains("name=\"what\" value=\"1:stringing\""), "{html}");
    assert!(html.contains(">Undo<span class=\"unseen\">: T1: stringing, 1 slight</span>"), "{html}");
}

#[test]
fn what_a_form_did_is_said_with_the_way_back_from_it() {
    let mut view = page();
    let newest = said(30.0, None, "clean");
    view.words.clear();
    view.done = Some(JustDone { print: 7, name: None, newest: Some(newest.clone()), is_undo: false });
    let html = render_print(&view);
    assert!(text(&html).contains("Recorded. Whole print: clean Undo"), "{html}");
    let mut list = prints(vec![print_row(7, "lantern.gcode")]);
    list.done = Some(JustDone { print: 7, name: Some("lantern.gcode".to_owned()), newest: None, is_undo: true });
    let html = render_prints(&list);
    assert!(text(&html).contains("Taken back. lantern.gcode: nothing stands now"), "{html}");
    assert!(!html.contains("/undo\""), "there is nothing left to take back");
}

#[test]
fn a_row_that_happened_colours_no_bar_and_the_track_under_a_bar_is_an_outline() {
    let html = render_print(&page());
    assert!(html.contains("<tr class=\"happened\">") && html.contains("class=\"budget-track\""), "{html}");
    let css = dwell_dashboards::STYLE;
    assert!(css.lines().any(|line| line.starts_with(".budget-track {") && line.contains("fill: none")));
    let mut coloured = css.lines().filter(|line| line.contains(".happened {") && line.contains("fill:"));
    assert!(coloured.all(|line| line.starts_with("svg ")), "a row's fill is its charts' too");
}

#[test]
fn what_was_expected_stands_beside_what_happened_or_it_says_why_there_is_nothing() {
    let html = render_print(&page());
    assert!(text(&html).contains("T1 stringing 34 % 12 % (5 of 41) yes"), "{}", text(&html));
    assert!(text(&html).contains("T0 jam 4 % 12 % (5 of 41) not reported"), "{}", text(&html));
    for (foreseen, told) in [
        (Foreseen::Running, "It is still on."),
        (Foreseen::NotYet, "is being worked out. Look again in some seconds."),
        (Foreseen::NotAmong, "There is no forecast of it: it is newer"),
        (Foreseen::NothingKnown, "nobody had spoken of any print before"),
    ] {
        let mut view = page();
        view.foreseen = foreseen;
        let html = render_print(&view);
        assert!(text(&html).contains(told) && !html.contains("class=\"foreseen\""), "{told}");
    }
}

#[test]
fn links_go_nearer_further_earlier_and_later_and_never_out_of_the_print() {
    let whole = render_print(&page());
    assert!(!whole.contains(">Whole print<") && !whole.contains(">Earlier<") && !whole.contains(">Later<"), "{whole}");
    // 95 min from 20:25 on: zooming in is the middle half.
    let near = "from=2026-02-28T20:48:45Z&amp;to=2026-02-28T21:36:15Z#heat\">Zoom in<";
    assert!(whole.contains(near), "{whole}");
    let mut view = page();
    view.shown = (at(-90.0), at(-30.0));
    let part = render_print(&view);
    // Half an hour earlier would begin before the print.
    assert!(part.contains("from=2026-02-28T20:25:00Z&amp;to=2026-02-28T21:25:00Z#heat\">Earlier<"), "{part}");
    assert!(part.contains("from=2026-02-28T21:00:00Z&amp;to=2026-02-28T22:00:00Z#heat\">Later<"), "{part}");
    assert!(part.contains("href=\"/prints/7#heat\">Whole print<"), "{part}");
    assert!(part.contains("href=\"/prints/7#heat\">Zoom out<"), "what would be more than all of it is all of it");
    view.shown = (at(-31.0), at(-29.5));
    assert!(!render_print(&view).contains("Zoom in"), "nothing lies between two polls");
}

#[test]
fn the_worst_waits_are_numbered_in_the_lane_and_below_it() {
    let html = render_print(&page());
    let told = text(&html);
    assert!(told.contains("Worst waits T1 waited 17 min at 214 °C from 22:29, 107 % of its limit."), "{told}");
    assert_eq!(count(&html, "class=\"named\""), 1, "what was not measured is not among the worst");
    assert_eq!(count(&html, "class=\"change\""), 1);
}

#[test]
fn a_list_keeps_what_was_looked_for_and_its_pages_do_too() {
    let mut view = prints(vec![print_row(7, "lantern.gcode")]);
    (view.n_found, view.n_all, view.page, view.n_pages) = (60, 310, 2, 3);
    view.filter = PrintsFilter {
        said: "jam".to_owned(),
        name: "a & b\"".to_owned(),
        from: "2026-03-02".to_owned(),
        ..PrintsFilter::default()
    };
    let html = render_prints(&view);
    assert!(text(&html).contains("60 of 310 prints; page 2 of 3"), "{html}");
    let query = |page| format!("href=\"/prints?said=jam&amp;name=a%20%26%20b%22&amp;from=2026-03-02&amp;page={page}\"");
    assert!(html.contains(&query(1)) && html.contains(&query(3)), "{html}");
    assert!(html.contains("<option value=\"jam\" selected>") && html.contains("value=\"a &amp; b&quot;\""), "{html}");
    (view.rows, view.n_found, view.n_pages, view.page) = (Vec::new(), 0, 1, 1);
    let none = text(&render_prints(&view));
    assert!(none.contains("None of 310 prints is like that"), "{none}");
}

#[test]
fn a_running_print_and_an_empty_record_read_well() {
    let mut running = page();
    (running.print.ended, running.print.end, running.foreseen) = (None, None, Foreseen::Running);
    (running.print.outcomes, running.words) = (Vec::new(), Vec::new());
    let told = text(&render_print(&running));
    assert!(
        told.contains("running") && told.contains("outcome: not yet") && !told.contains("Nobody has said"),
        "{told}"
    );
    let none = text(&render_prints(&prints(Vec::new())));
    assert!(none.contains("No print has been seen yet") && !none.contains("Find prints"), "{none}");
}
