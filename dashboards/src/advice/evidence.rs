//! What a suggestion rests on and what would refute it, a sentence each. Owns which figures are named.

use super::words::{cases, filament, happened, range_mm, with_it};
use crate::format;
use crate::learn::words::{capital, counted};
use crate::view::SuggestionView;
use dwell_analysis::advice::{Basis, Change, Rule};
use dwell_analysis::units::Seconds;

/// The evidence: how often it happened, and what in its waits or settings speaks for the change.
pub(super) fn rests_on(of: &SuggestionView) -> String {
    let (tool, reason) = (format::tool(of.tool), reason(of));
    let history = history(of);
    match (of.suggestion.basis, reason) {
        (Basis::CommonPractice, Some(reason)) => {
            format!("Common practice, while the record says too little: {reason}; {history}.")
        }
        (Basis::CommonPractice, None) => format!("Common practice, while the record says too little; {history}."),
        (Basis::Mixed, Some(reason)) => {
            format!("Common practice, and a record of {tool} that leans this way: {reason}; {history}.")
        }
        (Basis::Mixed, None) => format!("The record leans this way, which may still be chance: {history}."),
        (Basis::Learned, Some(reason)) => format!("{}: {reason}.", capital(&history)),
        (Basis::Learned, None) => format!("{}.", capital(&history)),
    }
}

/// `it jammed in 14 of 120 reported prints of T1 with PLA`.
fn history(of: &SuggestionView) -> String {
    let Some(first) = of.suggestion.first() else { return "no failure is expected to move".to_owned() };
    let (tool, what) = (format::tool(of.tool), happened(first.mode));
    let with = of.material.as_deref().map_or_else(String::new, |material| format!(" with {material}"));
    let share = |events: usize, n: usize| {
        let events = if events == 0 { "none".to_owned() } else { events.to_string() };
        format!("{events} of {}", counted(n, "reported print"))
    };
    match (first.own_n, first.n) {
        (0, 0) => format!("how prints came out nobody has said yet, so no failure of {tool} is known"),
        (0, n) => {
            let runs = counted(n, "reported tool-run");
            format!("no print of {tool}{with} was reported, and of all {runs} {} ended so that {what}", first.events)
        }
        (n, _) => format!("{what} in {} of {tool}{with}", share(first.own_events, n)),
    }
}

/// What speaks for it in waits or settings; `None` where only how often it happened is known.
fn reason(of: &SuggestionView) -> Option<String> {
    let (tool, filament) = (format::tool(of.tool), filament(of));
    let Some(rule) = of.suggestion.rule else { return waits(of) };
    Some(match rule {
        Rule::WaitsAreLong { round_trip } => long_waits(of, round_trip),
        Rule::WaitsAreShort { round_trip } => short_waits(of, round_trip),
        Rule::StartsCold { deficit } => {
            format!("{tool} returned to work up to {:.0} K colder than its set point", deficit.get())
        }
        Rule::RetractionOutside { low, high } => {
            let held = match of.suggestion.change {
                Change::Retract(step) => step.from,
                _ => None,
            };
            let held =
                held.map_or_else(String::new, |held| format!(", and {tool} draws {} back", format::millimetres(held)));
            format!("its drive and {filament} need {}{held}", range_mm(low, high))
        }
        Rule::OverLiner { rating } => {
            format!("what {tool} is set to is more than its liner stands for good, {}", format::celsius_whole(rating))
        }
        Rule::PrintOutside { low, high } => {
            let (low, high) = (format!("{:.0}", low.get()), format::celsius_whole(high));
            format!("{filament} is usually printed at {low} to {high}")
        }
        Rule::PartDue => {
            format!("at its age, such a part of {tool} will have failed with more than the accepted chance")
        }
        Rule::Oozes => oozes(of),
        Rule::Wet => format!("wet filament jams, strings and starves, and nobody said that {tool}'s is dried"),
        Rule::Stagnant => format!("melt that has waited long clings to the walls of {tool}'s nozzle{}", waited(of)),
        Rule::WaitsBest => {
            let beside = of.beside.as_deref().unwrap_or("what the other tool holds");
            format!("{beside} bears waiting better than {filament}, and {tool} is the one that waits more")
        }
    })
}

fn long_waits(of: &SuggestionView, round_trip: Seconds) -> String {
    let (long, all) = (of.suggestion.n_long_waits, of.suggestion.n_waits);
    let trip = format::duration_fine(round_trip);
    format!(
        "{long} of its {} took longer than the {trip} of cooling and heating again{}",
        counted(all, "wait"),
        waited(of)
    )
}

fn short_waits(of: &SuggestionView, round_trip: Seconds) -> String {
    let (long, all) = (of.suggestion.n_long_waits, of.suggestion.n_waits);
    let trip = format::duration_fine(round_trip);
    let few = if long == 0 { "none".to_owned() } else { format!("only {long}") };
    format!(
        "{few} of its {} took longer than the {trip} of cooling and heating again{}",
        counted(all, "wait"),
        waited(of)
    )
}

fn oozes(of: &SuggestionView) -> String {
    format!("{} oozes while it waits, and nothing catches that{}", format::tool(of.tool), waited(of))
}

/// `, 9 min in the middle, at 205 °C on the mean`.
fn waited(of: &SuggestionView) -> String {
    of.middle.map_or_else(String::new, |middle| {
        let (lasted, mean) = (format::duration_fine(middle.lasted), format::celsius_whole(middle.mean));
        format!(" (the one in the middle lasted {lasted}, all of them {mean} on the mean)")
    })
}

/// Its waits, where the change is about them.
fn waits(of: &SuggestionView) -> Option<String> {
    let middle = of.middle?;
    match of.suggestion.change {
        Change::Standby(_) | Change::OozeShield(_) | Change::Prime(_) | Change::Material(_) => Some(format!(
            "its {} lasted {} in the middle, at {} on the mean",
            counted(middle.n, "wait"),
            format::duration_fine(middle.lasted),
            format::celsius_whole(middle.mean)
        )),
        _ => None,
    }
}

/// What would show that it was wrong.
pub(super) fn refute(of: &SuggestionView) -> String {
    let with = with_it(of);
    match of.suggestion.first() {
        Some(first) => format!("It is refuted if {} stay as frequent in the prints to come {with}.", cases(first.mode)),
        None => format!("It is refuted if the prints to come {with} take no less time."),
    }
}
