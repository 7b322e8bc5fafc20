//! One trial: what the next print is to have, what was set print by print, and what it came to beside what was expected.

use super::{adopt, decline};
use crate::format;
use crate::learn::words::{capital, counted};
use crate::page::name;
use crate::trials::words::{arm, change, design, modes, whose};
use crate::trials::{ALL_MADE, by, departures, holds_other, meant, not_yet, says, shows, verdict_words, was};
use crate::view::{ChangesPage, TrialCard, TrialPrint, TrialState, TrialView};
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// Prints of a trial that are listed; commands list all.
const PRINTS_MAX: usize = 12;
/// Open trials with their charts and prints; the others' sentences say the same, and a page is to stay small.
const DRAWN_MAX: usize = 2;
/// Ended ones likewise.
const ENDED_DRAWN_MAX: usize = 1;
/// Prints without a word that are named.
const UNSAID_MAX: usize = 8;

pub(super) fn open(idx: usize, card: &TrialCard, page: &ChangesPage) -> Markup {
    let trial = &card.trial;
    let TrialState::Open { more, on, next } = &trial.state else { return html! {} };
    let zone = &page.frame.zone;
    html! {
        article class="trial" id={ "trial-" (trial.id) } aria-labelledby={ "head-" (trial.id) } {
            h3 id={ "head-" (trial.id) } { (capital(&change(&trial.change))) }
            p class="whose" { (whose(trial)) ", adopted " (format::moment(trial.adopted, zone)) }
            @if let Some(on) = on { p class="headline" { "The print that is on: " (arm(*on, &trial.change)) "." } }
            @if card.is_behind {
                p class="headline" { "Next print: a print has just ended and is being counted; this page says it in a moment." }
            } @else {
                p class="headline" {
                    "Next print: " (next.map_or_else(|| ALL_MADE.to_owned(), |next| arm(next, &trial.change))) "."
                }
            }
            @if let Some(held) = holds_other(trial, zone) { p { (held) } }
            (figures(&format!("trial-{}", trial.id), trial, idx < DRAWN_MAX))
            p { (not_yet(*more)) " " (unsaid(trial)) }
            p class="quiet" {
                (design(&trial.plan)) ", judged by " (modes(&trial.modes)) ". " (shows(&trial.plan, card.is_assumed))
            }
            @if idx < DRAWN_MAX { (prints(trial, zone)) }
            div class="choices" { (decline(&trial.id, page, "Give the trial up")) }
        }
    }
}

pub(super) fn ended(idx: usize, card: &TrialCard, page: &ChangesPage) -> Markup {
    let trial = &card.trial;
    let TrialState::Ended { at, verdict, why, .. } = &trial.state else { return html! {} };
    let zone = &page.frame.zone;
    let head = format!("ended-{idx}");
    html! {
        article class={ "trial ended " (verdict.replace('_', "-")) } aria-labelledby=(head) {
            h3 id=(head) { span class="sign" aria-hidden="true" { (sign(verdict)) } " " (capital(&change(&trial.change))) }
            p class="whose" { (whose(trial)) ", adopted " (format::moment(trial.adopted, zone)) }
            @for line in verdict_words(trial, *at, verdict, why, zone) { p { (line) } }
            (figures(&head, trial, idx < ENDED_DRAWN_MAX))
            @if idx < ENDED_DRAWN_MAX { (prints(trial, zone)) }
            @if card.may_return { (adopt(&trial.id, &trial.change, page, "Adopt it again")) }
        }
    }
}

const fn sign(verdict: &str) -> &'static str {
    match verdict.as_bytes() {
        b"helped" => "✓",
        b"harmed" => "✕",
        b"did_not_help" => "–",
        _ => "?",
    }
}

/// Expected against seen, and what parts it from chance.
fn figures(id: &str, trial: &TrialView, is_drawn: bool) -> Markup {
    html! {
        @if let Some(figures) = &trial.figures {
            p { (says(trial, figures)) }
            @if is_drawn {
                (super::seen::expected_against_seen(id, figures))
                (super::seen::ratio(id, figures))
            }
        }
        @if let Some(those) = departures(trial) { p { (those) } }
    }
}

/// Prints that nobody said a word of, each a way to say it.
fn unsaid(trial: &TrialView) -> Markup {
    let unsaid: Vec<&TrialPrint> = trial.prints.iter().filter(|print| print.failed.is_none()).collect();
    html! {
        @if !unsaid.is_empty() {
            "Nobody said how " (counted(unsaid.len(), "print")) " came out: "
            @for (idx, print) in unsaid.iter().rev().take(UNSAID_MAX).enumerate() {
                @if idx > 0 { ", " }
                a href={ "/prints/" (print.print) } { (name(print.name.as_deref())) " (" (print.nth) ")" }
            }
            @if unsaid.len() > UNSAID_MAX { " and older ones" }
            "."
        }
    }
}

fn prints(trial: &TrialView, zone: &TimeZone) -> Markup {
    let n = trial.prints.len();
    html! {
        @if n > 0 {
            details {
                summary { (capital(&counted(n, "print"))) " so far, one by one" }
                div class="scroll" tabindex="0" role="region" aria-label={ "Prints of the trial: " (change(&trial.change)) } {
                    table class="wide" {
                        thead { tr {
                            @for head in ["", "Print", "Began", "To be set", "Was set", "Known by", "Failed", "Expected"] {
                                @if head.is_empty() { td {} } @else { th scope="col" { (head) } }
                            }
                        } }
                        tbody { @for print in trial.prints.iter().rev().take(PRINTS_MAX) { (row(trial, print, zone)) } }
                    }
                }
                @if n > PRINTS_MAX { p class="quiet" { "The newest " (PRINTS_MAX) "; " (super::commands("`dwellwatch review`")) " lists all." } }
            }
        }
    }
}

fn row(trial: &TrialView, print: &TrialPrint, zone: &TimeZone) -> Markup {
    let failed = match print.failed {
        None => format::NOT_REPORTED.to_owned(),
        Some(false) => "no".to_owned(),
        Some(true) => print.failures.iter().map(|mode| format::word(mode)).collect::<Vec<_>>().join(", "),
    };
    html! {
        tr {
            td { (print.nth) }
            th scope="row" { a href={ "/prints/" (print.print) } { (name(print.name.as_deref())) } }
            td { (format::moment_short(print.started, zone)) }
            td { (print.drawn.map_or_else(|| format::NOT_TOLD.to_owned(), |arm| meant(trial, arm))) }
            td { (was(trial, &print.applied)) @if print.departs() { " (not as drawn)" } }
            td { (by(print.applied.by)) }
            td { (failed) }
            td { (print.expected.map_or_else(|| "not known".to_owned(), format::percent)) }
        }
    }
}
