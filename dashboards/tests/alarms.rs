//! What the *Alarms* page, a link's page and *Now* make of alarms: order, buttons, and how loud each is.
#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample serves several tests")]

mod sample;

use dwell_dashboards::view::{AlarmView, DoingNow, LinkStage, NowView, StuckWay};
use dwell_dashboards::{SHELVE_FOR, render_report_text};
use dwell_dashboards::{render_alarms, render_link, render_link_message, render_now, render_report_html};
use sample::alarms::{figures, link, of, page, shelved};
use sample::{at, in_contact, now, printer, tool, waiting};

/// Where each phrase stands in the page.
fn order(html: &str, phrases: &[&str]) -> Vec<usize> {
    phrases.iter().map(|phrase| html.find(phrase).unwrap_or_else(|| unreachable!("no {phrase} in {html}"))).collect()
}

fn calm_with(alarms: Vec<AlarmView>) -> NowView {
    let tools = vec![tool(0, DoingNow::Working { since: at(-14.0) }, 0.4), tool(1, waiting(), 22.8)];
    now(vec![printer(in_contact(), tools)], alarms)
}

fn tone(alarms: Vec<AlarmView>) -> String {
    let html = render_now(&calm_with(alarms));
    html.split_once("<div class=\"verdict ").unwrap().1.split_once('"').unwrap().0.to_owned()
}

#[test]
fn the_gravest_stands_first_and_what_is_held_stands_apart() {
    let html = render_alarms(&page("Ada"));
    let heads = ["T1: heat lost", "medium priority, acknowledged"];
    let rest = ["bench T1: outcome missing", "Came and went", "medium priority, returned unacknowledged", "Held back"];
    let places = order(&html, &[&heads[..], &rest[..]].concat());
    assert!(places.is_sorted(), "{places:?} {html}");
}

#[test]
fn only_what_nobody_has_seen_can_be_acknowledged_and_each_button_names_its_alarm() {
    let html = render_alarms(&page("Ada"));
    assert_eq!(html.matches("aria-label=\"Acknowledge bench").count(), 3, "{html}");
    for said in
        ["/alarms/8/acknowledge", "/alarms/8/shelve", "/alarms/8/out-of-service", "/alarms/8/right", "/alarms/8/false"]
    {
        assert!(html.contains(&format!("\"{said}\"")), "{said}");
    }
    // What is held has its end among the holds, and can't be held twice.
    assert!(!html.contains("/alarms/3/shelve\"") && html.contains("/alarms/3/unshelve\""));
    assert!(html.contains("/alarms/3/return-to-service\""));
    for (minutes, words) in SHELVE_FOR {
        let chosen = if minutes == 60 { " selected" } else { "" };
        assert!(html.contains(&format!("<option value=\"{minutes}\"{chosen}>{words}</option>")), "{words}");
    }
    assert_eq!(html.matches("<form").count(), html.matches("name=\"token\" value=\"c0ffee\"").count());
}

#[test]
fn enter_in_a_text_acts_on_no_alarm() {
    let html = render_alarms(&page("Ada"));
    let forms: Vec<&str> = html
        .split("<form")
        .skip(1)
        .map(|form| form.split_once("</form>").unwrap().0)
        .filter(|form| form.contains("name=\"why\""))
        .collect();
    assert!(forms.len() > 2, "{html}");
    for form in forms {
        // The browser presses the first button of a form, and nothing if that one is disabled.
        let first = form.split_once("<button").unwrap().1.split_once('>').unwrap().0;
        assert!(first.contains(" disabled") && first.contains(" hidden"), "{first} in {form}");
    }
}

#[test]
fn the_history_says_who_changed_what_and_when() {
    let html = render_alarms(&page("Ada"));
    for said in ["Sat 28 Feb, 22:30: acknowledged, by Ada: Ada", "Sat 28 Feb, 22:15: unacknowledged, by dwellwatch"] {
        assert!(html.contains(said), "{said} in {html}");
    }
    assert!(html.contains("lasted 25 min, high priority, normal, marked as false"));
    assert!(html.contains("Its changes were not kept") && html.contains("And 12 before them"));
    assert!(html.contains("bench T0: temp drift, shelved until 23:50 by Ada: Ada"));
}

#[test]
fn many_that_nobody_has_looked_at_stay_behind_what_stands_and_are_few_lines() {
    let mut many = page("Ada");
    many.open.extend((100..180).map(|id| of(id, "host_silent", "high", "returned unacknowledged")));
    let html = render_alarms(&many);
    assert_eq!(html.matches("id=\"unseen-").count(), 20);
    assert!(html.contains("And 61 more"), "{html}");
    let places = order(&html, &["bench T1: outcome missing", "id=\"unseen-", "Held back"]);
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn a_short_command_stands_in_its_sentence_and_a_long_one_in_a_line_of_its_own() {
    let mut one = of(1, "part_due", "low", "unacknowledged");
    let long = "dwellwatch part fitted --printer bench --tool 0 --part liner";
    one.action = format!("Say so with `dwellwatch part`, as `{long}`");
    let html = render_now(&calm_with(vec![one]));
    assert!(html.contains("<code>dwellwatch part</code>"), "{html}");
    assert!(html.contains(&format!("<code class=\"command\">{long}</code>")), "{html}");
}

#[test]
fn what_was_recorded_quietly_is_one_line_of_the_page_and_of_the_report() {
    let words = |n| format!("{n} alarms were recorded quietly: they called nobody");
    assert!(render_alarms(&page("Ada")).contains(&words(31)));
    let mut report = sample::report::report("lantern.gcode");
    assert!(render_report_html(&report).contains(&words(4)));
    report.n_quiet_alarms = 0;
    assert!(!render_report_html(&report).contains("quietly"));
}

#[test]
fn without_alarms_the_page_says_so_and_has_no_number() {
    let mut empty = page("Ada");
    (empty.open, empty.holds, empty.past, empty.figures) = (vec![], vec![], vec![], None);
    (empty.n_more, empty.n_quiet) = (0, 0);
    let html = render_alarms(&empty);
    assert!(html.contains("No alarm stands, and none waits to be seen.") && html.contains("No alarm called anybody."));
    assert!(html.contains("Nothing has been recorded yet, so there is nothing to count.") && !html.contains("<form"));
}

#[test]
fn an_alarm_is_as_loud_as_its_priority_and_whether_somebody_has_seen_it() {
    let of = |priority, state| vec![of(9, "idle_hot", priority, state)];
    assert_eq!(tone(Vec::new()), "calm");
    for (priority, state, loud) in [
        ("high", "unacknowledged", "over"),
        ("high", "acknowledged", "over"),
        ("medium", "unacknowledged", "over"),
        ("medium", "acknowledged", "watch"),
        ("low", "unacknowledged", "calm"),
        ("low", "acknowledged", "calm"),
    ] {
        assert_eq!(tone(of(priority, state)), loud, "{priority} {state}");
    }
    for state in ["shelved", "out of service", "suppressed by design", "returned unacknowledged"] {
        assert_eq!(tone(of("high", state)), "calm", "{state}");
    }
    // A grave one behind a low one is still heard.
    let both = vec![
        sample::alarms::of(1, "outcome_missing", "low", "unacknowledged"),
        sample::alarms::of(2, "heat_lost", "high", "unacknowledged"),
    ];
    assert_eq!(tone(both), "over");
}

#[test]
fn the_headline_and_what_to_do_are_of_one_alarm_the_gravest_and_of_those_the_newest() {
    let sentences = |alarms| {
        let html = render_now(&calm_with(alarms));
        let said = html.split_once("<p class=\"headline\">").unwrap().1.split_once("</div>").unwrap().0.to_owned();
        said.split("</p>").map(|line| line.replace("<p>", "")).collect::<Vec<_>>()
    };
    let alarm = |tool: usize, rule, priority, state, minutes| AlarmView {
        tool: Some(tool),
        raised: at(minutes),
        cause: format!("the heater of T{tool} gives {rule}"),
        action: format!("Look at T{tool}"),
        ..of(1, rule, priority, state)
    };
    let many = vec![
        alarm(0, "idle_hot", "medium", "unacknowledged", -1.0),
        alarm(1, "heat_lost", "high", "unacknowledged", -9.0),
        alarm(0, "temp_jump", "high", "acknowledged", -5.0),
    ];
    let said = sentences(many);
    assert_eq!(said[..2], ["Alarm: the heater of T0 gives temp_jump.", "Do: Look at T0."], "{said:?}");
    assert!(said[2].starts_with("T1 waits at 216"), "{said:?}");
    assert!(said.iter().any(|line| line == "This is the gravest alarm. 2 others stand."), "{said:?}");
    let due =
        vec![alarm(0, "part_due", "low", "unacknowledged", -2.0), alarm(1, "part_due", "low", "acknowledged", -1.0)];
    let said = sentences(due).join(" ");
    assert!(said.contains("An alarm stands: T1, part due (low priority, acknowledged). Another one stands."), "{said}");
    // Who does not say of which tool he speaks is told of; one that calls nobody has no headline.
    let nameless = AlarmView { cause: "no heat".to_owned(), ..alarm(0, "heat_lost", "high", "acknowledged", -2.0) };
    assert_eq!(sentences(vec![nameless])[0], "Alarm, T0: no heat.");
    let seen = alarm(0, "idle_hot", "medium", "acknowledged", -1.0);
    let held = alarm(0, "heat_lost", "high", "shelved", -1.0);
    assert!(sentences(vec![seen, held])[0].starts_with("All right but for an alarm: T1 waits at 216"));
}

#[test]
fn a_printer_that_is_being_set_up_says_that_its_alarms_call_nobody_and_no_other_does() {
    let said = "This printer is being set up: its alarms are recorded and call nobody.";
    let mut view = calm_with(Vec::new());
    assert!(!render_now(&view).contains(said));
    view.printers[0].is_commissioning = true;
    assert_eq!(render_now(&view).matches(said).count(), 1);
}

#[test]
fn now_has_a_button_for_what_stands_names_what_is_shelved_and_puts_the_rest_behind_the_tools() {
    let mut view = calm_with(vec![
        of(1, "outcome_missing", "low", "unacknowledged"),
        of(2, "heat_lost", "high", "unacknowledged"),
        of(3, "temp_drift", "medium", "shelved"),
    ]);
    view.holds = vec![shelved("Ada")];
    view.n_unseen = 3;
    let html = render_now(&view);
    let places = order(
        &html,
        &[
            "bench T1: heat lost",
            "Calls nobody: bench T0: temp drift, shelved until 23:50 by Ada",
            "3 more alarms came and went",
            "<article class=\"tool\"",
            "bench T1: outcome missing",
        ],
    );
    assert!(places.is_sorted(), "{places:?}");
    assert!(!html.contains("bench T1: temp drift"), "{html}");
    assert_eq!(html.matches("name=\"back\" value=\"now\"").count(), 2);
    // What needs no word of why takes one tap.
    assert!(html.contains("formaction=\"/alarms/2/shelve\"") && html.contains("name=\"minutes\" value=\"60\""));
    // A grave one that somebody has looked at stays before the tools.
    view.alarms[1].state = "acknowledged";
    let places = order(&render_now(&view), &["bench T1: heat lost", "<article class=\"tool\""]);
    assert!(places.is_sorted(), "{places:?}");
    // What is in memory alone has no number to act on.
    view.alarms[1].state = "unacknowledged";
    view.alarms[1].id = None;
    assert!(!render_now(&view).contains("/alarms/2/acknowledge"));
}

#[test]
fn a_link_s_page_has_one_button_and_leads_nowhere_else() {
    let asks = render_link(&link(LinkStage::Asks));
    assert_eq!(asks.matches("<button").count(), 1);
    assert!(!asks.contains("action=") && asks.contains(">Shelve for 1 h</button>"), "{asks}");
    let needless = render_link(&link(LinkStage::Needless("It is acknowledged already.".to_owned())));
    let done = render_link(&link(LinkStage::Done));
    let gone = render_link_message("Over", "Its time is over.");
    for html in [&needless, &done, &gone] {
        assert!(!html.contains("<button"), "{html}");
    }
    for html in [asks, needless, done, gone] {
        assert!(!html.contains("<nav") && !html.contains("href=\"/\"") && !html.contains("<script"), "{html}");
    }
}

#[test]
fn page_and_report_tell_the_same_figures_and_judge_none_under_thirty_days() {
    let (page, mut report) = (render_alarms(&page("Ada")), sample::report::report("lantern.gcode"));
    let short = render_report_html(&report);
    report.alarm_figures = Some(figures(30.0));
    let (html, text) = (render_report_html(&report), render_report_text(&report));
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for said in ["0.43 (0.21 to 0.88)", "bench T1: heat lost (4 in 30 min)", "none: not met", "fewer than 5: within"] {
        for told in [&page, &html, &text] {
            assert!(told.contains(said), "{said} in {told}");
        }
    }
    assert!(short.contains("of record is too short to judge by them"), "{short}");
    assert!(!short.contains(": within<") && !short.contains(": not met<"), "{short}");
    report.alarm_figures = None;
    assert!(render_report_text(&report).contains("Nothing was recorded, so there is nothing to count."));
    // A day without alarms has no bar.
    let bars = page.split_once("aria-label=\"Alarms that called somebody, in each 24 h\"").unwrap().1;
    assert_eq!(bars.split_once("</svg>").unwrap().0.matches("class=\"mark").count(), 3);
}

#[test]
fn all_that_came_and_went_have_one_button_and_a_single_one_has_its_own_alone() {
    let all = "action=\"/alarms/returned/acknowledge\"";
    let mut view = page("Ada");
    assert!(!render_alarms(&view).contains(all));
    view.open.push(of(9, "heat_late", "high", "returned unacknowledged"));
    let html = render_alarms(&view);
    assert_eq!(html.matches(all).count(), 1);
    assert!(html.contains(&format!("name=\"before\" value=\"{}\"", view.at.as_ms())), "{html}");
    assert_eq!(html.matches("<form").count(), html.matches("name=\"token\" value=\"c0ffee\"").count());
}

#[test]
fn a_record_that_takes_nothing_is_told_first() {
    let mut view = page("Ada");
    assert!(!render_alarms(&view).contains("be written now"));
    view.is_unwritten = true;
    let places = order(&render_alarms(&view), &["be written now", "What stands or waits"]);
    assert!(places.is_sorted());
}

#[test]
fn a_way_that_does_not_deliver_says_since_when_how_often_and_how_much_waits() {
    let mut view = page("Ada");
    assert!(!render_alarms(&view).contains("do not arrive"));
    let mail = StuckWay {
        name: "<mail>".to_owned(),
        n_tries: 5,
        next: at(4.0),
        since: at(-90.0),
        n_in_message: 1,
        n_behind: 7,
    };
    view.stuck = vec![mail.clone(), StuckWay { n_in_message: 2, n_behind: 0, next: at(-1.0), ..mail }];
    let html = render_alarms(&view);
    let since = "&lt;mail&gt;: not delivered since 21:30, 5 tries";
    for said in [
        format!("{since}, the next at 23:04; 1 change waits, and up to 7 more behind."),
        format!("{since}, the next is due; 2 changes wait."),
    ] {
        assert!(html.contains(&said), "{said} in {html}");
    }
}
