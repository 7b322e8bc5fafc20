//! The lanes of a print and the ways nearer and further: each is a link, so that it works without scripts.

use crate::chart::{Named, PrintLanes, ToolLane, lane_key, print_lanes};
use crate::format;
use crate::view::{PrintView, SpanRow};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use maud::{Markup, html};

/// The nearest that can be gone: what lies between two polls tells nothing.
pub(super) const SHOWN_MIN: Seconds = Seconds::new(60.0);
/// Waits that are named: what a person reads at a glance.
const NAMED: usize = 3;

pub(super) fn lanes(view: &PrintView) -> Markup {
    let (from, to) = view.shown;
    let tools: Vec<ToolLane<'_>> =
        view.tools.iter().map(|tool| ToolLane { name: format::tool(tool.number), pieces: &tool.lane }).collect();
    let worst = worst(view);
    let changes: Vec<Timestamp> = view.changes.iter().map(|change| change.at).collect();
    let named: Vec<Named> = worst.iter().enumerate().map(|(nth, span)| named(nth, span, view)).collect();
    let name = if is_whole(view) { "Each tool over the whole print" } else { "Each tool over a part of the print" };
    html! {
        (lane_key())
        (ways(view))
        (print_lanes(&PrintLanes {
            name: name.to_owned(),
            lanes: &tools,
            changes: &changes,
            worst: &named,
            from,
            to,
            zone: &view.frame.zone,
        }))
        @if !worst.is_empty() {
            h3 { "Worst waits" }
            ol class="worst-waits" { @for span in worst { li { (worst_wait(span, view)) } } }
        }
    }
}

fn is_whole(view: &PrintView) -> bool {
    view.shown == (view.print.started, view.until)
}

fn named(nth: usize, span: &SpanRow, view: &PrintView) -> Named {
    let lane = view.tools.iter().position(|tool| tool.number == span.tool).unwrap_or(usize::MAX);
    Named { lane, from: span.began, to: span.ended.unwrap_or(view.until), label: (nth + 1).to_string() }
}

/// The waits with the largest share of their limits.
fn worst(view: &PrintView) -> Vec<&SpanRow> {
    let share = |span: &SpanRow| span.dose.map(|dose| dose.get() / span.limit.get());
    let mut told: Vec<&SpanRow> =
        view.spans.iter().filter(|span| share(span).is_some_and(|share| share > 0.0)).collect();
    told.sort_by(|a, b| share(b).unwrap_or(0.0).total_cmp(&share(a).unwrap_or(0.0)));
    told.truncate(NAMED);
    told
}

fn worst_wait(span: &SpanRow, view: &PrintView) -> Markup {
    let ended = span.ended.unwrap_or(view.until);
    // As much before and after as the wait itself is long.
    let around = (span.began - (ended - span.began), ended + (ended - span.began));
    let heat = span.mean.map_or_else(String::new, |mean| format!(" at {}", format::celsius_whole(mean)));
    let share =
        span.dose.map_or_else(String::new, |dose| format!(", {} of its limit", format::share(dose, span.limit)));
    let began = format::clock(span.began, &view.frame.zone);
    let tool = format::tool(span.tool);
    html! {
        (tool) " waited " (format::duration(span.idle)) (heat) " from " (began) (share) ". "
        a href=(address(view, around)) { "Show it" span class="unseen" { ": wait of " (tool) " from " (began) } }
    }
}

/// The links that go nearer, further, earlier and later.
fn ways(view: &PrintView) -> Markup {
    let (from, to) = view.shown;
    let zone = &view.frame.zone;
    let length = to - from;
    let quarter = Seconds::new(length.get() / 4.0);
    let half = Seconds::new(length.get() / 2.0);
    let is_near = length.get() / 2.0 < SHOWN_MIN.get();
    html! {
        nav class="ways" aria-label="Part of the print that is shown" {
            @if !is_whole(view) { a class="button" href={ "/prints/" (view.print.id) "#heat" } { "Whole print" } }
            @if !is_near { a class="button" href=(address(view, (from + quarter, to - quarter))) { "Zoom in" } }
            @if !is_whole(view) { a class="button" href=(address(view, (from - half, to + half))) { "Zoom out" } }
            @if from > view.print.started { a class="button" href=(address(view, moved(view, Seconds::ZERO - half))) { "Earlier" } }
            @if to < view.until { a class="button" href=(address(view, moved(view, half))) { "Later" } }
        }
        p class="quiet" {
            "Shown: " (format::moment(from, zone)) " to " (format::moment(to, zone)) ", " (format::duration(length)) "."
        }
    }
}

/// The part that is shown, so much later, as far as the print goes.
fn moved(view: &PrintView, by: Seconds) -> (Timestamp, Timestamp) {
    let (from, to) = view.shown;
    let by = by.get().clamp((view.print.started - from).get(), (view.until - to).get());
    (from + Seconds::new(by), to + Seconds::new(by))
}

/// The page's address with a part of the print, cut to it and no shorter than can be shown.
fn address(view: &PrintView, (from, to): (Timestamp, Timestamp)) -> String {
    let (started, until) = (view.print.started, view.until);
    let missing = Seconds::new(((SHOWN_MIN - (to - from)).get() / 2.0).max(0.0));
    let (from, to) = ((from - missing).max(started), (to + missing).min(until));
    if (from, to) == (started, until) {
        return format!("/prints/{}#heat", view.print.id);
    }
    format!("/prints/{}?from={}&to={}#heat", view.print.id, format::rfc3339(from), format::rfc3339(to))
}
