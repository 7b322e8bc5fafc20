//! What is said of alarms on a page, on a link's page and in the text of the week: words that hold of their state.
#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample serves several tests")]

mod sample;

use dwell_dashboards::view::{AlarmView, LinkActView, LinkStage};
use dwell_dashboards::{render_alarms, render_link, render_report_text};
use sample::alarms::{link, of, page};
use sample::at;

#[test]
fn only_a_state_that_rests_on_it_tells_when_it_was_acknowledged() {
    for (state, tells) in
        [("acknowledged", true), ("normal", true), ("returned unacknowledged", false), ("unacknowledged", false)]
    {
        let mut page = page("Ada");
        let alarm = AlarmView { acknowledged: Some(at(-30.0)), ..of(70, "idle_hot", "medium", state) };
        (page.open, page.past, page.figures) = (vec![alarm], Vec::new(), None);
        assert_eq!(render_alarms(&page).contains(", acknowledged 22"), tells, "{state}");
    }
}

#[test]
fn a_link_says_what_holds_of_its_alarm_now_and_until_when_it_is_shelved() {
    let mut view = link(LinkStage::Done);
    view.shelved_until = Some(at(60.0));
    assert!(render_link(&view).contains("It is shelved until 00:00"), "{}", render_link(&view));
    view.act = LinkActView::Acknowledge;
    let stands = "the alarm stands until its condition is gone";
    view.stage = LinkStage::Asks;
    assert!(render_link(&view).contains(stands));
    view.alarm.returned = Some(at(-1.0));
    view.alarm.state = "returned unacknowledged";
    let html = render_link(&view);
    assert!(!html.contains(stands) && html.contains("Its condition is gone already."), "{html}");
}

#[test]
fn the_text_report_has_all_words_of_a_high_alarm_and_a_line_for_many_of_another() {
    let mut report = sample::report::report("lantern.gcode");
    let hot = |minutes: f64, returned| AlarmView {
        raised: at(minutes),
        returned,
        cause: "T1 waits".to_owned(),
        ..of(1, "idle_hot", "medium", "normal")
    };
    report.alarms = (1..=25).map(|idx| hot(-10.0 * f64::from(idx), Some(at(0.0)))).collect();
    report.alarms.push(hot(-5.0, None));
    report.alarms.push(AlarmView { cause: "no heat".to_owned(), ..of(2, "heat_lost", "high", "unacknowledged") });
    let text = render_report_text(&report);
    let alarms = text.split_once("\nALARMS\n").unwrap().1.split_once("\n\n").unwrap().0;
    assert!(alarms.lines().count() < 12, "{alarms}");
    let said = alarms.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("bench T1: idle hot (medium): raised 26 times, Sat 28 Feb, 18:50 to Sat 28 Feb, 22:55, 1 still"),
        "{said}"
    );
    assert!(said.contains("No heat.") && !said.contains("T1 waits"), "{said}");
}
