//! One failure mode's page: what is known, how sure, what it rests on. Owns the order, from what a person asks first to what
//! few will read.

use super::super::{Page, Place, being_worked_out, shell};
use super::charts::{answer, carriers, diagram, factors};
use super::{badge, named, tone, unplaced_words, worked_out};
use crate::learn::NO_CAUSE_YET;
use crate::learn::evidence::{found, score, score_short};
use crate::learn::head::silence;
use crate::learn::sentences::{never, often, settling, unweighed};
use crate::learn::trial::apart;
use crate::learn::words::{capital, glued, state};
use crate::view::{CausesTold, CausesView, ModeView};
use dwell_analysis::risk::State;
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// The page of the mode of that word; `None` if there is none.
#[must_use]
pub fn render_cause(view: &CausesView<'_>, mode: &str) -> Option<String> {
    let found = match &view.told {
        Some(told) => Some((told, told.learned.modes.iter().find(|of| of.mode == mode)?)),
        None => None,
    };
    let title = found.map_or_else(|| "Causes".to_owned(), |(_, mode)| format!("{}: Causes", named(mode)));
    let body = html! {
        @if let Some((told, mode)) = found { (one(told, mode, &view.frame.zone)) }
        @else { h1 { "Causes" } p class="lead" { (being_worked_out(None)) } }
    };
    Some(shell(&Page { title: &title, place: Place::Causes, frame: Some(&view.frame), body }))
}

fn one(told: &CausesTold<'_>, mode: &ModeView, zone: &TimeZone) -> Markup {
    html! {
        p class="back" { a href="/causes" { "All causes" } }
        @if let Some(words) = never(mode) {
            h1 { (named(mode)) }
            p class="lead" { (words) }
        } @else { (known(told, mode)) }
        (others(told, mode))
        (worked_out(told, zone))
    }
}

/// What is known of a mode that happened.
fn known(told: &CausesTold<'_>, mode: &ModeView) -> Markup {
    let learned = &mode.learned;
    html! {
        h1 { (named(mode)) " " (badge(learned.state)) }
        div class=(tone(learned.state)) {
            p { (glued(&often(mode))) }
            p { (state(learned.state)) }
            @if let Some(words) = unweighed(learned) { p { (words) } }
            @if let Some(words) = settling(learned, told.learned) { p { (words) } }
        }
        (unplaced_words(mode))
        (silence_of(told, mode))
        (carriers(learned))
        (inseparable(mode))
        @if let Some(response) = &mode.response { (answer(response, learned.state)) }
        (patterns(mode))
        (factors(learned))
        (forecasts(mode))
        @if learned.events > 0 { p { (NO_CAUSE_YET) } }
    }
}

/// The other reading of silence, where it would change this mode.
fn silence_of(told: &CausesTold<'_>, mode: &ModeView) -> Markup {
    let mut view = told.learned.silence.clone();
    view.readings.retain(|both| both.mode == mode.mode && both.differ());
    let differs = silence(&view).map(|(_, differing)| differing).unwrap_or_default();
    html! {
        @for differs in &differs {
            p { "It matters how silence is read, of which there are " (view.prints) " prints. " (glued(&capital(differs))) "." }
        }
    }
}

fn inseparable(mode: &ModeView) -> Markup {
    let pairs = mode.learned.inseparable.iter().zip(mode.trials.iter().chain(std::iter::repeat(&None)));
    html! {
        // What is no claim has nothing to be told apart.
        @if mode.learned.state != State::TooLittle && !mode.learned.inseparable.is_empty() {
            section aria-labelledby="apart" {
                h2 id="apart" { "What can't be told apart" }
                @for (pair, trial) in pairs { p { (glued(&apart(pair, trial.as_ref()))) } }
            }
        }
    }
}

fn patterns(mode: &ModeView) -> Markup {
    let found = mode.patterns.as_ref().ok().and_then(found);
    html! {
        @if let Some((head, leaves)) = found {
            section aria-labelledby="patterns" {
                h2 id="patterns" { "Patterns" }
                ul { @for leaf in &leaves { li { (glued(&capital(leaf))) "." } } }
                p class="quiet" { (glued(&head)) "." }
            }
        }
    }
}

/// How forecasts did that were made before each print.
fn forecasts(mode: &ModeView) -> Markup {
    let learned = &mode.learned;
    html! {
        @if let (Some(skill), Some(score)) = (&learned.skill, score(mode)) {
            section aria-labelledby="forecasts" {
                h2 id="forecasts" { "Forecasts made before each print" }
                @if learned.state == State::TooLittle { p { (score_short(skill)) } }
                (diagram(&learned.reliability))
                details {
                    summary { "The scores" }
                    p { (glued(&score)) }
                }
            }
        }
    }
}

/// The way to the other modes that happened.
fn others(told: &CausesTold<'_>, mode: &ModeView) -> Markup {
    let others = || told.learned.modes.iter().filter(|of| of.mode != mode.mode && super::is_known_of(of));
    html! {
        @if others().next().is_some() {
            nav class="others" aria-label="Other failure modes" {
                @for other in others() { a href={ "/causes/" (other.mode) } { (named(other)) } }
            }
        }
    }
}
