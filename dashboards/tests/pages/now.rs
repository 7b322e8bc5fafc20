//! What *Now* says of what comes next, and the pieces in which an open page is kept current.

use crate::sample::{HOSTILE, at, calm, in_contact, now, printer, tool, waiting};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::{
    Ahead, Contact, DoingNow, LaneKind, LanePiece, NowView, PacedEnd, Reheat, Setting, ToolNowView,
};
use dwell_dashboards::{Inside, LivePiece, now_pieces, render_now};

/// T1 waits and is expected back after so many minutes; its limit is 14.3 min off.
fn back_in(minutes: f64) -> NowView {
    let mut view = calm();
    view.alarms.clear();
    let printer = view.printers.first_mut().unwrap();
    let pace = PacedEnd { early: at(70.0), late: at(95.0), n: 12 };
    printer.ahead = Ahead::JobFile { ends: at(80.0), pace: Some(pace) };
    let tool = printer.tools.get_mut(1).unwrap();
    tool.works = Some(at(minutes));
    let piece = |from, to, kind, heat| LanePiece { from: at(from), to: at(to), kind, mean: Some(Celsius::new(heat)) };
    tool.next =
        vec![piece(0.0, minutes, LaneKind::Waiting, 178.0), piece(minutes, minutes + 20.0, LaneKind::Working, 211.0)];
    view
}

fn headline(view: &NowView) -> String {
    let page = render_now(view);
    page.split_once("<p class=\"headline\">").unwrap().1.split_once("</p>").unwrap().0.to_owned()
}

#[test]
fn what_is_expected_is_drawn_as_a_forecast_after_now_and_told_in_words() {
    let page = render_now(&back_in(10.0));
    assert_eq!(page.matches("class=\"now-line\"").count(), 2, "a lane each");
    for words in [
        "<line class=\"edge k-working\"",
        "Expected next: working 20 min; waiting, hot 10 min.",
        "expected at work again about 23:10, before its limit",
        "Expected end about 00:20 tomorrow, by the job file at this printer's pace (90 % interval of the pace: 00:10 \
         tomorrow to 00:35 tomorrow, from 12 prints).",
    ] {
        assert!(page.replace("&#39;", "'").contains(words), "{words}: {page}");
    }
    let below = "<p>T1 reaches its limit at 23:14. It is expected at work again about 23:10, before its limit.</p>";
    assert!(page.contains(below), "{page}");
    assert!(!render_now(&calm()).contains("class=\"edge"), "nothing is drawn where nothing is expected");
}

#[test]
fn who_is_at_work_is_not_expected_at_work_again_and_an_interval_of_one_minute_is_none() {
    let mut view = back_in(10.0);
    let printer = view.printers.first_mut().unwrap();
    printer.tools.first_mut().unwrap().works = Some(at(30.0));
    let pace = PacedEnd { early: at(80.0), late: at(80.1), n: 12 };
    printer.ahead = Ahead::JobFile { ends: at(80.0), pace: Some(pace) };
    let html = render_now(&view).replace("&#39;", "'");
    assert_eq!(html.matches("<span>expected at work again").count(), 1, "{html}");
    let end = "Expected end about 00:20 tomorrow, by the job file at this printer's pace (from 12 prints).";
    assert!(html.contains(end) && !html.contains("interval of the pace"), "{html}");
}

#[test]
fn a_turn_that_comes_after_the_limit_is_no_calm() {
    let box_of = |view: &NowView| {
        let page = render_now(view);
        page.split_once("<div class=\"verdict ").unwrap().1.split_once('"').unwrap().0.to_owned()
    };
    assert_eq!(box_of(&back_in(14.0)), "calm");
    assert_eq!(box_of(&back_in(15.0)), "watch");
    assert!(headline(&back_in(14.0)).starts_with("All right: T1 waits"), "{}", headline(&back_in(14.0)));
    assert!(headline(&back_in(15.0)).starts_with("Soon over: T1 waits"), "{}", headline(&back_in(15.0)));
    assert!(render_now(&back_in(15.0)).contains("about 23:15, after its limit"));
}

#[test]
fn without_a_job_file_no_end_is_told_and_the_reason_is() {
    for (ahead, why) in [
        (Ahead::NoFile, "no job file of this print was read"),
        (Ahead::ForeignFile, "the job file that was read is not this print's"),
        (Ahead::NoPlace, "the host does not tell how far it is in the job file"),
        (Ahead::Paused, "the print is paused, and when it goes on is not known"),
        (Ahead::NoPrint, "nothing prints"),
        (Ahead::Silent, "Nothing is expected without a newer reading"),
    ] {
        let mut view = calm();
        view.printers.first_mut().unwrap().ahead = ahead;
        let page = render_now(&view).replace("&#39;", "'");
        assert!(page.contains(why), "{why}");
        assert!(!page.contains("Expected end about"), "{why}");
    }
}

fn waits(change: impl Fn(&mut ToolNowView)) -> String {
    let mut one = tool(1, waiting(), 22.8);
    change(&mut one);
    render_now(&now(vec![printer(in_contact(), vec![one])], Vec::new()))
}

#[test]
fn a_waiting_tool_tells_its_limit_by_the_clock_its_standby_against_what_it_reads_and_its_time_to_reheat() {
    let time = Estimate { value: 29.0, low: 22.0, high: 36.0, n: 14 };
    let to = Celsius::new(235.0);
    let page = waits(|tool| {
        tool.standby = Some(Setting::JobFile { value: Celsius::new(175.0), typed: None });
        tool.reheat = Some(Reheat::Takes { to, time });
    });
    for words in [
        "limit at 23:14 if it goes on waiting like this, in 14 min",
        "standby 175 °C by the job file: it is 41 K hotter",
        "reheats to 235 °C in 29 s (22 to 36)",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    assert!(waits(|tool| tool.reheat = Some(Reheat::NotLearned)).contains("its heater is not learned yet"));
    assert!(waits(|tool| tool.reheat = Some(Reheat::NoTarget)).contains("its printing temperature is not told"));
    assert!(!waits(|_| ()).contains("reheat"), "nothing is said of what nobody asked");
}

#[test]
fn contact_is_told_by_its_share_and_gaps_and_never_rounded_up_to_all() {
    let mut view = calm();
    let heard = view.printers.first_mut().unwrap().heard.as_mut().unwrap();
    heard.contact = Seconds::new(7199.0);
    heard.longest = Seconds::new(1.0);
    let page = render_now(&view);
    assert!(page.contains("heard 99.9 % of the last 2 h 0 min, 1 gap of 1 s; newest reading under 10 s old"), "{page}");
    view.printers.first_mut().unwrap().heard.as_mut().unwrap().age = Seconds::minutes(3.0);
    assert!(render_now(&view).contains("newest reading 3 min old"));
}

/// Puts pieces into a page as the script does.
fn put(page: &mut String, piece: &LivePiece) {
    let held = format!(" id=\"{}\"", piece.id);
    let at = page.find(&held).unwrap_or_else(|| unreachable!("no element {}", piece.id));
    let rest = page.get(at..).unwrap();
    let (end, child) = (at + rest.find('>').unwrap() + 1, rest.split_once("data-child=\"").map(|(_, child)| child));
    let inside = match &piece.inside {
        Inside::Html(html) => html.clone(),
        Inside::Elements(ids) => {
            let (tag, _) = child.unwrap().split_once('"').unwrap();
            let (tag, class) =
                tag.split_once(' ').map_or((tag, String::new()), |(tag, class)| (tag, format!(" class=\"{class}\"")));
            let element = |id: &String| format!("<{tag}{class} id=\"{id}\"></{tag}>");
            ids.iter().map(element).collect::<Vec<_>>().concat()
        }
    };
    page.insert_str(end, &inside);
}

#[test]
fn pieces_put_into_one_another_are_the_whole_page() {
    let mut over = back_in(10.0);
    over.alarms =
        vec![crate::sample::alarm(None), crate::sample::silent_alarm(), crate::sample::alarm(Some(at(-30.0)))];
    over.alarms.iter_mut().zip(1..).for_each(|(alarm, id)| alarm.id = Some(id));
    for view in [calm(), over, now(Vec::new(), Vec::new())] {
        let page = render_now(&view);
        let whole = page.split_once("data-made=\"17-4\">").unwrap().1.split_once("</div></main>").unwrap().0;
        let mut put_together = "<div id=\"now\">".to_owned();
        for piece in now_pieces(&view) {
            put(&mut put_together, &piece);
        }
        assert_eq!(put_together, format!("<div id=\"now\">{whole}"));
    }
}

#[test]
fn five_seconds_later_what_differs_is_less_than_an_update_may_carry() {
    let before = back_in(10.0);
    let mut after = before.clone();
    let later = |at| at + Seconds::new(5.0);
    after.at = after.at.map(later);
    let printer = after.printers.first_mut().unwrap();
    if let Contact::In { newest, .. } = &mut printer.contact {
        *newest = later(*newest);
    }
    for tool in &mut printer.tools {
        tool.actual = tool.actual.map(|actual| Celsius::new(actual.get() + 0.3));
        tool.history.last_mut().unwrap().to = later(at(0.0));
        if let DoingNow::Waiting { idle, .. } = &mut tool.doing {
            *idle += Seconds::new(5.0);
        }
    }
    let held = now_pieces(&before);
    let differs: Vec<_> = now_pieces(&after).into_iter().filter(|piece| !held.contains(piece)).collect();
    let text = |piece: &LivePiece| match &piece.inside {
        Inside::Html(html) => piece.id.len() + html.len(),
        Inside::Elements(ids) => piece.id.len() + ids.iter().map(String::len).sum::<usize>(),
    };
    let bytes: usize = differs.iter().map(text).sum();
    assert!(!differs.is_empty() && bytes < 2000, "{bytes}: {differs:?}");
    assert!(differs.iter().all(|piece| piece.holds == 0), "nothing is drawn anew as a whole");
}

#[test]
fn twenty_printers_are_under_a_hundred_kilobytes_and_all_are_there() {
    let one = |nth: usize| {
        let mut one = back_in(10.0).printers.remove(0);
        one.name = format!("bench {nth}");
        one
    };
    let page = render_now(&now((0..20).map(one).collect(), Vec::new()));
    assert!(page.len() < 100_000, "{}", page.len());
    assert_eq!(page.matches("class=\"strip\"").count(), 40);
}

#[test]
fn no_piece_has_what_would_end_a_line_of_an_event() {
    let mut view = calm();
    view.printers.first_mut().unwrap().job.as_mut().unwrap().name = Some(format!("{HOSTILE}\r\nevent: set"));
    for piece in now_pieces(&view) {
        if let Inside::Html(html) = piece.inside {
            assert!(!html.contains('\r') && !html.contains("<script>alert"), "{html}");
        }
    }
}
