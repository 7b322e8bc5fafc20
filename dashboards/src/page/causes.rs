//! The pages of *Causes*: what the record says of each failure mode. Owns the overview, its order and what it leaves to a
//! mode's own page; the sentences are those of `learn`.

mod charts;
mod mode;

pub use mode::render_cause;

use super::{Page, Place, being_worked_out, commands, shell};
use crate::chart::{BarRow, Bars, Scale, bars, round_top};
use crate::format;
use crate::learn::head::{NO_PRINT, NO_READING, NOBODY_SAID, record, silence};
use crate::learn::sentences::{counts, likeliest, unplaced, unweighed};
use crate::learn::words::{capital, counted, glued, state, state_word};
use crate::learn::{HABITS, NEVER, NO_CAUSE_YET, never_reported, waiting};
use crate::view::{CausesTold, CausesView, LearnView, ModeView};
use dwell_analysis::risk::State;
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// The overview.
#[must_use]
pub fn render_causes(view: &CausesView<'_>) -> String {
    let body = html! {
        h1 { "Causes" }
        @match &view.told {
            Some(told) => (overview(told, &view.frame.zone)),
            None => p class="lead" { (being_worked_out(None)) },
        }
    };
    shell(&Page { title: "Causes", place: Place::Causes, frame: Some(&view.frame), body })
}

fn overview(told: &CausesTold<'_>, zone: &TimeZone) -> Markup {
    let view = told.learned;
    html! {
        @match view.as_of {
            None => p class="lead" { (NO_READING) },
            Some(_) if view.prints == 0 => p class="lead" { (capital(NO_PRINT)) },
            Some(at) => {
                p { "As of " (format::moment(at, zone)) ": " (record(view)) }
                @if view.reported == 0 { p class="lead" { (NOBODY_SAID) } }
                @else { (modes(view)) }
            }
        }
        (habits(view))
        (foot(told, zone))
    }
}

fn modes(view: &LearnView) -> Markup {
    let (mut happened, never): (Vec<&ModeView>, Vec<&ModeView>) = view.modes.iter().partition(|mode| is_known_of(mode));
    // What happened most comes first; of two that happened as often, the graver one.
    let [_, serious, grave] = [0, 1, 2].map(|severity| move |mode: &ModeView| mode.severities[severity]);
    happened.sort_by_key(|mode| std::cmp::Reverse((mode.learned.events, grave(mode), serious(mode))));
    html! {
        @if happened.is_empty() { p class="lead" { "No failure was reported yet." } }
        @else {
            section aria-labelledby="modes" {
                h2 id="modes" { "What happened, most often first" }
                ul class="causes" { @for mode in &happened { li class=(tone(mode.learned.state)) { (entry(mode)) } } }
                (rates(&happened))
            }
        }
        @if let Some((words, differing)) = silence(&view.silence) {
            section aria-labelledby="silence" {
                h2 id="silence" { "Prints that nobody spoke of" }
                p { (words) }
                @if !differing.is_empty() { ul { @for differs in &differing { li { (glued(&capital(differs))) } } } }
            }
        }
        @if let Some(words) = never_reported(&never) {
            section aria-labelledby="never" {
                h2 id="never" { (NEVER) }
                p { (words) }
            }
        }
    }
}

/// Whether anybody ever said that it happened.
const fn is_known_of(mode: &ModeView) -> bool {
    mode.learned.events > 0 || mode.unplaced > 0
}

/// A mode's name as a heading has it.
fn named(mode: &ModeView) -> String {
    capital(&format::word(mode.mode))
}

/// How a state looks.
const fn tone(state: State) -> &'static str {
    match state {
        State::Learned => "cause learned",
        State::Leaning => "cause leaning",
        State::TooLittle => "cause too-little",
    }
}

/// A state as a sign and its word.
fn badge(state: State) -> Markup {
    let sign = match state {
        State::Learned => "●",
        State::Leaning => "◐",
        State::TooLittle => "○",
    };
    html! { span class="state" { span aria-hidden="true" { (sign) } " " (state_word(state)) } }
}

fn entry(mode: &ModeView) -> Markup {
    let learned = &mode.learned;
    html! {
        h3 { a href={ "/causes/" (mode.mode) } { (named(mode)) } (badge(learned.state)) }
        p { (glued(&counts(learned))) "." }
        @if let Some(words) = likeliest(learned).or_else(|| unweighed(learned)) { p { (glued(&words)) } }
        @if mode.unplaced > 0 {
            p class="quiet" { "Of " (counted(mode.unplaced, "print")) " it was told without a tool that took part." }
        }
    }
}

/// How often each happened, as bars with their intervals.
fn rates(modes: &[&ModeView]) -> Markup {
    let row = |mode: &&ModeView| {
        let rate = mode.learned.rate.ok()?;
        let (low, high) = (Some(rate.low), Some(rate.high));
        let words = format!("{} of {}", mode.learned.events, mode.learned.n);
        Some(BarRow { name: named(mode), value: rate.value, low, high, words, class: "d-outcome" })
    };
    let rows: Vec<BarRow> = modes.iter().filter_map(row).collect();
    let top = round_top(rows.iter().filter_map(|row| row.high).fold(0.0, f64::max)).min(1.0);
    let name = "Share of tool-runs whose outcome is known".to_owned();
    html! {
        @if rows.len() > 1 {
            (bars(&Bars {
                id: "rates",
                name: "How often each happened",
                told: "A tool-run is one tool in one print.",
                scale: Scale { from: 0.0, to: top, name, show: format::percent, is_log: false },
                rows: &rows,
            }))
        }
    }
}

fn habits(view: &LearnView) -> Markup {
    html! {
        @if !view.habits.is_empty() {
            section aria-labelledby="habits" {
                h2 id="habits" { (HABITS) }
                ul { @for habit in &view.habits { li { (glued(&waiting(habit))) } } }
            }
        }
    }
}

fn foot(told: &CausesTold<'_>, zone: &TimeZone) -> Markup {
    let happened = told.learned.modes.iter().any(is_known_of);
    html! {
        @if happened {
            details {
                summary { "What the words mean" }
                ul { @for each in [State::Learned, State::Leaning, State::TooLittle] { li { (state(each)) } } }
            }
            p { (NO_CAUSE_YET) }
        }
        p { "Tell how prints came out, good ones too: each page of " a href="/prints" { "Prints" } " has buttons for it." }
        p { "How long parts may still last stands in " a href="/parts" { "Parts" } "." }
        (worked_out(told, zone))
    }
}

/// How old it is, and what is not yet in it.
fn worked_out(told: &CausesTold<'_>, zone: &TimeZone) -> Markup {
    let since = match told.words_since {
        0 if !told.is_behind => {
            return html! { p class="quiet" { "Worked out " (format::moment(told.made, zone)) "." } };
        }
        0 => "What was recorded since is not yet in it".to_owned(),
        1 => "1 word on a print that came since is not yet in it".to_owned(),
        n => format!("{n} words on prints that came since are not yet in it"),
    };
    html! {
        p class="quiet" {
            "Worked out " (format::moment(told.made, zone)) ". " (since) "; dwellwatch learns within minutes."
        }
    }
}

/// What a mode says that nobody placed, for its own page.
fn unplaced_words(mode: &ModeView) -> Markup {
    html! { @if let Some(words) = unplaced(mode) { p { (commands(&words)) } } }
}
