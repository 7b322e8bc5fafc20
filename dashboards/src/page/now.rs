//! The *Now* page: in words first, then a heat lane a tool. Owns what stands where, and which parts are put anew by
//! themselves while the page is open.

mod printer;
mod tool;

pub(crate) use printer::{host_clock, refused, refused_counts};

use super::calls::{alarm_list, others, quiet_lines, sorted};
use super::outcome::silent_line;
use super::verdict::{Tone, Verdict, verdict};
use super::{Live, LivePiece, Page, Place, shell};
use crate::chart::{lane_key, next_key};
use crate::format;
use crate::view::{NowView, PrinterNow, Unwritten};
use maud::{Markup, html};
use tool::tool_now;

/// With more tools than this each lane has less detail, so that the page stays small.
const TOOLS_WHOLE: usize = 8;

/// The whole page.
#[must_use]
pub fn render_now(view: &NowView) -> String {
    let body = html! {
        h1 class="unseen" { "Now" }
        // The script shows this when the daemon no longer answers: an old page must not pass for a current one.
        p id="stale" class="stale" role="status" hidden {
            "This page has lost dwellwatch itself. What stands below is old."
        }
        div id="now" data-made=(view.made) { (fragment(view, &Live::whole())) }
    };
    shell(&Page { title: &title(view), place: Place::Now, frame: Some(&view.frame), body })
}

/// The parts of the page that the live script puts anew, each after the one that holds its element.
#[must_use]
pub fn now_pieces(view: &NowView) -> Vec<LivePiece> {
    Live::pieces(|live| drop(live.hole("now", || fragment(view, live))))
}

/// The worst headline, so that a browser's tab tells it too.
fn title(view: &NowView) -> String {
    let worst = view.printers.iter().map(|printer| verdict(printer, view)).max_by_key(|verdict| verdict.tone);
    worst.map_or_else(|| "Now".to_owned(), |verdict| verdict.headline)
}

fn fragment(view: &NowView, live: &Live) -> Markup {
    // What calls somebody now stands before the tools; what is known, of little haste or gone comes after them.
    let [urgent, known, gone] = sorted(view);
    let n_tools: usize = view.printers.iter().map(|printer| printer.tools.len()).sum();
    html! {
        div id="now-record" {
            (live.hole("now-record", || html! { @if let Some(unwritten) = &view.unwritten { (not_written(unwritten, view)) } }))
        }
        section class="verdicts" aria-label="In words" {
            div id="now-words" { (live.hole("now-words", || words(view, n_tools > TOOLS_WHOLE))) }
            p id="now-as-of" class="quiet as-of" { (live.hole("now-as-of", || as_of(view))) }
        }
        div id="now-urgent" data-child="div" {
            @if let Some(at) = view.at { (alarm_list("now-urgent", &urgent, at, view, live)) }
        }
        div id="now-quiet" {
            (live.hole("now-quiet", || html! { @if let Some(at) = view.at { (quiet_lines(view, at)) } }))
        }
        div class={ "printers" @if n_tools > TOOLS_WHOLE { " many" } } {
            @for (printer, idx) in view.printers.iter().zip(0..) { (printer_now(printer, idx, view, (live, n_tools > TOOLS_WHOLE))) }
        }
        @if !view.printers.is_empty() { (lane_key()) (next_key()) }
        div id="now-silent" { (live.hole("now-silent", || silent_line(view.n_silent))) }
        @if let Some(at) = view.at {
            div id="now-known" { (live.hole("now-known", || others(("Other alarms", "known"), &known, at, view, live))) }
            div id="now-gone" { (live.hole("now-gone", || others(("Alarms gone", "gone"), &gone, at, view, live))) }
        }
    }
}

/// Each printer in words; of many the worst first, and of those that are calm the headline alone.
fn words(view: &NowView, is_crowd: bool) -> Markup {
    let many = view.printers.len() > 1;
    let mut said: Vec<_> = view.printers.iter().map(|printer| (printer, verdict(printer, view))).collect();
    if is_crowd {
        said.sort_by_key(|(_, verdict)| std::cmp::Reverse(verdict.tone));
        said.iter_mut().filter(|(_, said)| said.tone == Tone::Calm).for_each(|(_, said)| said.rest.clear());
    }
    html! {
        @if view.printers.is_empty() { p class="lead" { "No printer is configured, so nothing is watched." } }
        @for (printer, verdict) in &said { (verdict_box(printer, verdict, many)) }
    }
}

fn as_of(view: &NowView) -> Markup {
    html! { @if let Some(at) = view.at { "As of " (format::moment(at, &view.frame.zone)) } }
}

fn printer_now(printer: &PrinterNow, idx: usize, view: &NowView, how: (&Live, bool)) -> Markup {
    let (progress, facts) = (format!("print-{idx}"), format!("facts-{idx}"));
    let live = how.0;
    html! {
        section class="printer" aria-labelledby={ "printer-" (idx) } {
            h2 id={ "printer-" (idx) } { (printer.name) }
            div id=(progress) class="progress" { (live.hole(&progress, || printer::progress(printer, view, how.1))) }
            p id=(facts) class="facts" { (live.hole(&facts, || printer::facts(printer, view, how.1))) }
            @for tool in &printer.tools { (tool_now(tool, (printer, idx), view, how)) }
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
