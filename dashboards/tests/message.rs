//! What messages about alarms say: claims about their text, their bounds, and that no name can break out of them.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::message::{html, subject, text};
use dwell_dashboards::view::{AlarmLinks, AlarmWords, MessageChart, MessageKind, MessageView, NoticeView};
use jiff::tz::TimeZone;

/// 2026-03-02T13:00:00Z, 14:00 in Berlin.
const AT: Timestamp = Timestamp::from_ms(1_772_456_400_000);

fn notice(rule: &'static str, priority: &'static str) -> NoticeView {
    NoticeView {
        printer: Some("bench".to_owned()),
        tool: Some(1),
        rule,
        priority,
        raised: AT,
        returned: None,
        words: Some(AlarmWords {
            cause: "the melt in T1 has waited 31.0 equivalent min, over the 30.0 of PLA".to_owned(),
            consequence: "it cooks into a plug".to_owned(),
            action: "Purge T1 before it prints again.".to_owned(),
        }),
        links: None,
    }
}

fn message(kind: MessageKind, notices: Vec<NoticeView>) -> MessageView {
    let zone = TimeZone::get("Europe/Berlin").unwrap();
    MessageView { kind, made: AT, zone, notices, n_dropped: 0, chart: None, list: None }
}

fn chart(points: Vec<(Timestamp, Celsius)>, limit: Option<f64>) -> MessageChart {
    MessageChart { name: "T1".to_owned(), points, target: Some(Celsius::new(175.0)), limit: limit.map(Celsius::new) }
}

/// Two hours, warming from 150 °C by a degree in two minutes, silent from 20 to 40 min.
fn warming() -> Vec<(Timestamp, Celsius)> {
    let minutes = (0..120_u32).filter(|minute| !(20..40).contains(minute)).map(f64::from);
    minutes.map(|minute| (AT - Seconds::minutes(120.0 - minute), Celsius::new(150.0 + minute / 2.0))).collect()
}

fn full() -> MessageView {
    let links = AlarmLinks {
        acknowledge: "https://bench.example/alarms/link/first".to_owned(),
        shelve: "https://bench.example/alarms/link/second".to_owned(),
        until: AT + Seconds::minutes(1440.0),
    };
    let alone = NoticeView { links: Some(links), ..notice("residence_budget", "high") };
    MessageView { chart: Some(chart(warming(), Some(200.0))), ..message(MessageKind::Single, vec![alone]) }
}

#[test]
fn a_single_alarm_reads_like_this() {
    let expected = "\
bench T1: residence budget (high priority)
Raised Mon 2 Mar 2026, 14:00 (Europe/Berlin).

Cause: The melt in T1 has waited 31.0 equivalent min, over the 30.0 of PLA.
Consequence: It cooks into a plug.
Do: Purge T1 before it prints again.

T1 from 12:00 to 13:59
▁▁▁▁▁▁▂▂        ▃▃▄▄▄▄▄▄▅▅▅▅▅▅▆▆▆▆▆▆▇▇▇▇▇▇██████
Lowest 150.0 °C at 12:00, highest 209.5 °C at 13:59.
Set to 175 °C; limit 200 °C.

Acknowledge:
https://bench.example/alarms/link/first

Shelve for an hour:
https://bench.example/alarms/link/second

A link opens a page that asks before it does anything, until Tue 3 Mar 2026,
14:00.
";
    let said = text(&full());
    assert!(said.starts_with(expected), "{said}");
    assert!(said.contains("Not a safety device."), "{said}");
}

#[test]
fn what_is_gone_says_so_and_repeats_no_words_that_it_does_not_have() {
    let gone = NoticeView { returned: Some(AT + Seconds::minutes(9.0)), words: None, ..notice("idle_hot", "medium") };
    let view = message(MessageKind::Single, vec![gone]);
    assert_eq!(subject(&view), "Gone: bench T1: idle hot");
    let said = text(&view);
    assert!(said.contains("Raised Mon 2 Mar 2026, 14:00, gone 14:09 (Europe/Berlin)."), "{said}");
    assert!(!said.contains("Cause") && !said.contains("Acknowledge") && !said.contains("°C"), "{said}");
}

#[test]
fn a_group_is_counted_by_subject_with_what_stands_and_is_grave_first() {
    let later = |minutes| AT + Seconds::minutes(minutes);
    let gone = |rule, priority, at| NoticeView { returned: Some(at), words: None, ..notice(rule, priority) };
    let again = |rule, priority, raised| NoticeView { raised, ..notice(rule, priority) };
    let notices = vec![
        notice("idle_hot", "medium"),
        gone("idle_hot", "medium", later(1.0)),
        again("idle_hot", "medium", later(2.0)),
        notice("heat_lost", "high"),
        gone("heat_lost", "high", later(3.0)),
        again("temp_jump", "high", later(4.0)),
    ];
    let view = message(MessageKind::Group, notices);
    assert_eq!(subject(&view), "bench: 4 alarms raised, the gravest of high priority");
    let said = text(&view);
    let said = said.replace("\n  The melt", "\nThe melt").replace("\n  ", " ");
    let heads: Vec<&str> = said.lines().filter(|line| line.starts_with("- ")).collect();
    assert_eq!(
        heads,
        [
            "- bench T1: temp jump (high): stands since 14:04.",
            "- bench T1: idle hot (medium): stands since 14:02, the last of 3 changes in this message.",
            "- bench T1: heat lost (high): gone at 14:03, the last of 2 changes in this message.",
        ]
    );
}

#[test]
fn what_is_told_of_a_group_is_true_whatever_came_before_the_message() {
    let gone =
        |at| NoticeView { returned: Some(AT + Seconds::minutes(at)), words: None, ..notice("idle_hot", "medium") };
    let raised = |at| NoticeView { raised: AT + Seconds::minutes(at), words: None, ..notice("idle_hot", "medium") };
    // It was raised in a message before this one; and what shelving held back is told again when it ends.
    for (notices, expected) in [
        (vec![gone(1.0), raised(2.0)], "stands since 14:02, the last of 2 changes"),
        (vec![gone(1.0), raised(2.0), gone(3.0)], "gone at 14:03, the last of 3 changes"),
        (vec![raised(2.0), raised(2.0)], "stands since 14:02, the last of 2 changes"),
    ] {
        let view = message(MessageKind::Group, notices);
        for said in [text(&view).replace("\n  ", " "), html(&view)] {
            assert!(said.to_lowercase().contains(expected), "{said}");
            assert!(!said.contains("once") && !said.contains("twice"), "{said}");
        }
    }
}

#[test]
fn both_parts_of_a_group_have_a_link_for_each_line_that_stands_and_the_text_for_no_other() {
    let linked = |idx: usize, returned| NoticeView {
        tool: Some(idx),
        returned,
        links: Some(AlarmLinks {
            acknowledge: format!("https://bench.example/alarms/link/ack-{idx}."),
            shelve: format!("https://bench.example/alarms/link/shelve-{idx}."),
            until: AT + Seconds::minutes(1440.0),
        }),
        ..notice("idle_hot", "medium")
    };
    let gone = linked(2, Some(AT + Seconds::minutes(1.0)));
    let said = text(&message(MessageKind::Group, vec![linked(0, None), linked(1, None), gone]));
    for idx in 0..2 {
        let line = format!("  Acknowledge:\nhttps://bench.example/alarms/link/ack-{idx}.\n");
        assert_eq!(said.matches(&line).count(), 1, "{said}");
    }
    assert!(!said.contains("ack-2.") && !said.contains("shelve-"), "{said}");
    let flood = message(MessageKind::Group, (0..500).map(|idx| linked(idx, None)).collect());
    assert_eq!(text(&flood).matches("https://").count(), 12);
}

#[test]
fn a_flood_stays_short_and_names_how_much_it_leaves_out() {
    let of = |idx: usize| NoticeView { printer: Some(format!("bench {}", idx % 500)), ..notice("idle_hot", "medium") };
    let view = MessageView {
        list: Some("https://bench.example/alarms".to_owned()),
        n_dropped: 7,
        ..message(MessageKind::Group, (0..10_000).map(of).collect())
    };
    assert_eq!(subject(&view), "500 printers: 10000 alarms raised, the gravest of medium priority");
    let (plain, page) = (text(&view), html(&view));
    assert!(plain.len() < 6_000 && page.len() < 12_000, "{} and {} bytes", plain.len(), page.len());
    for said in [plain, page] {
        assert!(said.contains("488 lines more in the list of alarms"), "{said}");
        assert_eq!(said.matches("as more waited than is kept").count(), 1, "{said}");
        assert!(said.contains("https://bench.example/alarms"), "{said}");
    }
}

#[test]
fn no_line_but_a_link_is_wider_than_78_columns() {
    let long = "a very long name of a printer that somebody chose on a long evening ".repeat(3);
    let mut view = full();
    view.notices[0].printer = Some(long.clone());
    view.notices[0].words.as_mut().unwrap().cause = long.repeat(4);
    let many = message(MessageKind::Digest, vec![view.notices[0].clone(); 30]);
    for said in [text(&view), text(&many), text(&message(MessageKind::Test, Vec::new()))] {
        let wide = said.lines().find(|line| line.chars().count() > 78 && !line.starts_with("https://"));
        assert_eq!(wide, None);
    }
}

#[test]
fn no_name_breaks_out_of_the_subject_the_text_or_the_html() {
    let mut view = full();
    view.notices[0].printer = Some("<b onload=\"x\">\r\nBcc: all@example\u{1b}[2J".to_owned());
    let words = view.notices[0].words.as_mut().unwrap();
    words.cause = "</style><script>alert(1)</script>".to_owned();
    words.action = "\"><img src=x>".to_owned();
    view.notices[0].links.as_mut().unwrap().acknowledge = "https://bench.example/\"><i>".to_owned();
    view.chart.as_mut().unwrap().name = "<T1>".to_owned();
    let many = message(MessageKind::Group, vec![view.notices[0].clone(), notice("idle_hot", "medium")]);
    for view in [view, many] {
        assert!(!subject(&view).contains(char::is_control), "{:?}", subject(&view));
        assert!(!text(&view).lines().any(|line| line.starts_with("Bcc") || line.contains('\u{1b}')));
        let page = html(&view);
        for raw in ["<script", "<img", "<b ", "<i>", "<T1>"] {
            assert!(!page.contains(raw), "{raw} in {page}");
        }
    }
}

#[test]
fn the_html_fetches_nothing_and_sets_no_ink_without_its_own_ground() {
    let page = html(&full());
    for fetched in ["src=", "url(", "<link", "<script", "<style", "<svg", "class="] {
        assert!(!page.contains(fetched), "{fetched} in {page}");
    }
    for style in page.split("style=\"").skip(1).map(|rest| rest.split('"').next().unwrap()) {
        let has_ink = style.split(';').any(|rule| rule.starts_with("color:"));
        assert!(!has_ink || style.contains("background:"), "{style}");
    }
}

#[test]
fn the_limit_stands_between_what_is_over_it_and_what_is_not() {
    let rows = |limit| {
        let view = MessageView { chart: Some(chart(warming(), limit)), ..full() };
        html(&view).split("<table").nth(1).unwrap().split("</table>").next().unwrap().to_owned()
    };
    let over = rows(Some(200.0));
    let (above, below) = over.split_once("background:#d55e00\"></td>").unwrap();
    // From 100 min on: 20 of 120 min are over it, of 48 bars 8 and the one where it begins.
    let n_over = above.matches("<div").count();
    assert!((8..=9).contains(&n_over), "{n_over} bars are over the limit");
    // The silent 20 min are a sixth of the bars, and have none.
    assert_eq!(below.matches("<div").count(), 40);
    // A limit that would flatten the rest is told in words alone.
    assert!(!rows(Some(600.0)).contains("#d55e00"));
    assert!(!rows(None).contains("#d55e00"));
}

#[test]
fn a_chart_without_readings_is_left_out_and_one_reading_is_no_division_by_zero() {
    let one = |points| text(&MessageView { chart: Some(chart(points, None)), ..full() });
    assert!(!one(Vec::new()).contains("Lowest"));
    let said = one(vec![(AT, Celsius::new(175.0))]);
    assert!(said.contains("Lowest 175.0 °C at 14:00, highest 175.0 °C at 14:00"), "{said}");
    assert!(!said.contains("NaN"), "{said}");
}

#[test]
fn a_test_says_that_nothing_is_the_matter() {
    let view = message(MessageKind::Test, Vec::new());
    assert_eq!(subject(&view), "dwellwatch: a test, nothing is the matter");
    assert!(text(&view).contains("nothing is the matter") && html(&view).contains("nothing is the matter"));
}

#[test]
fn what_was_dropped_is_said_in_whichever_message_comes_next() {
    for kind in [MessageKind::Single, MessageKind::Group] {
        let notices = vec![notice("idle_hot", "medium"); if kind == MessageKind::Single { 1 } else { 3 }];
        let whole = message(kind, notices);
        assert!(!text(&whole).contains("dropped") && !html(&whole).contains("dropped"));
        let cut = MessageView { n_dropped: 7, ..whole };
        for told in [text(&cut), html(&cut)] {
            assert!(told.contains("7 of the least urgent were dropped"), "{told}");
            assert_eq!(told.to_lowercase().matches("dropped").count(), 1, "{told}");
        }
    }
}
