//! One printer on *Now*: how its print goes, how well it is heard, and what is expected.

use crate::chart::bar;
use crate::format;
use crate::view::{Ahead, Contact, Heard, HostClock, JobNow, NowView, PacedEnd, PrinterNow, Refused};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use maud::{Markup, html};

/// A newest reading younger than this is not told by its age: polls come every few seconds.
const FRESH: Seconds = Seconds::new(10.0);

/// Progress and the expected end.
pub(super) fn progress(printer: &PrinterNow, view: &NowView, small: bool) -> Markup {
    let Some(job) = &printer.job else { return html! { p { "Job not told." } } };
    let runs = job.started.is_some();
    let fraction = job.fraction.filter(|_| runs);
    html! {
        @if let Some(fraction) = fraction { (bar(fraction)) }
        p class="job" {
            span { strong { (state(printer, job)) } }
            @if let Some(name) = &job.name { span class="name" { (name) } }
            @if let Some(fraction) = fraction { span { (format::percent(fraction)) " done, as the host tells it" } }
            @if let Some(started) = job.started {
                span { "began " (format::clock_near(started, view.at.unwrap_or(started), &view.frame.zone)) }
            }
        }
        p class="expected" { (expected(printer.ahead, view, small)) }
    }
}

fn state(printer: &PrinterNow, job: &JobNow) -> String {
    let was = if matches!(printer.contact, Contact::In { .. }) { "job" } else { "job at the last" };
    let state = if job.state == "none" { "no job" } else { job.state };
    format!("{was}: {}", format::word(state))
}

/// When the print is expected to end, or why that can't be said.
fn expected(ahead: Ahead, view: &NowView, small: bool) -> String {
    let holds = "The lanes show only what holds now as going on";
    match ahead {
        Ahead::JobFile { ends, pace } => {
            let clock = |at: Timestamp| format::clock_ahead(at, view.at.unwrap_or(at), &view.frame.zone);
            match pace {
                Some(PacedEnd { early, late, n }) if clock(early) == clock(late) => {
                    let prints = format::counted(u32::try_from(n).unwrap_or(u32::MAX), "print");
                    let whose = if small {
                        String::new()
                    } else {
                        format!(", by the job file at this printer's pace (from {prints})")
                    };
                    format!("Expected end about {}{whose}.", clock(ends))
                }
                Some(PacedEnd { early, late, .. }) if small => {
                    format!("Expected end about {} ({} to {}).", clock(ends), clock(early), clock(late))
                }
                Some(PacedEnd { early, late, n }) => format!(
                    "Expected end about {}, by the job file at this printer's pace (90 % interval of the pace: {} to {}, \
                     from {n} prints).",
                    clock(ends),
                    clock(early),
                    clock(late)
                ),
                None => format!(
                    "Expected end about {}, by the job file alone: this printer's pace is not learned yet.",
                    clock(ends)
                ),
            }
        }
        Ahead::NoPrint => format!("{holds}: nothing prints."),
        Ahead::Paused => format!("No expected end: the print is paused, and when it goes on is not known. {holds}."),
        Ahead::NoFile => format!("No expected end: no job file of this print was read. {holds}."),
        Ahead::ForeignFile => {
            format!("No expected end: the job file that was read is not this print's. {holds}.")
        }
        Ahead::NoPlace => {
            format!("No expected end: the host does not tell how far it is in the job file. {holds}.")
        }
        Ahead::Silent => "Nothing is expected without a newer reading.".to_owned(),
    }
}

/// What is said of the printer itself, in short phrases.
pub(super) fn facts(printer: &PrinterNow, view: &NowView, small: bool) -> Markup {
    html! {
        span { (contact(printer, view)) }
        @if let Some(heard) = &printer.heard { span { (heard_words(heard)) } }
        @if !small { span { (format::word(printer.hot_end)) " hot end" (if printer.hot_end == "separate" { "s" } else { "" }) } }
        @if let Some(clock) = printer.host_clock.filter(|_| !small) { span { (host_clock(clock)) } }
        @if !printer.refused.is_empty() && !small { span { (refused(&printer.refused)) } }
    }
}

/// Readings left out, by reason.
pub(crate) fn refused(counts: &[Refused]) -> String {
    format!("readings left out: {}", refused_counts(counts))
}

/// `4 out of order`.
pub(crate) fn refused_counts(counts: &[Refused]) -> String {
    let parts: Vec<_> =
        counts.iter().map(|refused| format!("{} {}", refused.n, format::word(refused.reason))).collect();
    parts.join(", ")
}

fn contact(printer: &PrinterNow, view: &NowView) -> String {
    let near = |at| format::clock_near(at, view.at.unwrap_or(at), &view.frame.zone);
    match &printer.contact {
        Contact::In { since, .. } => format!("in contact since {}", near(*since)),
        Contact::Silent { since } => format!("silent since {}", near(*since)),
        Contact::Never => "never in contact".to_owned(),
    }
}

/// How well it was heard: the share of the time, the gaps, and the newest reading's age.
fn heard_words(heard: &Heard) -> String {
    let age = if heard.age < FRESH {
        format!("newest reading under {} old", format::duration(FRESH))
    } else {
        format!("newest reading {} old", format::duration_coarse(heard.age))
    };
    if heard.over <= Seconds::ZERO {
        return age;
    }
    let share = format::share_of_time(heard.contact, heard.over);
    let gaps = match heard.gaps {
        0 => "no gap".to_owned(),
        1 => format!("1 gap of {}", format::duration(heard.longest)),
        n => format!("{n} gaps, the longest {}", format::duration(heard.longest)),
    };
    format!("heard {share} of the last {}, {gaps}; {age}", format::duration_coarse(heard.over))
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
