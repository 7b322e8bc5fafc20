//! What a change, a setting and a verdict are called where trials are told.

pub(super) use crate::learn::words::{capital, counted, glued, loose};

use crate::format;
use crate::view::TrialView;
use dwell_analysis::advice::{Arm, Change, Design, PartKind, Plan, Step};

/// The tool that it is of.
pub(crate) fn whose(trial: &TrialView) -> String {
    format::whose(&trial.printer, trial.tool, trial.material.as_deref())
}

/// What is set: `standby`.
pub(super) const fn setting(change: &Change) -> &'static str {
    match change {
        Change::Standby(_) => "standby",
        Change::Retract(_) => "retraction",
        Change::RetractSpeed(_) => "retraction speed",
        Change::Prime(_) => "prime",
        Change::OozeShield(_) => "ooze shield",
        Change::PrintTemperature(_) => "print temperature",
        Change::Dried(_) => "dried filament",
        Change::Material(_) => "material",
        Change::Replace(PartKind::Liner) => "liner",
        Change::Replace(PartKind::Nozzle) | Change::Clean => "nozzle",
        Change::AllMetal => "heat break",
    }
}

/// What it is set from, as far as it is known, and to.
pub(super) fn values(change: &Change) -> (Option<String>, String) {
    fn both<T: Copy>(step: &Step<T>, shown: impl Fn(T) -> String) -> (Option<String>, String) {
        (step.from.map(&shown), shown(step.to))
    }
    let flag = |flag: bool| if flag { "yes" } else { "no" }.to_owned();
    let part = |from: &str, to: &str| (Some(from.to_owned()), to.to_owned());
    match change {
        Change::Standby(step) | Change::PrintTemperature(step) => both(step, format::celsius_whole),
        Change::Retract(step) => both(step, format::millimetres),
        Change::RetractSpeed(step) => both(step, format::mm_per_second),
        Change::Prime(step) => both(step, format::cubic_mm),
        Change::OozeShield(step) | Change::Dried(step) => both(step, flag),
        Change::Material(step) => both(step, |material| material.name().to_owned()),
        Change::Replace(_) => part("the one in use", "new"),
        Change::Clean => part("as it is", "cleaned by a cold pull"),
        Change::AllMetal => part("with a liner in the heat", "all metal"),
    }
}

/// `standby 155 °C instead of 175 °C`.
pub(crate) fn change(change: &Change) -> String {
    let (from, to) = values(change);
    let instead = from.map_or_else(String::new, |from| format!(" instead of {from}"));
    match change {
        Change::Replace(_) => format!("new {}", setting(change)),
        Change::Clean => "nozzle cleaned by a cold pull".to_owned(),
        Change::AllMetal => "heat break of metal alone".to_owned(),
        _ => format!("{} {to}{instead}", setting(change)),
    }
}

/// What a print is to have: `standby 155 °C`, or `as before, standby 175 °C`.
pub(super) fn arm(arm: Arm, of: &Change) -> String {
    let (from, to) = values(of);
    match (arm, from) {
        (Arm::Changed, _) if matches!(of, Change::Replace(_) | Change::Clean | Change::AllMetal) => change(of),
        (Arm::Changed, _) => format!("{} {to}", setting(of)),
        (Arm::AsBefore, Some(from)) => format!("as before, {} {from}", setting(of)),
        (Arm::AsBefore, None) => format!("as before, not {} {to}", setting(of)),
    }
}

/// Failure modes in a sentence.
pub(super) fn modes(modes: &[&'static str]) -> String {
    let words: Vec<String> = modes.iter().map(|mode| format::word(mode)).collect();
    match words.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [others @ .., last] => format!("{} or {last}", others.join(", ")),
    }
}

/// How a trial tells.
pub(super) fn design(plan: &Plan) -> String {
    let prints = counted(plan.prints, "print");
    match plan.design {
        Design::Alternation => format!("Set by a draw print by print, for {prints} with a known outcome"),
        Design::BeforeAfter => {
            format!("Set in every print, for {prints} with a known outcome, against what the record lets expect")
        }
    }
}

/// What a verdict says, and what to do then.
pub(crate) fn verdict(word: &str, of: &Change) -> (&'static str, String) {
    match word {
        "helped" => ("it helped", format!("Keep it: {}.", arm(Arm::Changed, of))),
        "harmed" => ("stopped early, it did harm", format!("Take it back: {}.", arm(Arm::AsBefore, of))),
        "did_not_help" => ("it did not help", format!("Nothing speaks for it: {}.", arm(Arm::AsBefore, of))),
        _ => ("undecided", "If it is advised again, it can be tried again.".to_owned()),
    }
}
