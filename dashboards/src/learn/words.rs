//! Words and units of factors, groups and states, and how an interval is said.

use crate::format;
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{Group, State};

/// What a factor is called, and the unit that it is told in; a word of its own as it stands if it is not known here.
pub(super) fn factor(name: &str) -> (String, &'static str) {
    let (words, unit) = match name {
        "dose_max" => ("highest dose", "equivalent min"),
        "dose_sum" => ("summed dose", "equivalent min"),
        "heat_load" => ("heat above 140 °C", "K min"),
        "restart_dose_max" => ("highest dose at a restart", "equivalent min"),
        "restart_dose_sum" => ("summed dose at restarts", "equivalent min"),
        "restart_load" => ("heat above 140 °C at a restart", "K min"),
        "wait_over_180" => ("wait over 180 °C before a restart", "min"),
        "wait_over_195" => ("wait over 195 °C before a restart", "min"),
        "wait_over_210" => ("wait over 210 °C before a restart", "min"),
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
pub(super) fn value(name: &str, value: f64) -> String {
    let (_, unit) = factor(name);
    let number = number(value);
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

/// A number with no more digits than it needs to be told from its like.
pub(super) fn number(value: f64) -> String {
    match value.abs() {
        little if little < 0.005 => "0".to_owned(),
        small if small < 9.95 => {
            let digits = if small < 0.995 { 2 } else { 1 };
            let told = format!("{value:.digits$}");
            told.strip_suffix(".0").map_or_else(|| told.clone(), str::to_owned)
        }
        _ => format!("{value:.0}"),
    }
}

/// What a group is called.
pub(super) const fn group(group: Group) -> &'static str {
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
pub(super) const fn state(state: State) -> &'static str {
    match state {
        State::Learned => {
            "Learned: forecasts made before each print did better than the running rate, beyond chance. Advice may rest on it."
        }
        State::Leaning => {
            "Leaning: forecasts made before each print did better than the running rate, but that may still be chance. \
             Good for a trial, not for a claim."
        }
        State::TooLittle => {
            "Too little: how often it happens is known as told above; what goes with it the record does not carry."
        }
    }
}

/// A state's word, within a sentence.
pub(super) const fn state_word(state: State) -> &'static str {
    match state {
        State::Learned => "learned",
        State::Leaning => "leaning",
        State::TooLittle => "too little",
    }
}

/// `5.6 % (90 % interval 3.9 to 7.8 %)`.
pub(super) fn interval(rate: &Estimate) -> String {
    format!("{} % (90 % interval {} to {} %)", tenth(rate.value), tenth(rate.low), tenth(rate.high))
}

/// `5.6 % (3.9 to 7.8)`, where it stands above that this is a 90 % interval.
pub(super) fn interval_short(rate: &Estimate) -> String {
    format!("{} % ({} to {})", tenth(rate.value), tenth(rate.low), tenth(rate.high))
}

fn tenth(share: f64) -> String {
    format!("{:.1}", share * 100.0)
}

/// `+1.10 (+0.60 to +1.60)`.
pub(super) fn signed(effect: &Estimate) -> String {
    format!("{:+.2} ({:+.2} to {:+.2})", effect.value, effect.low, effect.high)
}

/// What a log-hazard does to the hazard.
pub(super) fn hazard(effect: &Estimate) -> String {
    let times = effect.value.exp();
    let near = |of: f64| (times / of - 1.0).abs() < 0.1;
    if near(2.0) {
        "doubles the hazard".to_owned()
    } else if near(3.0) {
        "triples the hazard".to_owned()
    } else if near(0.5) {
        "halves the hazard".to_owned()
    } else {
        format!("hazard × {times:.2}")
    }
}

/// `1 print`, `2 prints`, `no prints`.
pub(super) fn counted(n: usize, one: &str) -> String {
    format::counted(u32::try_from(n).unwrap_or(u32::MAX), one)
}

/// The same with its first letter as a capital.
pub(super) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(char::to_uppercase).into_iter().flatten().chain(letters).collect()
}
