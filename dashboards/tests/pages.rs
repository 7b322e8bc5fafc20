//! What must hold of every page and report, whatever it shows.

#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample serves several tests")]

#[path = "pages/now.rs"]
mod now_page;
mod sample;

use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{
    ArchiveWeek, Contact, DayCounts, DayRecord, DoingNow, LinkStage, NowView, PreflightCame, PreflightView, PrintsView,
    ReportsView, SpreadView, Unwritten,
};
use dwell_dashboards::{
    LIVE_SCRIPT, SAFETY_WORDS, STYLE, render_alarms, render_link, render_message, render_now, render_preflight,
    render_preflight_text, render_print, render_prints, render_report, render_report_html, render_report_later,
    render_report_mail, render_report_text, render_reports,
};
use sample::ahead::{preflight, preflight_page};
use sample::report::first_week;
use sample::report::report;
use sample::{HOSTILE, at, calm, frame, in_contact, now, print, print_row, printer, tool, troubled, waiting};

fn list(name: &str) -> PrintsView {
    let mut running = print_row(8, name);
    (running.ended, running.end, running.dose_worst) = (None, None, None);
    sample::prints(vec![running, print_row(7, name)])
}

fn hostile_now() -> NowView {
    let mut view = calm();
    for printer in &mut view.printers {
        if let Some(job) = &mut printer.job {
            job.name = Some(HOSTILE.to_owned());
        }
        printer.tools.iter_mut().for_each(|tool| tool.material = Some(HOSTILE.to_owned()));
    }
    view
}

fn archive(asked: &str) -> ReportsView {
    let row = ArchiveWeek { week: sample::week(), prints: 14, with_failure: 3, unreported: 2 };
    let refused = Some(format!("No report on these days: `{asked}` is no day of the calendar."));
    ReportsView {
        frame: frame(),
        weeks: vec![row],
        earlier: None,
        asked: [asked.to_owned(), "2026-03-01".to_owned()],
        refused,
    }
}

/// Every document, with a hostile name wherever a person or a host may write one.
fn documents() -> Vec<(&'static str, String)> {
    vec![
        ("now", render_now(&hostile_now())),
        ("prints", render_prints(&list(HOSTILE))),
        ("print", render_print(&print(HOSTILE))),
        ("preflight", render_preflight(&preflight_page(PreflightCame::Read(Box::new(preflight(HOSTILE)))))),
        ("preflight refused", render_preflight(&preflight_page(PreflightCame::Refused(HOSTILE.to_owned())))),
        ("message", render_message(HOSTILE, HOSTILE)),
        ("alarms", render_alarms(&sample::alarms::page(HOSTILE))),
        ("link", render_link(&sample::alarms::link(LinkStage::Asks))),
        ("report", render_report_html(&report(HOSTILE))),
        ("report of the site", render_report(&report(HOSTILE), &frame())),
        ("mailed report", render_report_mail(&report(HOSTILE))),
        ("archive", render_reports(&archive(HOSTILE))),
        ("archive of a later report", render_report_later(&frame(), HOSTILE)),
    ]
}

/// The headline of the one printer on the page.
fn headline(view: &NowView) -> String {
    let page = render_now(view);
    let (_, rest) = page.split_once("<p class=\"headline\">").unwrap();
    rest.split_once("</p>").unwrap().0.to_owned()
}

fn not_written() -> Unwritten {
    Unwritten {
        since: Some(at(-12.0)),
        cause: "no room left on the disk of the database".to_owned(),
        n_steps: 721,
        n_events: 9,
        n_alarms: 1,
        readings_dropped: 0,
        events_dropped: 0,
        lasts_until: Some(at(288.0)),
    }
}

#[test]
fn a_record_that_is_not_written_stands_above_all_else_with_what_waits_and_for_how_long_that_goes_well() {
    let mut view = calm();
    assert!(!render_now(&view).contains("unwritten"));
    view.unwritten = Some(not_written());
    let strip = |view: &NowView| {
        let page = render_now(view);
        let (_, rest) = page.split_once("<section class=\"unwritten\"").unwrap();
        let (strip, below) = rest.split_once("</section>").unwrap();
        assert!(below.contains("class=\"verdict"));
        strip.to_owned()
    };
    let shown = strip(&view);
    for words in [
        "has not been written since 22:48: no room left on the disk of the database.",
        "What 721 polls told waits in memory, with events in 9 of them and 1 alarm",
        "lost if dwellwatch stops",
        "lasts until about 03:48",
    ] {
        assert!(shown.replace("&#39;", "'").contains(words), "{words}: {shown}");
    }
    view.unwritten = Some(Unwritten { lasts_until: None, ..not_written() });
    assert!(strip(&view).contains("can't be told yet"), "{}", strip(&view));
    view.unwritten = Some(Unwritten { lasts_until: None, readings_dropped: 31, events_dropped: 1, ..not_written() });
    let full = strip(&view);
    assert!(full.contains("The memory is full: 31 plain readings and 1 poll with events"), "{full}");
    assert!(!full.contains("lasts until"), "{full}");
}

#[test]
fn every_document_escapes_a_hostile_job_name() {
    for (name, html) in documents() {
        assert!(!html.contains("<script>alert"), "{name}");
        assert!(html.contains("&lt;script&gt;alert(1)"), "{name} does not show the name at all");
    }
}

#[test]
fn every_document_carries_the_safety_words() {
    let escaped = SAFETY_WORDS.replace('&', "&amp;");
    for (name, html) in documents() {
        assert!(html.contains(&escaped), "{name}");
    }
    for text in [render_report_text(&report(HOSTILE)), render_preflight_text(&preflight(HOSTILE))] {
        assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").ends_with(SAFETY_WORDS));
    }
}

#[test]
fn a_preflight_text_draws_each_tool_as_it_works_and_waits() {
    let text = render_preflight_text(&preflight("lantern.gcode"));
    let lane = |tool: &str| text.lines().find(|line| line.trim_start().starts_with(tool) && line.contains('█'));
    let turns = |letters: [&str; 2]| [letters[0].repeat(10), letters[1].repeat(10)].concat().repeat(3);
    assert_eq!(lane("T0").unwrap().trim(), format!("T0  {}", turns(["█", "▒"])));
    assert_eq!(lane("T1").unwrap().trim(), format!("T1  {}", turns(["▒", "█"])));
    assert!(text.lines().all(|line| line.chars().count() <= 90));
    assert!(text.contains("0:05           0:20           0:35           0:50           1:05"), "{text}");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let paced =
        "expected 1 h 0 min from the first filament on, at this printer's pace (90 % interval 55 min to 1 h 5 min";
    assert!(words.contains(paced) && words.contains("by the file alone 55 min"), "{text}");
    assert!(text.contains("T1: not learned yet (41 tool-runs, 3 failures: no event yet)"));
}

#[test]
fn a_preflight_says_what_its_ooze_leaves_out_and_that_a_waiting_tool_is_off() {
    let mut view = preflight("lantern.gcode");
    let words = |view: &PreflightView| render_preflight_text(view).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(!words(&view).contains("pressure") && !words(&view).contains("switched off"));
    view.tools.truncate(1);
    view.tools[0].retractions.untold = 1;
    (view.tools[0].standby, view.tools[0].switched_off) = (SpreadView::default(), 2);
    assert!(words(&view).contains("Ooze expected 0.8 mm³, without what pressure pushes out"), "{}", words(&view));
    assert!(words(&view).contains("Standby switched off 2 times"), "{}", words(&view));
}

#[test]
fn a_preflight_page_counts_from_the_job_s_beginning_and_keeps_the_printer_that_was_chosen() {
    let html = render_preflight(&preflight_page(PreflightCame::Read(Box::new(preflight("lantern.gcode")))));
    for tick in ["0:15", "0:30", "0:45", "1:00"] {
        assert!(html.contains(&format!("\">{tick}</text>")), "{tick}");
    }
    assert!(html.contains("<td>0:05:00</td><td>0:15:00</td>"), "the lane's table tells the seconds");
    let chosen = html.split("<option").find(|option| option.contains(" selected")).unwrap();
    assert!(chosen.contains("alert(1)") && !chosen.contains("bench"), "{chosen}");
    assert!(html.find("multipart/form-data").unwrap() < html.find("name=\"token\"").unwrap());
    assert!(html.find("name=\"token\"").unwrap() < html.find("type=\"file\"").unwrap(), "the token comes first");
}

#[test]
fn pages_hold_no_inline_style_or_script() {
    for (name, html) in documents().into_iter().filter(|(name, _)| *name != "report" && *name != "mailed report") {
        for banned in [" style=", "<style", "<script>", " onclick=", "javascript:"] {
            assert!(!html.contains(banned), "{name} holds {banned}");
        }
    }
}

#[test]
fn the_report_refers_to_nothing_outside_itself() {
    for view in [report(HOSTILE), first_week()] {
        let html = render_report_html(&view);
        for banned in ["http:", "https:", "src=", "href=", "@import", "<script", "<link"] {
            assert!(!html.contains(banned), "{banned}");
        }
        let outside = html.match_indices("url(").find(|(place, _)| html.get(place + 4..place + 5) != Some("#"));
        assert_eq!(outside, None);
    }
}

#[test]
fn the_headline_tells_how_the_waiting_nozzle_is() {
    let told = headline(&calm());
    assert_eq!(told, "All right: T1 waits at 216 °C, 14 min, 38 % of its residence budget.");
    let spent = vec![tool(0, DoingNow::Working { since: at(-14.0) }, 0.4), tool(1, waiting(), 78.0)];
    let told = headline(&now(vec![printer(in_contact(), spent)], Vec::new()));
    assert_eq!(told, "Over its limit: T1 waits at 216 °C, 14 min, 130 % of its residence budget.");
}

#[test]
fn a_silent_host_makes_the_heat_unknown_and_stops_the_countdown() {
    let tools = vec![tool(1, waiting(), 22.8)];
    let silent = Contact::Silent { since: at(-58.0) };
    let view = now(vec![troubled(silent, tools)], Vec::new());
    assert_eq!(headline(&view), "Not known whether T1 is hot. No reading since 22:02.");
    let page = render_now(&view);
    assert!(page.contains("connection refused") && !page.contains("left to the limit"));
}

#[test]
fn trouble_with_one_document_is_no_calm_and_is_said_though_readings_come() {
    let view = now(vec![troubled(in_contact(), vec![tool(1, waiting(), 22.8)])], Vec::new());
    assert!(headline(&view).starts_with("Not all is known: T1 waits"), "{}", headline(&view));
    let page = render_now(&view);
    assert!(page.contains("verdict watch") && page.contains("Trouble with the host since"));
    assert!(page.contains("Document heat from http://127.0.0.1:8121/heat: connection refused."), "{page}");
    assert!(page.contains("clock 3 min behind (±0.3 s)"), "{page}");
}

#[test]
fn only_a_cold_tool_that_tells_its_temperature_lets_the_page_say_nothing_is_hot() {
    let cold = |actual| {
        let mut tool = tool(0, DoingNow::Cold, 0.0);
        tool.actual = actual;
        headline(&now(vec![printer(in_contact(), vec![tool])], Vec::new()))
    };
    let celsius = |value| Some(dwell_analysis::units::Celsius::new(value));
    assert_eq!(cold(celsius(24.0)), "All right: nothing is hot.");
    assert_eq!(cold(celsius(180.0)), "All right: nothing is heated; T0 is still at 180 °C.");
    assert_eq!(cold(None), "Not known: T0 is not heated; its temperature is not told.");
    assert_eq!(
        headline(&now(vec![printer(in_contact(), Vec::new())], Vec::new())),
        "Not known: the host tells of no tool."
    );
}

#[test]
fn what_is_missing_shows_a_reason_and_never_a_number() {
    let mut view = calm();
    let waits = view.printers.first_mut().and_then(|printer| printer.tools.get_mut(1)).unwrap();
    (waits.actual, waits.target, waits.time_left) = (None, None, None);
    let page = render_now(&view);
    assert!(page.contains("read <strong>no reading</strong>") && page.contains("set not told"));
    assert!(headline(&view).contains("its temperature is not told"));
    let text = render_report_text(&first_week());
    assert!(
        text.contains("No day of this week has a reading") && text.contains("There is no reading in the record yet.")
    );
    assert!(!text.contains("0 min") && !text.contains("0 print"), "{text}");
}

#[test]
fn the_text_report_fits_its_columns_even_with_a_name_without_spaces() {
    for view in [report(&"x".repeat(300)), first_week()] {
        let text = render_report_text(&view);
        assert!(text.lines().all(|line| line.chars().count() <= 78), "{text}");
    }
}

#[test]
fn the_days_of_the_week_chart_leave_no_bar_where_nothing_was_recorded() {
    let mut view = first_week();
    view.days[4] = DayRecord::Counted(DayCounts::default());
    let html = render_report_html(&view);
    let chart = html.split_once("id=\"days\"").unwrap().1.split_once("</figure>").unwrap().0;
    let drawing = chart.split_once("aria-labelledby").unwrap().1.split_once("</svg>").unwrap().0;
    assert!(!drawing.contains("<rect"), "{drawing}");
    assert_eq!(drawing.matches(">record<").count(), 6);
}

/// Writes each document where a person can look at it: `target/pages`.
#[test]
fn every_document_can_be_looked_at() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("../pages");
    std::fs::create_dir_all(&folder).unwrap();
    let over = vec![tool(0, DoingNow::Working { since: at(-14.0) }, 0.4), tool(1, waiting(), 78.0)];
    let silent = Contact::Silent { since: at(0.0) - Seconds::minutes(38.0) };
    let files = [
        ("now.html", render_now(&calm())),
        ("over.html", render_now(&now(vec![printer(in_contact(), over)], vec![sample::alarm(None)]))),
        (
            "silent.html",
            render_now(&now(vec![troubled(silent, vec![tool(1, waiting(), 22.8)])], vec![sample::silent_alarm()])),
        ),
        ("alarms.html", render_alarms(&sample::alarms::page("Ada"))),
        ("link.html", render_link(&sample::alarms::link(LinkStage::Asks))),
        ("linked.html", render_link(&sample::alarms::link(LinkStage::Done))),
        ("prints.html", render_prints(&list("lantern.gcode"))),
        ("print.html", render_print(&print("lantern.gcode"))),
        ("message.html", render_message("No such print", "There is no print 41.")),
        ("report.html", render_report_html(&report("lantern.gcode"))),
        ("first.html", render_report_html(&first_week())),
        ("report-site.html", render_report(&report("lantern.gcode"), &frame())),
        ("report-mail.html", render_report_mail(&report("lantern.gcode"))),
        ("reports.html", render_reports(&archive("2026-02-30"))),
        ("report.txt", render_report_text(&report("lantern.gcode"))),
        ("first.txt", render_report_text(&first_week())),
        ("style.css", STYLE.to_owned()),
        ("live.js", LIVE_SCRIPT.to_owned()),
    ];
    for (name, content) in files {
        std::fs::write(folder.join(name), &content).unwrap();
        assert!(!content.is_empty(), "{name}");
    }
}

#[test]
fn page_and_report_say_which_settings_are_of_the_job_file_and_what_was_typed_in_instead() {
    let page = render_print(&sample::print("lantern.gcode"));
    let report = sample::report::report("lantern.gcode");
    let (html, text) = (render_report_html(&report), render_report_text(&report));
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for [shown, from] in
        [["211.0 °C", "typed in, so since "], ["176.0 °C", "job file; typed in: 171.0 °C"], ["1.50 mm", "job file"]]
    {
        assert!(page.contains(&format!("<td>{shown}</td><td>{from}")), "{shown}: {page}");
    }
    assert!(page.contains("<td>214.0 °C</td>"), "what it was before: {page}");
    for words in ["211.0 °C", "176.0 °C (job file; typed in: 171.0 °C)", "1.50 mm (job file)"] {
        assert!(html.contains(&format!("<td>{words}</td>")) && text.contains(words), "{words}: {text}");
    }
    assert!(
        html.contains("job file read for 7 of its 9 prints") && text.contains("job file read for 7 of its 9 prints")
    );
    for told in [&page, &html, &text] {
        assert!(told.contains("named another tool than the job file has at work"), "{told}");
    }
}
