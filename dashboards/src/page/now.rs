//! The *Now* page: in words first, then a heat lane a tool.

use super::calls::{alarm_now, others, quiet_lines, sorted};
use super::verdict::{Tone, Verdict, verdict};
use super::{Page, Place, shell};
use crate::chart::{Axis, Lane, budget, lane, lane_key};
use crate::format;
use crate::view::{
    Contact, DoingNow, HostClock, LaneKind, LanePiece, NowView, PrinterNow, Refused, ToolNowView, Unwritten,
};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use maud::{Markup, html};

/// How far back a lane looks.
const LOOK_BACK: Seconds = Seconds::minutes(120.0);

/// The whole page.
#[must_use]
pub fn render_now(view: &NowView) -> String {
    let body = html! {
        h1 class="unseen" { "Now" }
        // The script shows this when the daemon no longer answers: an old page must not pass for a current one.
        p id="stale" class="stale" role="status" hidden {
            "This page has lost dwellwatch itself. What stands below is old."
        }
        div id="now" { (fragment(view)) }
    };
    shell(&Page { title: &title(view), place: Place::Now, frame: Some(&view.frame), body })
}

/// What the live script puts into `#now`.
#[must_use]
pub fn render_now_fragment(view: &NowView) -> String {
    fragment(view).into_string()
}

/// The worst headline, so that a browser's tab tells it too.
fn title(view: &NowView) -> String {
    let worst = view.printers.iter().map(|printer| verdict(printer, view)).max_by_key(|verdict| verdict.tone);
    worst.map_or_else(|| "Now".to_owned(), |verdict| verdict.headline)
}

fn fragment(view: &NowView) -> Markup {
    // What calls somebody now stands before the tools; what is known, of little haste or gone comes after them.
    let [urgent, known, gone] = sorted(view);
    let many = view.printers.len() > 1;
    html! {
        @if let Some(unwritten) = &view.unwritten { (not_written(unwritten, view)) }
        section class="verdicts" aria-label="In words" data-revision=(view.revision) {
            @if view.printers.is_empty() { p class="lead" { "No printer is configured, so nothing is watched." } }
            @for printer in &view.printers { (verdict_box(printer, &verdict(printer, view), many)) }
            @if let Some(at) = view.at { p class="quiet as-of" { "As of " (format::moment(at, &view.frame.zone)) } }
        }
        @if let Some(at) = view.at {
            @for urgent in urgent { (alarm_now(urgent, at, view)) }
            (quiet_lines(view, at))
        }
        @for (printer, idx) in view.printers.iter().zip(0..) { (printer_now(printer, idx, view)) }
        @if !view.printers.is_empty() { (lane_key()) }
        @if let Some(at) = view.at {
            (others("Other alarms", &known, at, view))
            (others("Alarms gone", &gone, at, view))
        }
    }
}

/// The record is not written: what that means, and for how long it goes well.
fn not_written(unwritten: &Unwritten, view: &NowView) -> Markup {
    let near = |at| format::clock_near(at, view.at.unwrap_or(at), &view.frame.zone);
    let since = unwritten.since.map_or_else(String::new, |since| format!(" since {}", near(since)));
    let (n_steps, n_events, n_alarms) = (unwritten.n_steps, unwritten.n_events, unwritten.n_alarms);
    let dropped = unwritten.readings_dropped + unwritten.events_dropped > 0;
    html! {
        section class="unwritten" aria-label="The record" {
            span class="sign" aria-hidden="true" { "◇" }
            div {
                p class="headline" { "The record has not been written" (since) ": " (unwritten.cause) "." }
                p {
                    "dwellwatch goes on watching and alarming. "
                    "What " (format::counted(n_steps, "poll")) " told waits in memory, with events in " (n_events) " of them and "
                    (format::counted(n_alarms, "alarm")) "; it is lost if dwellwatch stops or the power fails."
                }
                p {
                    @if dropped {
                        "The memory is full: " (format::counted(unwritten.readings_dropped, "plain reading")) " and "
                        (format::counted(unwritten.events_dropped, "poll")) " with events have been dropped."
                    } @else if let Some(until) = unwritten.lasts_until {
                        "The memory lasts until about " (near(until)) "; then the oldest readings are dropped first."
                    } @else {
                        "How long the memory lasts can't be told yet."
                    }
                    " The tools' bands end where the record does."
                }
                p { strong { "Do: " } "Make room on its disk, or put right what the cause names, and leave dwellwatch running." }
            }
        }
    }
}

fn verdict_box(printer: &PrinterNow, verdict: &Verdict, many: bool) -> Markup {
    let (class, sign) = match verdict.tone {
        Tone::Calm => ("calm", "●"),
        Tone::Watch => ("watch", "◆"),
        Tone::Unknown => ("unknown", "?"),
        Tone::Over => ("over", "▲"),
    };
    html! {
        div class={ "verdict " (class) } {
            span class="sign" aria-hidden="true" { (sign) }
            div {
                @if many { p class="whose" { (printer.name) } }
                p class="headline" { (verdict.headline) }
                @for sentence in &verdict.rest { p { (sentence) } }
            }
        }
    }
}

fn printer_now(printer: &PrinterNow, idx: usize, view: &NowView) -> Markup {
    html! {
        section class="printer" aria-labelledby={ "printer-" (idx) } {
            h2 id={ "printer-" (idx) } { (printer.name) }
            p class="facts" {
                span { (format::word(printer.hot_end)) " hot end" (if printer.hot_end == "separate" { "s" } else { "" }) }
                span { (contact(printer, view)) }
                span { (job(printer, view)) }
                @if let Some(clock) = printer.host_clock { span { (host_clock(clock)) } }
                @if !printer.refused.is_empty() { span { (refused(&printer.refused)) } }
            }
            @for tool in &printer.tools { (tool_now(tool, printer, idx, view)) }
        }
    }
}

/// Readings left out, by reason.
pub(crate) fn refused(counts: &[Refused]) -> String {
    let parts: Vec<_> =
        counts.iter().map(|refused| format!("{} {}", refused.n, format::word(refused.reason))).collect();
    format!("readings left out: {}", parts.join(", "))
}

fn contact(printer: &PrinterNow, view: &NowView) -> String {
    let near = |at| format::clock_near(at, view.at.unwrap_or(at), &view.frame.zone);
    match &printer.contact {
        Contact::In { since, .. } => format!("in contact since {}", near(*since)),
        Contact::Silent { since } => format!("silent since {}", near(*since)),
        Contact::Never => "never in contact".to_owned(),
    }
}

/// The host's clock against ours, to no more digits than it is known to.
pub(crate) fn host_clock(clock: HostClock) -> String {
    // Nothing is known to less than the tenth that is shown.
    let (ahead, within) = (clock.ahead, Seconds::new(clock.within.get().max(0.1)));
    if ahead.get().abs() <= within.get() {
        return format!("host's clock right to ±{}, by its Date header", format::seconds_fine(within));
    }
    let way = if ahead > Seconds::ZERO { "ahead" } else { "behind" };
    let far = format::seconds_fine(Seconds::new(ahead.get().abs()));
    format!("host's clock {far} {way} (±{}), by its Date header", format::seconds_fine(within))
}

fn job(printer: &PrinterNow, view: &NowView) -> String {
    let Some(job) = &printer.job else { return "job not told".to_owned() };
    let near = |at| format::clock_near(at, view.at.unwrap_or(at), &view.frame.zone);
    let was = if matches!(printer.contact, Contact::In { .. }) { "job" } else { "job at the last" };
    let state = if job.state == "none" { "no job" } else { job.state };
    [
        Some(format!("{was}: {}", format::word(state))),
        job.name.clone(),
        job.fraction.map(format::percent),
        job.started.map(|at| format!("began {}", near(at))),
    ]
    .into_iter()
    .flatten()
    .collect::<Vec<_>>()
    .join(", ")
}

fn tool_now(tool: &ToolNowView, printer: &PrinterNow, idx: usize, view: &NowView) -> Markup {
    let name = format::tool(tool.number);
    let current = matches!(printer.contact, Contact::In { .. });
    html! {
        article class="tool" {
            h3 {
                (name) " " span class="material" { (tool.material.as_deref().unwrap_or("material not told")) }
            }
            p class="doing" {
                @if !current { "Last known: " }
                (doing(tool, printer, view))
            }
            p class="heat" {
                span { "read " strong { (format::celsius(tool.actual)) } }
                span { "set " (set_point(tool)) }
            }
            @if let Some((from, to)) = window(printer, view) {
                (lane(&Lane {
                    id: format!("lane-{idx}-{}", tool.number),
                    name: format!("{name}, the last two hours"),
                    pieces: &history(tool, &printer.contact, to),
                    from,
                    to,
                    axis: Axis::Clock(&view.frame.zone),
                }))
            }
            (budget(tool.dose, tool.limit))
            p class="budget-words" {
                span {
                    strong { (format::share(tool.dose, tool.limit)) } " of the residence budget: "
                    (format::dose_bare(tool.dose)) " of " (format::dose(tool.limit))
                }
                @if current { span { (time_left(tool)) } } @else { span { "as of the last reading" } }
            }
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

/// The lane's window: it ends at the view's instant, so that a silent host shows as a gap that grows.
fn window(printer: &PrinterNow, view: &NowView) -> Option<(Timestamp, Timestamp)> {
    let newest = match printer.contact {
        Contact::In { newest, .. } => Some(newest),
        Contact::Silent { since } => view.at.max(Some(since)),
        Contact::Never => None,
    }?;
    Some((newest - LOOK_BACK, newest))
}

/// The tool's last two hours. Past a silent host's last reading nothing is known, whatever the pieces say.
fn history(tool: &ToolNowView, contact: &Contact, to: Timestamp) -> Vec<LanePiece> {
    let silence = match contact {
        Contact::Silent { since } => Some(LanePiece { from: *since, to, kind: LaneKind::Gap, mean: None }),
        Contact::In { .. } | Contact::Never => None,
    };
    tool.history.iter().copied().chain(silence).collect()
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

fn time_left(tool: &ToolNowView) -> String {
    match (tool.doing, tool.time_left) {
        (DoingNow::Waiting { .. }, _) if tool.dose >= tool.limit => "limit passed".to_owned(),
        (DoingNow::Waiting { .. }, Some(left)) => format!("{} left to the limit", format::duration(left)),
        (DoingNow::Waiting { .. }, None) if tool.actual.is_none() => {
            "time left not known without a temperature".to_owned()
        }
        (DoingNow::Waiting { .. }, None) => "the limit is never reached at this temperature".to_owned(),
        (DoingNow::Working { .. }, _) => "fresh melt flushes it".to_owned(),
        (DoingNow::Cold, _) => "not heated".to_owned(),
        (DoingNow::Unknown, _) => "time left not known".to_owned(),
    }
}
