//! The page *Changes*: what is worth a try, what is on trial, and what became of what was tried. Owns its order and its
//! forms; the words of a suggestion and of a trial are those that commands print.

mod offer;
mod seen;
mod trial;

use super::{Page, Place, being_worked_out, commands, notice, shell};
use crate::advice::{asked_of, reported, why_nothing};
use crate::format;
use crate::learn::words::{capital, counted};
use crate::trials::since_when;
use crate::trials::words::change;
use crate::view::{ChangesPage, ChangesView, ClosedView, TrialCard, TrialState};
use maud::{Markup, html};

/// Suggestions, open trials and verdicts that are shown; commands list all.
const OFFERS_MAX: usize = 6;
const OPEN_MAX: usize = 8;
const ENDED_MAX: usize = 8;
/// Of what is advised no more likewise.
const CLOSED_MAX: usize = 50;

/// The whole page.
#[must_use]
pub fn render_changes(page: &ChangesPage) -> String {
    let body = html! {
        h1 { "Changes" }
        @if let Some(said) = &page.notice { (notice(said)) }
        @match &page.worked {
            None => p class="lead" { (being_worked_out(None)) },
            Some(view) => (standing(view, page)),
        }
    };
    let title = page.worked.as_ref().map_or_else(|| "Changes".to_owned(), title);
    shell(&Page { title: &title, place: Place::Changes, frame: Some(&page.frame), body })
}

/// How many wait for a word, so that a browser's tab tells it too.
fn title(view: &ChangesView) -> String {
    match view.offers.iter().filter(|offer| offer.planned.is_ok()).count() {
        0 => "Changes".to_owned(),
        n => format!("{n} to decide: Changes"),
    }
}

fn standing(view: &ChangesView, page: &ChangesPage) -> Markup {
    let is_open = |card: &&TrialCard| matches!(card.trial.state, TrialState::Open { .. });
    let (open, ended): (Vec<_>, Vec<_>) = view.trials.iter().partition(is_open);
    html! {
        p class="lead" { (lead(view, open.len())) }
        @if let Some(as_of) = view.advice.as_of {
            p class="quiet" {
                "By the record as of " (format::moment(as_of, &page.frame.zone)) ": " (reported(&view.advice)) ". "
                "dwellwatch changes nothing by itself: what you adopt you set yourself, and it watches what comes of it."
            }
        }
        @if !open.is_empty() {
            section aria-labelledby="on-trial" {
                h2 id="on-trial" { "On trial" }
                @for (idx, card) in open.iter().take(OPEN_MAX).enumerate() { (trial::open(idx, card, page)) }
                @if open.len() > OPEN_MAX { (more(open.len() - OPEN_MAX, "`dwellwatch review`")) }
            }
        }
        section aria-labelledby="worth" {
            h2 id="worth" { "Worth a try" }
            @if view.offers.is_empty() { (nothing(view)) }
            @for (idx, offer) in view.offers.iter().take(OFFERS_MAX).enumerate() { (offer::card(idx + 1, offer, page)) }
            @if view.offers.len() > OFFERS_MAX { (more(view.offers.len() - OFFERS_MAX, "`dwellwatch advise`")) }
        }
        (verdicts(&ended, page))
        (closed(&view.review.closed, page))
    }
}

/// How many are left out, and which command lists them.
fn more(n: usize, command: &str) -> Markup {
    html! { p class="quiet" { "And " (n) " more: " (commands(command)) " lists all." } }
}

fn lead(view: &ChangesView, open: usize) -> String {
    let offers = match view.offers.len() {
        0 => "no further change is worth a try now".to_owned(),
        1 => "1 change is worth a try".to_owned(),
        n => format!("{n} changes are worth a try, best first"),
    };
    let trials = match open {
        0 => return format!("{}; nothing is on trial.", capital(&offers)),
        1 => "One change is on trial".to_owned(),
        n => format!("{n} changes are on trial"),
    };
    format!("{trials}; {offers}.")
}

/// Why there is no suggestion, and what was looked at all the same.
fn nothing(view: &ChangesView) -> Markup {
    let advice = &view.advice;
    html! {
        @if advice.suggestions.is_empty() {
            p { (why_nothing(advice)) }
        } @else {
            p { "All that is worth a change was taken up or turned down." }
        }
        @if advice.reported < advice.prints || advice.prints == 0 {
            p { "Say how prints came out, good ones too: each one's page under " a href="/prints" { "Prints" } " takes it." }
        }
        @if !advice.asked.is_empty() {
            h3 { "What was asked of" }
            ul { @for asked in &advice.asked { li { (asked_of(asked)) } } }
        }
    }
}

fn verdicts(ended: &[&TrialCard], page: &ChangesPage) -> Markup {
    html! {
        @if !ended.is_empty() {
            section aria-labelledby="verdicts" {
                h2 id="verdicts" { "Verdicts" }
                @for (idx, card) in ended.iter().take(ENDED_MAX).enumerate() { (trial::ended(idx, card, page)) }
                @if ended.len() > ENDED_MAX { (more(ended.len() - ENDED_MAX, "`dwellwatch review`")) }
            }
        }
    }
}

/// What was turned down or is not said any more: folded, since it asks nothing of anybody.
fn closed(closed: &[ClosedView], page: &ChangesPage) -> Markup {
    let mut newest: Vec<&ClosedView> = closed.iter().collect();
    newest.sort_by_key(|one| std::cmp::Reverse(one.since));
    html! {
        @if !newest.is_empty() {
            section aria-labelledby="no-more" {
                h2 id="no-more" { "Advised no more" }
                details id="closed" {
                    summary { (capital(&counted(newest.len(), "suggestion"))) " declined or withdrawn" }
                    ul class="no-more" {
                        @for one in newest.iter().take(CLOSED_MAX) { (no_more(one, page)) }
                    }
                    @if newest.len() > CLOSED_MAX { p class="quiet" { "Older ones: " (commands("`dwellwatch review`")) "." } }
                }
            }
        }
    }
}

fn no_more(one: &ClosedView, page: &ChangesPage) -> Markup {
    html! {
        li {
            p {
                b { (format::whose(&one.printer, one.tool, one.material.as_deref())) ": " (change(&one.change)) } ", "
                (since_when(one, &page.frame.zone)) "."
            }
            @if one.is_declined { (adopt(&one.id, &one.change, page, "Adopt it after all")) }
        }
    }
}

/// The button that takes a suggestion up, at the value that its page shows.
fn adopt(id: &str, of: &dwell_analysis::advice::Change, page: &ChangesPage, says: &str) -> Markup {
    html! {
        form method="post" action={ "/changes/" (id) "/adopt" } {
            input type="hidden" name="token" value=(page.token);
            input type="hidden" name="seen" value=(change(of));
            button class="adopt" type="submit" { (says) }
        }
    }
}

/// The form that turns a suggestion down, or gives its trial up.
fn decline(id: &str, page: &ChangesPage, says: &str) -> Markup {
    html! {
        details class="decline" {
            summary { (says) " …" }
            form method="post" action={ "/changes/" (id) "/decline" } {
                input type="hidden" name="token" value=(page.token);
                label class="note" { "Why (may be left out)" input name="why" maxlength="200" autocomplete="off"; }
                button type="submit" { (says) }
            }
        }
    }
}

/// What the button of a change says that it was seen to be, so that another value is not taken up unseen.
#[must_use]
pub fn seen_as(of: &dwell_analysis::advice::Change) -> String {
    change(of)
}
