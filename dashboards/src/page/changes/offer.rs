//! One suggestion: what to change, what that does to each risk, what it costs, what it rests on, and how it would be tried.

use super::seen::risks as risks_drawn;
use super::{adopt, decline};
use crate::advice::{change, cost, is_maintenance, is_told, no_trial, refute, rests_on, touches_heat, trade_off};
use crate::format;
use crate::learn::words::chance;
use crate::trials::shows;
use crate::trials::words::design;
use crate::view::{ChangesPage, OfferView, PlannedView, RefusedOffer, SuggestionView};
use dwell_analysis::advice::{Basis, ModeEffect};
use maud::{Markup, html};

pub(super) fn card(number: usize, offer: &OfferView, page: &ChangesPage) -> Markup {
    let of = &offer.of;
    let head = format!("offer-{}", of.id);
    html! {
        article class="offer" aria-labelledby=(head) {
            h3 id=(head) { (number) ". " (change_of(of)) }
            p class="whose" { (format::whose(&of.printer, of.tool, of.material.as_deref())) }
            p class="facts" { (basis(of)) @if let Some(sure) = sure(of) { span { (sure) } } }
            @let reasons = html! { p { b { "Why: " } (rests_on(of)) " " (refute(of)) } };
            @if is_maintenance(of) { (reasons) } @else { (risks(of)) }
            p { b { "Cost: " } (cost(of)) }
            @if let Some(rises) = trade_off(of) { p { b { "Trade-off: " } (rises.trim_start_matches("A trade-off. ")) } }
            @if is_maintenance(of) { (risks(of)) } @else { (reasons) }
            (limits(of))
            @match &offer.planned {
                Ok(planned) => (ask(of, planned, page)),
                Err(refused) => (not_now(of, refused, page)),
            }
        }
    }
}

fn change_of(of: &SuggestionView) -> String {
    let tool = format::tool(of.tool);
    format!("{tool}: {}", change(of))
}

/// What it rests on, as a label.
fn basis(of: &SuggestionView) -> Markup {
    let (class, says) = match of.suggestion.basis {
        Basis::Learned => ("basis learned", "Learned from this record"),
        Basis::CommonPractice if is_maintenance(of) => ("basis practice", "Maintenance"),
        Basis::CommonPractice => ("basis practice", "Common practice"),
        Basis::Mixed if of.suggestion.rule.is_some() => {
            ("basis mixed", "Common practice, and the record leans this way")
        }
        Basis::Mixed => ("basis mixed", "The record leans this way"),
    };
    html! { span class=(class) { (says) } }
}

fn sure(of: &SuggestionView) -> Option<String> {
    if is_maintenance(of) {
        return Some("the record alone can't tell yet".to_owned());
    }
    let first = of.suggestion.first().map(|effect| effect.falls);
    let sure = of.suggestion.risk.map(|risk| risk.sure).or(first)?;
    // What practice asks for rests on practice, whatever the record can tell of it yet.
    let by = if of.suggestion.basis == Basis::CommonPractice { "by the record alone, too little yet, " } else { "" };
    Some(format!("{by}the risk falls with a probability of {}", chance(sure)))
}

/// The chance of each mode as it is and with the change.
fn risks(of: &SuggestionView) -> Markup {
    let suggestion = &of.suggestion;
    let told: Vec<&ModeEffect> =
        suggestion.effects.iter().filter(|effect| is_told(effect, &suggestion.meant)).collect();
    if told.is_empty() {
        let modes: Vec<String> = suggestion.meant.iter().map(|mode| format::word(mode.name())).collect();
        return html! { p { "Meant for: " (modes.join(", ")) ". What it does to them the record can't tell." } };
    }
    let all = suggestion.risk.as_ref().filter(|_| suggestion.meant.len() > 1);
    let falls = told.iter().map(|effect| {
        let way = if effect.rises() { " (it rises)" } else { "" };
        format!("{} {}{way}", format::word(effect.mode.name()), chance(effect.falls))
    });
    html! {
        (risks_drawn(&format!("offer-{}", of.id), &change_of(of), all.map(|risk| (&risk.now, &risk.after)), &told))
        p class="quiet" { "How sure each falls: " (falls.collect::<Vec<_>>().join(", ")) "." }
    }
}

/// What stands beside advice that changes heat.
fn limits(of: &SuggestionView) -> Markup {
    html! {
        @if touches_heat(&of.suggestion.change) {
            p class="quiet" {
                "It keeps within the limits of the material and of the parts as they were told. If yours stand less, theirs count."
            }
        }
    }
}

fn ask(of: &SuggestionView, planned: &PlannedView, page: &ChangesPage) -> Markup {
    html! {
        @if no_trial(of).is_none() {
            p { b { "As a trial: " } (design(&planned.plan)) ". " (shows(&planned.plan, planned.is_assumed)) }
        }
        div class="choices" {
            (adopt(&of.id, &of.suggestion.change, page, "Adopt"))
            (decline(&of.id, page, "Decline"))
        }
    }
}

fn not_now(of: &SuggestionView, refused: &RefusedOffer, page: &ChangesPage) -> Markup {
    html! {
        p class="not-now" {
            b { "Not now: " } (super::commands(&refused.why)) "."
            @if let Some(beside) = &refused.beside {
                " Let " a href={ "#trial-" (beside) } { "that trial" } " end, or give it up."
            }
        }
        div class="choices" { (decline(&of.id, page, "Decline")) }
    }
}
