//! One tool on *Now*: what it does, its heat, its lane, its residence budget and what comes next.

use crate::chart::{Strip, budget, strip, strip_table};
use crate::format;
use crate::page::Live;
use crate::page::verdict::again;
use crate::view::{Contact, DoingNow, LaneKind, LanePiece, NowView, PrinterNow, Reheat, Setting, ToolNowView};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;
use maud::{Markup, html};

/// How far apart standby and real temperature may be before it is said (common practice, no source).
const AT_STANDBY: f64 = 5.0;

/// A tool's card.
pub(super) fn tool_now(
    tool: &ToolNowView,
    (printer, idx): (&PrinterNow, usize),
    view: &NowView,
    (live, small): (&Live, bool),
) -> Markup {
    let name = format::tool(tool.number);
    let id = |part: &str| format!("{part}-{idx}-{}", tool.number);
    let (words, heat, used) = (id("tool"), id("heat"), id("used"));
    let lane = lane_end(printer, view).map(|to| (to, history(tool, &printer.contact, to)));
    let strip_of = |(to, history)| Strip {
        id: id("lane"),
        whose: id("name"),
        name: format!("{name} of {}: the last hours and the expected next", printer.name),
        history,
        next: &tool.next,
        now: to,
        zone: &view.frame.zone,
        small,
    };
    html! {
        article class="tool" aria-labelledby=(id("name")) {
            h3 id=(id("name")) {
                (name) " " span class="material" { (tool.material.as_deref().unwrap_or("material not told")) }
            }
            p id=(words) class="doing" { (live.hole(&words, || said(tool, printer, view))) }
            p id=(heat) class="heat" { (live.hole(&heat, || heat_of(tool, printer))) }
            @if let Some((to, history)) = &lane { (strip(&strip_of((*to, history)), live)) }
            div id=(used) { (live.hole(&used, || residence(tool, printer, view, small))) }
            @if let Some((to, history)) = lane.as_ref().filter(|_| !small) { (strip_table(&strip_of((*to, history)), live)) }
        }
    }
}

/// Where history ends: at the view's instant, so that a silent host shows as a gap that grows.
fn lane_end(printer: &PrinterNow, view: &NowView) -> Option<Timestamp> {
    match printer.contact {
        Contact::In { newest, .. } => Some(newest),
        Contact::Silent { since } => view.at.max(Some(since)),
        Contact::Never => None,
    }
}

/// The tool's last two hours. Past a silent host's last reading nothing is known, whatever the pieces say.
fn history(tool: &ToolNowView, contact: &Contact, to: Timestamp) -> Vec<LanePiece> {
    let silence = match contact {
        Contact::Silent { since } => Some(LanePiece { from: *since, to, kind: LaneKind::Gap, mean: None }),
        Contact::In { .. } | Contact::Never => None,
    };
    tool.history.iter().copied().chain(silence).collect()
}

fn said(tool: &ToolNowView, printer: &PrinterNow, view: &NowView) -> Markup {
    html! {
        @if !is_current(printer) { "Last known: " }
        (doing(tool, printer, view))
    }
}

fn heat_of(tool: &ToolNowView, printer: &PrinterNow) -> Markup {
    html! {
        span { "read " strong { (format::celsius(tool.actual)) } }
        span { "set " (set_point(tool)) }
        @if let Some(standby) = tool.standby { span { (standby_words(standby, tool)) } }
        @if let Some(reheat) = tool.reheat.filter(|_| is_current(printer)) { span { (reheat_words(reheat)) } }
    }
}

const fn is_current(printer: &PrinterNow) -> bool {
    matches!(printer.contact, Contact::In { .. })
}

fn residence(tool: &ToolNowView, printer: &PrinterNow, view: &NowView, small: bool) -> Markup {
    let is_at_work = matches!(tool.doing, DoingNow::Working { .. });
    html! {
        (budget(tool.dose, tool.limit))
        p class="budget-words" {
            span {
                strong { (format::share(tool.dose, tool.limit)) } " of the residence budget"
                @if !small { ": " (format::dose_bare(tool.dose)) " of " (format::dose(tool.limit)) }
            }
            @if is_current(printer) {
                span { (limit_words(tool, printer, view)) }
                @if let Some(works) = tool.works.filter(|_| !is_at_work) { span { (works_words(works, tool, printer, view)) } }
            } @else { span { "as of the last reading" } }
        }
    }
}

fn set_point(tool: &ToolNowView) -> String {
    match tool.target {
        Some(target) if target.get() <= 0.0 => "off".to_owned(),
        Some(target) => format::celsius(Some(target)),
        None => format::NOT_TOLD.to_owned(),
    }
}

fn doing(tool: &ToolNowView, printer: &PrinterNow, view: &NowView) -> String {
    let near = |at| format::clock_near(at, view.at.unwrap_or(at), &view.frame.zone);
    match tool.doing {
        DoingNow::Working { since } => format!("working since {}", near(since)),
        DoingNow::Waiting { context, since, idle } => {
            let place = if printer.hot_end == "shared" { " in the shared hot end" } else { "" };
            let (idle, why) = (format::duration(idle), format::context(context));
            format!("waiting hot{place} since {}, {idle} in contact, {why}", near(since))
        }
        DoingNow::Cold => "not heated".to_owned(),
        DoingNow::Unknown => "not known: the host tells too little".to_owned(),
    }
}

/// What it is to wait at, against what is read.
fn standby_words(standby: Setting<Celsius>, tool: &ToolNowView) -> String {
    let (value, from) = match standby {
        Setting::Typed(value) => (value, "typed in"),
        Setting::JobFile { value, .. } => (value, "by the job file"),
    };
    let waits = matches!(tool.doing, DoingNow::Waiting { .. });
    let off = tool.actual.filter(|_| waits).map(|actual| (actual - value).get());
    let off = match off {
        Some(off) if off > AT_STANDBY => format!(": it is {off:.0} K hotter"),
        Some(off) if off < -AT_STANDBY => format!(": it is {:.0} K cooler", -off),
        Some(_) => ": it is there".to_owned(),
        None => String::new(),
    };
    format!("standby {} {from}{off}", format::celsius_whole(value))
}

fn reheat_words(reheat: Reheat) -> String {
    match reheat {
        Reheat::Takes { to, time } => {
            let (to, takes) = (format::celsius_whole(to), format::seconds_between(&time));
            format!("reheats to {to} in {takes}")
        }
        Reheat::Hot { to } => format!("no reheating needed to {}", format::celsius_whole(to)),
        Reheat::NoTarget => "time to reheat not known: its printing temperature is not told".to_owned(),
        Reheat::NotLearned => "time to reheat not known: its heater is not learned yet".to_owned(),
        Reheat::Changed => "time to reheat not known: it got a part since its heater was learned".to_owned(),
        Reheat::OutOfReach { to } => format!("its heater, as learned, never gets to {}", format::celsius_whole(to)),
    }
}

/// When the limit is reached as it waits now, by the clock and from now on.
fn limit_words(tool: &ToolNowView, printer: &PrinterNow, view: &NowView) -> String {
    let newest = |left| newest_of(printer).map(|newest| (newest + left, newest));
    match (tool.doing, tool.time_left) {
        (DoingNow::Waiting { .. }, _) if tool.dose >= tool.limit => "limit passed".to_owned(),
        (DoingNow::Waiting { .. }, Some(left)) => newest(left).map_or_else(String::new, |(at, newest)| {
            let (clock, left) = (format::clock_ahead(at, newest, &view.frame.zone), format::duration(left));
            format!("limit at {clock} if it goes on waiting like this, in {left}")
        }),
        (DoingNow::Waiting { .. }, None) if tool.actual.is_none() => {
            "time left not known without a temperature".to_owned()
        }
        (DoingNow::Waiting { .. }, None) => "the limit is never reached at this temperature".to_owned(),
        (DoingNow::Working { .. }, _) => "fresh melt flushes it".to_owned(),
        (DoingNow::Cold, _) => "not heated".to_owned(),
        (DoingNow::Unknown, _) => "time left not known".to_owned(),
    }
}

const fn newest_of(printer: &PrinterNow) -> Option<Timestamp> {
    match printer.contact {
        Contact::In { newest, .. } => Some(newest),
        Contact::Silent { .. } | Contact::Never => None,
    }
}

fn works_words(works: Timestamp, tool: &ToolNowView, printer: &PrinterNow, view: &NowView) -> String {
    let newest = newest_of(printer).unwrap_or(works);
    format!("expected at work again {}", again(works, tool, newest, &view.frame.zone))
}
