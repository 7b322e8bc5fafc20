//! What must hold of the failure report in each of its forms: what its first page answers, and what it says of what is
//! not known.

#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample serves several tests")]

mod sample;

use dwell_analysis::risk::{Settling, State};
use dwell_analysis::units::Seconds;
use dwell_dashboards::period::Period;
use dwell_dashboards::view::{DayCounts, DayRecord, Replace, ReportView, ReportsView, TrialState};
use dwell_dashboards::{
    SAFETY_WORDS, render_report, render_report_html, render_report_mail, render_report_text, render_reports,
};
use sample::report::{failures, first_week, trial};
use sample::{at, frame};

fn report() -> ReportView {
    sample::report::report("lantern.gcode")
}

/// The words alone, a space between two of them.
fn words(text: &str) -> String {
    let mut plain = String::new();
    let mut is_tag = false;
    for letter in text.chars() {
        match letter {
            '<' => is_tag = true,
            '>' => (is_tag, plain) = (false, plain + " "),
            _ if is_tag => {}
            other => plain.push(other),
        }
    }
    let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    [(" .", "."), (" ,", ","), ("- ", "")].into_iter().fold(plain, |text, (from, to)| text.replace(from, to))
}

/// The first page of the text: from the first of its four headings to the first of the details.
fn brief(view: &ReportView) -> String {
    let text = render_report_text(view);
    let (_, rest) = text.split_once("WHAT FAILED\n").unwrap();
    words(rest.split_once("FAILURES BY MODE").map_or(rest, |(brief, _)| brief))
}

#[test]
fn the_first_page_answers_what_failed_why_what_to_change_and_what_is_due() {
    let brief = brief(&report());
    for says in [
        "3 of 8 prints with an outcome: 37.5 % (90 % interval 11.1–71.1 %).",
        "3 of 16 tool-runs, 18.8 % (90 % interval 5.3–41.7 %): stringing 2, jam 1.",
        "In the four weeks before: 4 of 31 prints, 12.9 %",
        "Stringing: perhaps idle heat, 62 % of the explaining; leaning, from 9 of 44 tool-runs",
        "Jam: not yet known, in 2 of 44 tool-runs of the whole record; about 31 more reported prints would settle it.",
        "Let T1 wait at 155 °C instead of 205 °C.",
        "22.3 % (12.1 to 34.2) now, 10.7 % (4.2 to 21.1) after it.",
        "It costs 1.3 min (0.8 to 2.1) per print.",
        "1 alarm stands, 1 part to replace by a day, 1 outcome to report.",
        "bench T1 liner: Replace it before Wed 18 Mar 2026",
        "Outcomes: 1 print of this week has none, and 12 of the whole record.",
    ] {
        assert!(brief.contains(says), "{says}: {brief}");
    }
}

#[test]
fn every_form_says_the_same_on_its_first_page_and_carries_the_safety_words() {
    let view = report();
    let text = words(&render_report_text(&view));
    for html in [render_report_html(&view), render_report_mail(&view), render_report(&view, &frame())] {
        let html = words(&html);
        for says in
            ["37.5 % (90 % interval 11.1–71.1 %)", "about 31 more reported prints", "instead of 205 °C", "Wed 18 Mar"]
        {
            assert!(html.contains(says) && text.contains(says), "{says}: {html}");
        }
        assert!(html.contains(SAFETY_WORDS) && text.contains(SAFETY_WORDS));
    }
}

#[test]
fn a_failure_told_without_its_tool_is_counted_and_never_called_absent() {
    let mut view = report();
    let mut adhesion = view.modes[2].clone();
    (adhesion.mode, adhesion.unplaced, adhesion.n) = ("adhesion", 1, 16);
    view.modes.push(adhesion);
    view.learned[0].mode = "adhesion";
    (view.learned[0].events, view.learned[0].unplaced) = (0, 1);
    for form in [render_report_text(&view), render_report_html(&view), render_report_mail(&view)] {
        let form = words(&form);
        for says in [
            "stringing 2, jam 1, adhesion 1 (tool not told).",
            "Reported, but on no tool-run: adhesion 1 (tool not told).",
            "Not reported: under-extrusion.",
            "Adhesion 1 (tool not told).",
        ] {
            assert!(form.contains(says), "{says}: {form}");
        }
        assert!(form.contains("75 %") && !form.contains("Never reported"), "{form}");
    }
    assert_eq!(view.shares_so_far()[1], Some(0.75), "three of four, not of three");
    view.modes.drain(..3);
    assert!(!brief(&view).contains("Nothing failed that was reported"));
}

#[test]
fn a_change_against_the_weeks_before_is_claimed_beyond_both_intervals_alone() {
    let mut view = report();
    let overlap = "the intervals overlap, so a difference may be chance";
    assert!(brief(&view).contains(overlap));
    view.prints = failures(9, 10, (0.606, 0.9, 0.995));
    assert!(brief(&view).contains("it is more now, beyond both intervals"));
    view.prints = failures(0, 90, (0.0, 0.0, 0.033));
    assert!(brief(&view).contains("it is less now, beyond both intervals"));
    view.before = None;
    let alone = brief(&view);
    assert!(!alone.contains("weeks before") && alone.contains("None of 90 prints with an outcome."), "{alone}");
}

#[test]
fn an_open_trial_stands_before_the_next_suggestion_and_its_verdict_when_it_is_over() {
    let mut view = report();
    view.open_trials = vec![trial(TrialState::Open { more: 17, on: None, next: None })];
    let whole = words(&render_report_text(&view));
    assert!(whole.contains("None was open in this week."), "it was taken up after this week: {whole}");
    let open = brief(&view);
    let (lead, rest) = open.split_once("A trial is under way: go on with it.").unwrap();
    assert!(!lead.contains("Let T1 wait") && rest.contains("Next: Let T1 wait at 155 °C"), "{open}");
    assert!(rest.contains("Failed in 1 of 7 prints with the change, 1.6 expected without it"), "{open}");
    assert!(rest.contains("Verdict: not yet (17 more prints with a known outcome)."), "{open}");
    let (ending, verdict, why) = ("settled", "helped", "it did".to_owned());
    assert!(open.contains("As of Sat 28 Feb 2026, 23:00, whichever week this report is of."), "{open}");
    view.open_trials.clear();
    view.trials = vec![trial(TrialState::Ended { at: at(-60.0), ending, verdict, why })];
    let ended = brief(&view);
    assert!(ended.contains("it helped. Keep it: standby 155 °C.") && !ended.contains("under way"), "{ended}");
    assert!(words(&render_report_html(&view)).contains("1.6 (0.9 to 2.4)"), "expected beside seen in the details");
}

#[test]
fn a_first_week_says_where_the_record_begins_and_shows_no_chart_and_no_number_of_nothing() {
    let view = first_week();
    for form in [render_report_html(&view), render_report(&view, &frame()), render_report_mail(&view)] {
        assert!(!form.contains("<figure") && !form.contains("<table"), "{form}");
        let form = words(&form);
        assert!(form.contains("There is no reading in the record yet."), "{form}");
        assert!(form.contains("Nothing yet: no print has ended."), "{form}");
        assert!(!form.contains("0 %") && !form.contains("0 of"), "{form}");
    }
    let begins = ReportView { first_reading: Some(at(-3000.0)), ..report() };
    let text = words(&render_report_text(&begins));
    assert!(text.contains("The record begins in this week, on Thu 26 Feb 2026, 21:00;"), "{text}");
}

#[test]
fn a_week_of_readings_without_a_print_is_no_failure_free_week() {
    let mut view = ReportView { first_reading: Some(at(-90_000.0)), ..first_week() };
    view.days = vec![DayRecord::Counted(DayCounts::default()); 7];
    let brief = brief(&view);
    assert!(brief.starts_with("No print began."), "{brief}");
    assert!(brief.contains("Without a word on how prints came out nothing can be learned."), "{brief}");
    assert!(!brief.contains("None of"), "{brief}");
}

#[test]
fn a_week_that_nobody_spoke_of_does_not_deny_what_was_said_of_others() {
    let mut view = report();
    view.modes.clear();
    (view.prints.events, view.prints.n) = (0, 0);
    let told = brief(&view);
    assert!(told.contains("Nobody has said yet how this week's prints came out."), "{told}");
    assert!(!told.contains("nothing can be learned"), "{told}");
    view.recorded.reported = 0;
    assert!(brief(&view).contains("Without a word on how prints came out nothing can be learned."));
}

#[test]
fn a_part_that_is_due_is_a_change_and_a_wait_has_its_highest_temperature_beside_the_mean() {
    let mut view = ReportView { suggestion: None, ..report() };
    assert!(brief(&view).contains("Nothing: no change is known"));
    view.parts[0].expected.as_mut().unwrap().replace = Replace::Due;
    let told = brief(&view);
    assert!(told.contains("What is due, below; no other change is known") && !told.contains("Nothing: no"), "{told}");
    let text = words(&render_report_text(&view));
    assert!(text.contains(" °C on the mean, ") && text.contains(" °C at most, "), "{text}");
    (view.learned[0].settling, view.learned[0].more_prints) = (Settling::RunsToRuleOut(110), Some(110));
    let says =
        "about 110 more reported prints would find a factor that doubles the hazard, if there is one, four times";
    assert!(brief(&view).contains(says), "{}", brief(&view));
}

#[test]
fn silence_is_told_with_what_it_may_hide() {
    let text = words(&render_report_text(&report()));
    assert!(
        text.contains(
            "3 prints of this week had no word on the outcome. Had all of them been clean, 27.3 % (90 % interval 7.9–56.4 \
             %) of prints would have failed; had all failed, 54.5 % (90 % interval 27.1–80.0 %)."
        ),
        "{text}"
    );
    let told = ReportView { if_silent: None, ..report() };
    assert!(words(&render_report_text(&told)).contains("nothing hides in silence"));
}

#[test]
fn what_was_ruled_out_or_has_no_rate_promises_no_number_of_prints() {
    let mut view = report();
    for (settling, says) in
        [(Settling::RuledOut, "there are prints enough"), (Settling::NoRate, "there is nothing to tell it by")]
    {
        for row in &mut view.learned {
            (row.state, row.settling, row.more_prints) = (State::TooLittle, settling, None);
        }
        let brief = brief(&view);
        assert!(brief.contains(says) && !brief.contains("more reported print"), "{brief}");
        assert!(brief.contains("Not yet known."), "{brief}");
    }
}

#[test]
fn the_site_links_prints_and_the_reports_beside_and_a_file_links_nothing() {
    let view = ReportView { as_of: at(3.0 * 1440.0), ..report() };
    let page = render_report(&view, &frame());
    for link in ["href=\"/reports/2026-W08\"", "href=\"/reports/2026-W10\"", "href=\"/reports\"", "href=\"/prints/12\""]
    {
        assert!(page.contains(link), "{link}: {page}");
    }
    let running = render_report(&report(), &frame());
    assert!(!running.contains("2026-W10"), "no report of what has not begun");
    let first =
        render_report(&ReportView { first_reading: Some(view.from + Seconds::new(60.0)), ..report() }, &frame());
    assert!(!first.contains("2026-W08"), "no report of before the record");
    for form in [render_report_html(&view), render_report_mail(&view)] {
        assert!(!form.contains("href"), "{form}");
    }
}

#[test]
fn a_longer_time_is_drawn_by_weeks_with_as_many_places() {
    let period = Period::between("2026-02-01", "2026-03-01").unwrap();
    let mut view = ReportView { period, ..report() };
    view.days = vec![DayRecord::Counted(DayCounts { completed: 4, ..DayCounts::default() }); period.parts().len()];
    view.idle.iter_mut().for_each(|tool| tool.days = vec![Some(Seconds::minutes(90.0)); period.parts().len()]);
    let html = render_report_html(&view);
    assert!(html.contains("1 February to 1 March 2026") && html.contains("reported failures a week"), "{html}");
    assert_eq!(html.matches("class=\"mark d-completed\"").count(), period.parts().len() + 1, "and one in the key");
    assert!(html.contains("<td>4</td>"), "the table behind it");
}

#[test]
fn the_archive_counts_each_week_keeps_what_was_refused_and_is_no_table_of_nothing() {
    let none = ReportsView {
        frame: frame(),
        weeks: Vec::new(),
        earlier: None,
        asked: ["2026-02-30".to_owned(), "2026-03-01".to_owned()],
        refused: Some("No report on these days: `2026-02-30` is no day of the calendar.".to_owned()),
    };
    let html = render_reports(&none);
    assert!(html.contains("No week has a reading yet") && !html.contains("<table"), "{html}");
    assert!(html.contains("is no day of the calendar") && html.contains("value=\"2026-02-30\""), "{html}");
}

#[test]
fn what_has_a_line_of_its_own_is_no_alarm_beside_it() {
    let mut view = report();
    for rule in ["part_due", "outcome_missing"] {
        view.standing[0].rule = rule;
        let brief = brief(&view);
        assert!(!brief.contains("Alarm bench") && !brief.contains("alarm stands"), "{brief}");
        assert!(brief.contains("1 part to replace by a day, 1 outcome to report."), "{brief}");
    }
}

#[test]
fn of_many_alarms_the_grave_ones_have_all_their_words_and_others_a_line_a_kind() {
    let mut view = report();
    let one = view.alarms[0].clone();
    view.alarms = vec![one; 10];
    assert_eq!(render_report_html(&view).matches("class=\"alarm ").count(), 10);
    view.alarms.push(view.alarms[0].clone());
    view.alarms[3].priority = "high";
    let html = render_report_html(&view);
    assert_eq!(html.matches("class=\"alarm ").count(), 1, "{html}");
    assert!(html.contains("raised 10 times"), "{html}");
}
