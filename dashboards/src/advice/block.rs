//! One suggestion on the page: what to change, what that does to each risk, what it costs, and why.

use super::evidence::{refute, rests_on};
use super::say;
use super::words::change;
use crate::format;
use crate::learn::words::{capital, chance, interval_short};
use crate::plain::Lines;
use crate::view::SuggestionView;
use dwell_analysis::advice::{ModeEffect, RiskMove, Suggestion};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::FailureMode;

/// Columns of a mode's name and of a risk.
const NAME: usize = 22;
const RISK: usize = 25;
/// Minutes that are none.
const NO_TIME: f64 = 0.05;

pub(super) fn write(number: usize, of: &SuggestionView, out: &mut Lines) {
    let suggestion = &of.suggestion;
    let title = format!("{}: {}", format::whose(&of.printer, of.tool, of.material.as_deref()), change(of));
    out.line("");
    say(out, &format!("{number}. "), &title);
    out.line("");
    risks(suggestion, out);
    out.line("");
    say(out, "     ", &cost(of));
    if let Some(rises) = trade_off(of) {
        say(out, "     ", &rises);
    }
    say(out, "     ", &format!("Why: {} {}", rests_on(of), refute(of)));
    if of.is_adopted {
        say(out, "     ", "It was taken up already: `dwellwatch review` says how it goes.");
    } else {
        out.line(&format!("     dwellwatch adopt {}", of.id));
    }
}

/// The chance of each mode as it is and with the change.
fn risks(suggestion: &Suggestion, out: &mut Lines) {
    let told: Vec<&ModeEffect> =
        suggestion.effects.iter().filter(|effect| is_told(effect, &suggestion.meant)).collect();
    if told.is_empty() {
        let modes: Vec<String> = suggestion.meant.iter().map(|mode| format::word(mode.name())).collect();
        say(out, "     ", &format!("Meant for: {}. What it does to them the record can't tell.", modes.join(", ")));
        return;
    }
    let [chance, now, after, falls] = ["chance per print", "now", "after (90 % intervals)", "falls with"];
    out.line(&format!("     {chance:<NAME$}{now:<RISK$}{after:<RISK$}{falls}"));
    if let Some(RiskMove { now, after, sure }) = suggestion.risk.filter(|_| suggestion.meant.len() > 1) {
        row("any that it is for", &now, &after, sure, out);
    }
    for effect in told {
        row(&format::word(effect.mode.name()), &effect.now, &effect.after, effect.falls, out);
    }
}

/// One that stays as it is is told only where the change was meant for it.
pub(crate) fn is_told(effect: &ModeEffect, meant: &[FailureMode]) -> bool {
    effect.rises() || effect.falls_at_all() || meant.contains(&effect.mode)
}

fn row(name: &str, now: &Estimate, after: &Estimate, falls: f64, out: &mut Lines) {
    let rises = if after.value > now.value { ", rises" } else { "" };
    let (now, after) = (interval_short(now), interval_short(after));
    out.line(&format!("     {:<NAME$}{now:<RISK$}{after:<RISK$}{}{rises}", capital(name), chance(falls)));
}

/// Time, and what is gained in all, as far as that is known.
pub(crate) fn cost(of: &SuggestionView) -> String {
    let minutes = &of.suggestion.minutes;
    let time = if minutes.value.abs() < NO_TIME {
        "It costs no time".to_owned()
    } else if minutes.value < 0.0 {
        format!("It saves {} per print", format::estimate(&turned(minutes), "min"))
    } else {
        format!("It costs {} per print", format::estimate(minutes, "min"))
    };
    // What a change does that the record can't tell is in no sum.
    let Some(gain) = of.suggestion.gain.as_ref().filter(|_| !of.suggestion.effects.is_empty()) else {
        return format!("{time}.");
    };
    let in_all = if gain.value < 0.0 {
        format!("costs {}", format::estimate(&turned(gain), "min"))
    } else {
        format!("saves {}", format::estimate(gain, "min"))
    };
    format!("{time}. All in all, with failures counted as the time that they cost, it {in_all} a print.")
}

fn turned(of: &Estimate) -> Estimate {
    Estimate { value: -of.value, low: -of.high, high: -of.low, n: of.n }
}

/// What rises, where something falls.
pub(crate) fn trade_off(of: &SuggestionView) -> Option<String> {
    if !of.suggestion.is_trade_off() {
        return None;
    }
    let named = |is_one: fn(&ModeEffect) -> bool| {
        let modes = of.suggestion.effects.iter().filter(|effect| is_one(effect));
        modes.map(|effect| format::word(effect.mode.name())).collect::<Vec<_>>().join(", ")
    };
    Some(format!("A trade-off. Falls: {}. Rises: {}.", named(ModeEffect::falls_at_all), named(ModeEffect::rises)))
}
