//! Words and units of factors, groups and states, and how an interval is said.

use crate::format;
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{Bound, Group, State};

/// What a factor is called, and the unit that it is told in; a word of its own as it stands if it is not known here.
pub(crate) fn factor(name: &str) -> (String, &'static str) {
    let (words, unit) = match name {
        "dose_max" => ("highest dose", "equivalent min"),
        "dose_sum" => ("summed dose", "equivalent min"),
        "heat_load" => ("heat above 140 °C", "K min"),
        "restart_dose_max" => ("highest dose at a restart", "equivalent min"),
        "restart_dose_sum" => ("summed dose at restarts", "equivalent min"),
        "restart_load_sum" => ("restart heat, summed", "K min"),
        "restart_load" => ("restart heat above 140 °C", "K min"),
        "wait_over_180" => ("restart wait over 180 °C", "min"),
        "wait_over_195" => ("restart wait over 195 °C", "min"),
        "wait_over_210" => ("restart wait over 210 °C", "min"),
        "wait_longest" => ("longest wait", "min"),
        "idle_hot" => ("time waited hot", "min"),
        "idle_mean" => ("mean idle temperature", "°C"),
        "idle_max" => ("highest idle temperature", "°C"),
        "stagnant" => ("dose of stagnant melt", "equivalent min"),
        "restart_deficit" => ("too cold at a restart", "K"),
        "ooze" => ("ooze while waiting", "mm³"),
        "standby" => ("standby temperature", "°C"),
        "retract" => ("retraction", "mm"),
        "retract_departure" => ("retraction off its median", "mm"),
        "retract_mm_s" => ("retraction speed", "mm/s"),
        "print_temperature" => ("print temperature", "°C"),
        "liner_hours" => ("liner's hot hours", "h"),
        "liner_wear" => ("liner's wear", "h"),
        "liner_cycles" => ("liner's heatings", "times"),
        "nozzle_hours" => ("nozzle's hot hours", "h"),
        "tool_changes" => ("tool changes", ""),
        "print_length" => ("length of the print", "min"),
        "prime" => ("primed after a change", "mm³"),
        "ooze_shield" => ("ooze shield", ""),
        "dried" => ("dried filament", ""),
        "material_other" => ("another material", ""),
        other => {
            let word = other.strip_prefix("material_").map_or_else(|| format::word(other), str::to_uppercase);
            return (word, "");
        }
    };
    (words.to_owned(), unit)
}

/// A value of a factor with its unit.
fn value(name: &str, value: f64) -> String {
    let (_, unit) = factor(name);
    let number = number(value);
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

/// A number with no more digits than tell it from its like.
pub(crate) fn number(value: f64) -> String {
    let digits = match value.abs() {
        small if small < 0.995 => 2,
        some if some < 9.95 => 1,
        _ => return format!("{value:.0}"),
    };
    let told = format!("{value:.digits$}");
    let told = told.trim_end_matches('0').trim_end_matches('.');
    if told == "-0" { "0".to_owned() } else { told.to_owned() }
}

/// What a group is called.
pub(crate) const fn group(group: Group) -> &'static str {
    match group {
        Group::IdleHeat => "idle heat",
        Group::Retraction => "retraction",
        Group::PrintHeat => "print heat",
        Group::Wear => "wear of parts",
        Group::Changes => "tool changes",
        Group::Material => "material",
        Group::Drying => "drying",
    }
}

/// What a state is called and what it means.
pub(crate) const fn state(state: State) -> &'static str {
    match state {
        State::Learned => {
            "Learned: forecasts made before each print did better than the running rate, beyond chance. \
             Advice may rest on it, but for what can't be told apart."
        }
        State::Leaning => {
            "Leaning: forecasts made before each print did better than the running rate, but that may still be chance. \
             Good for a trial, not for a claim."
        }
        State::TooLittle => {
            "Too little for a claim: how often it happens is known; what goes with it has not forecast it yet."
        }
    }
}

/// A state's word, within a sentence.
pub(crate) const fn state_word(state: State) -> &'static str {
    match state {
        State::Learned => "learned",
        State::Leaning => "leaning",
        State::TooLittle => "too little",
    }
}

/// `5.6 % (90 % interval 3.9 to 7.8 %)`.
pub(crate) fn interval(rate: &Estimate) -> String {
    format!("{} % (90 % interval {} to {} %)", tenth(rate.value), tenth(rate.low), tenth(rate.high))
}

/// `5.6 % (3.9 to 7.8)`, where it stands above that this is a 90 % interval.
pub(crate) fn interval_short(rate: &Estimate) -> String {
    format!("{} % ({} to {})", tenth(rate.value), tenth(rate.low), tenth(rate.high))
}

fn tenth(share: f64) -> String {
    format!("{:.1}", share * 100.0)
}

/// `+1.10 (+0.60 to +1.60)`.
pub(crate) fn signed(effect: &Estimate) -> String {
    format!("{:+.2} ({:+.2} to {:+.2})", effect.value, effect.low, effect.high)
}

/// What a log-hazard does to the hazard.
pub(crate) fn hazard(effect: f64) -> String {
    let times = effect.exp();
    let near = |of: f64| (times / of - 1.0).abs() < 0.1;
    match () {
        () if near(2.0) => "doubles".to_owned(),
        () if near(3.0) => "triples".to_owned(),
        () if near(0.5) => "halves".to_owned(),
        () => format!("× {times:.2}"),
    }
}

/// A probability, never as certain as rounding would make it.
pub(crate) fn chance(of: f64) -> String {
    match of * 100.0 {
        little if little < 0.5 => "under 1 %".to_owned(),
        all if all > 99.5 => "over 99 %".to_owned(),
        some => format!("{some:.0} %"),
    }
}

/// What is asked of a factor, in words.
pub(crate) fn bound(name: &str, bound: Bound) -> String {
    let words = factor(name).0;
    match bound {
        Bound::AtLeast(from) => format!("{words} {} or more", value(name, from)),
        Bound::Under(to) => format!("{words} under {}", value(name, to)),
        Bound::Yes => words,
        Bound::No if name.starts_with("material_") => format!("another material than {words}"),
        Bound::No => format!("no {words}"),
        Bound::Unknown => format!("{words} not known"),
    }
}

/// Keeps a number and its unit on one line of a text that is broken into lines; see [`loose`].
pub(crate) fn glued(words: &str) -> String {
    words.replace(" %", "\u{a0}%").replace(" °C", "\u{a0}°C").replace(" mm", "\u{a0}mm")
}

/// A text broken into lines, with plain spaces again.
pub(crate) fn loose(text: &str) -> String {
    text.replace('\u{a0}', " ")
}

/// `1 print`, `2 prints`, `no prints`.
pub(crate) fn counted(n: usize, one: &str) -> String {
    format::counted(u32::try_from(n).unwrap_or(u32::MAX), one)
}

/// The same with its first letter as a capital.
pub(crate) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(char::to_uppercase).into_iter().flatten().chain(letters).collect()
}
