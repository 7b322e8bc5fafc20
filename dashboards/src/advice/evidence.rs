//! What a suggestion rests on and what would refute it, a sentence each. Owns which figures are named.

use super::words::{cases, filament, happened, range_mm, with_it};
use crate::format;
use crate::learn::words::{capital, counted};
use crate::view::SuggestionView;
use dwell_analysis::advice::{Basis, Change, Design, Rule};
use dwell_analysis::units::Seconds;

/// A trial that shows what is expected with a smaller chance is not called one: trials are planned for 80 %.
const WOULD_SHOW: f64 = 0.75;

/// The evidence: how often it happened, and what in its waits or settings speaks for the change.
pub(crate) fn rests_on(of: &SuggestionView) -> String {
    let (history, reason) = (history(of), reason(of));
    let reason = reason.map_or_else(String::new, |reason| format!("{reason}; "));
    match of.suggestion.basis {
        // Maintenance is no guess at a failure: the age stands first, and what the record tells of it last.
        Basis::CommonPractice if is_maintenance(of) => {
            format!(
                "Common practice: its age has passed the limit that you accept, so replace it, as Parts says; {history}."
            )
        }
        Basis::CommonPractice => {
            format!("Common practice, while the record says too little yet: {reason}{history}.")
        }
        Basis::Mixed if of.suggestion.rule.is_some() => {
            format!("Common practice, and the record leans this way: {reason}{history}{}.", falls(of))
        }
        Basis::Mixed => {
            format!("The record leans this way, which may still be chance: {reason}{history}{}.", falls(of))
        }
        Basis::Learned => format!("{}{}.", capital(&(reason + &history)), falls(of)),
    }
}

/// Whether practice asks for it by a part's age alone.
pub(crate) fn is_maintenance(of: &SuggestionView) -> bool {
    of.suggestion.rule == Some(Rule::PartDue) && of.suggestion.basis == Basis::CommonPractice
}

/// Whether its trial is too short for what is expected of it, so that none is worth planning in words.
fn none_shows(of: &SuggestionView) -> bool {
    of.plan.is_none_or(|plan| plan.power < WOULD_SHOW)
}

/// What is said in place of a trial's plan where none could tell a part's replacement from chance.
pub(crate) fn no_trial(of: &SuggestionView) -> Option<&'static str> {
    const WORDS: &str = "No trial can show this; adopting only notes that you did it.";
    (is_maintenance(of) && none_shows(of)).then_some(WORDS)
}

/// `; by what was learned the chance falls from 11.7 to 5.2 % per print`.
fn falls(of: &SuggestionView) -> String {
    of.suggestion.first().map_or_else(String::new, |first| {
        let (now, after) = (100.0 * first.now.value, 100.0 * first.after.value);
        format!("; by what was learned the chance of it falls from {now:.1} to {after:.1} % per print")
    })
}

/// `it jammed in 14 of 120 reported prints of T1 with PLA`.
fn history(of: &SuggestionView) -> String {
    let Some(first) = of.meant else { return "no failure is expected to move".to_owned() };
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
    let Some(rule) = of.suggestion.rule else { return waits(of).filter(|_| is_about_waits(&of.suggestion.change)) };
    Some(match rule {
        Rule::WaitsAreLong { round_trip } | Rule::WaitsAreShort { round_trip } => waits_over(of, round_trip),
        Rule::StartsCold { deficit } => {
            format!("{tool} returned to work up to {:.0} K colder than its print set point", deficit.get())
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
        Rule::Wet => {
            let is_told = matches!(of.suggestion.change, Change::Dried(step) if step.from == Some(false));
            let told =
                if is_told { "that of {tool} was not dried" } else { "nobody said whether that of {tool} is dried" };
            format!("wet filament jams, strings and starves, and {}", told.replace("{tool}", &tool))
        }
        Rule::Stagnant => {
            let waits = waits(of).map_or_else(String::new, |waits| format!(", and {waits}"));
            format!("melt that has waited long clings to the walls of a nozzle{waits}")
        }
        Rule::WaitsBest => {
            let beside = of.beside.as_deref().unwrap_or("what the other tool holds");
            format!("{beside} bears waiting better than {filament}, and {tool} is the one that waits more")
        }
    })
}

/// `41 of T1's 61 waits took longer than the 4 min 10 s of cooling and heating again`.
fn waits_over(of: &SuggestionView, round_trip: Seconds) -> String {
    let (long, all) = (of.suggestion.n_long_waits, counted(of.suggestion.n_waits, "wait"));
    let long = if long == 0 { "none".to_owned() } else { long.to_string() };
    let (tool, trip) = (format::tool(of.tool), format::duration_fine(round_trip));
    format!("{long} of {tool}'s {all} took longer than the {trip} of cooling and heating again{}", waited(of))
}

fn oozes(of: &SuggestionView) -> String {
    let whose = waits(of).unwrap_or_else(|| format!("{} waits hot", format::tool(of.tool)));
    format!("{whose}, and nothing catches what it oozes")
}

/// ` (the middle one 9 min, all at 205 °C on the mean)`.
fn waited(of: &SuggestionView) -> String {
    of.middle.map_or_else(String::new, |middle| {
        let (lasted, mean) = (format::duration_fine(middle.lasted), format::celsius_whole(middle.mean));
        format!(" (the middle one {lasted}, all at {mean} on the mean)")
    })
}

/// `T1 waited 61 times, 9 min in the middle, at 205 °C on the mean`.
fn waits(of: &SuggestionView) -> Option<String> {
    let (middle, tool) = (of.middle?, format::tool(of.tool));
    let times = if middle.n == 1 { "once".to_owned() } else { format!("{} times", middle.n) };
    let (lasted, mean) = (format::duration_fine(middle.lasted), format::celsius_whole(middle.mean));
    Some(format!("{tool} waited {times}, {lasted} in the middle, at {mean} on the mean"))
}

/// Whether what it does depends on how its tool waits.
const fn is_about_waits(change: &Change) -> bool {
    matches!(change, Change::Standby(_) | Change::OozeShield(_) | Change::Prime(_) | Change::Material(_))
}

/// What would show that it was wrong.
pub(crate) fn refute(of: &SuggestionView) -> String {
    if let Some(words) = no_trial(of) {
        return words.to_owned();
    }
    let with = with_it(of);
    let Some(first) = of.meant else {
        return format!("It is refuted if the prints to come {with} take no less time.");
    };
    let cases = cases(first.mode);
    let Some(plan) = of.plan else {
        return format!("It is refuted if {cases} stay as frequent in the prints to come {with}.");
    };
    let prints = counted(plan.prints, "reported print");
    match plan.design {
        _ if plan.power < WOULD_SHOW => {
            format!("It is refuted if {cases} stay as frequent {with}, which {prints} are too few to show.")
        }
        Design::BeforeAfter => format!("It is refuted if {cases} stay as frequent in the next {prints} {with}."),
        Design::Alternation => format!(
            "It is refuted if, of the next {prints}, {cases} are as frequent in the drawn half {with} as in the other."
        ),
    }
}
