//! The heaters of a printer's tools, as plain text. Owns its sentences; says nothing of what is not known but why.

use crate::format;
use crate::plain::Lines;
use crate::view::{DriftView, HeaterTold, HeaterView, StandbyDrop};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::thermal::{Moved, Parameter};

const COLUMNS: usize = 100;

/// The whole text: a heading, a paragraph a tool, and what its numbers are. Empty without a tool.
#[must_use]
pub fn render_heaters_text(heaters: &[HeaterView]) -> String {
    let mut out = Lines::new(COLUMNS);
    if heaters.is_empty() {
        return out.into_text();
    }
    out.heading("Nozzles");
    for heater in heaters {
        let name = name(heater);
        match &heater.told {
            Ok(told) => write_told(&mut out, &name, told),
            Err(reason) => out.wrapped("  ", &format!("{name}: nothing is known of its heater: {reason}.")),
        }
    }
    if heaters.iter().any(|heater| heater.told.is_ok()) {
        out.line("");
        out.wrapped("", HOW);
    }
    out.into_text()
}

/// `bench T1 with its part fan off`.
pub(crate) fn name(heater: &HeaterView) -> String {
    let fan = match heater.fan {
        None => "",
        Some(false) => " with its part fan off",
        Some(true) => " with its part fan on",
    };
    format!("{} {}{fan}", heater.printer, format::tool(heater.tool))
}

/// How its numbers are to be read.
pub(crate) const HOW: &str = "In parentheses 90 % intervals. The gain is the rise above the surroundings at full duty. Times are for \
    neighbour and bed as they usually were. Where a host tells no duty, warming is taken to be at full duty; where it is \
    not, gain and heating come out too low and too fast. A parameter is called moved where so large a difference would be seen in \
    fewer than 1 of 20 comparisons if nothing had moved.";

fn write_told(out: &mut Lines, name: &str, told: &HeaterTold) {
    out.wrapped("  ", &format!("{name}, fitted to {}:", fitted_to(told)));
    let constant = known("time constant", &told.cooling_constant, "s");
    let dead = known("dead time", &told.cooling_dead_time, "s");
    out.wrapped("    ", &format!("Cooling: {constant}; {dead}."));
    let constant = known("time constant", &told.heating_constant, "s");
    let (gain, dead) = (known("gain", &told.gain, "K"), known("dead time", &told.heating_dead_time, "s"));
    out.wrapped("    ", &format!("Heating: {constant}; {gain}; {dead}."));
    out.wrapped("    ", &standby(told));
    out.wrapped("    ", &drift(&told.drift));
}

/// `8 coolings and 1 heating`.
pub(crate) fn fitted_to(told: &HeaterTold) -> String {
    let counted = |n, one| format::counted(u32::try_from(n).unwrap_or(u32::MAX), one);
    format!("{} and {}", counted(told.n_cooldowns, "cooling"), counted(told.n_heatups, "heating"))
}

fn known(name: &str, of: &Result<Estimate, String>, unit: &str) -> String {
    match of {
        Ok(of) => format!("{name} {}", format::estimate(of, unit)),
        Err(reason) => format!("{name} not known ({reason})"),
    }
}

/// What a drop to standby takes, or why that is not known.
pub(crate) fn standby(told: &HeaterTold) -> String {
    told.drop.as_ref().map_or_else(|reason| format!("Standby: {reason}."), dropped)
}

fn dropped(drop: &StandbyDrop) -> String {
    let set_point = |value, is_usual| {
        let value = format::celsius_whole(value);
        if is_usual { format!("its usual {value}") } else { format!("{value} (no usual one is known)") }
    };
    let took = |verb, of: &Result<Estimate, String>| match of {
        Ok(of) => format!("{verb} {}", format::estimate(of, "s")),
        Err(reason) => format!("{verb} a time not known ({reason})"),
    };
    let pays = match &drop.pays_after {
        Ok(sum) => format!("A drop pays in waits longer than {}.", format::estimate(sum, "s")),
        Err(reason) => format!("From which wait on a drop pays can't be said ({reason})."),
    };
    format!(
        "Standby, from {} to {}: {}, {}. {pays}",
        set_point(drop.print, drop.is_print_usual),
        set_point(drop.standby, drop.is_standby_usual),
        took("cooling takes", &drop.cooling),
        took("heating back", &drop.heating),
    )
}

/// What has moved of late, or why that is not known.
pub(crate) fn drift(drift: &DriftView) -> String {
    let between = format!("the newest {} of its prints against the {} before", drift.n_after, drift.n_before);
    match &drift.moved {
        Err(reason) => format!("Drift: can't be told ({reason})."),
        Ok(moved) if moved.is_empty() => format!("Drift: no parameter has moved, {between}."),
        Ok(moved) => {
            let each: Vec<String> = moved.iter().map(moved_words).collect();
            format!("Drift, {between}: {}.", each.join("; "))
        }
    }
}

/// `gain 10 % lower (9.1 % to 10.9 %; chance 0.1 % if nothing had moved)`.
fn moved_words(moved: &Moved) -> String {
    let (name, is_factor, unit) = words(moved.parameter);
    let Estimate { value, low, high, .. } = moved.by;
    let shown = |value: f64| if is_factor { (value - 1.0) * 100.0 } else { value };
    let unit = if is_factor { "%" } else { unit };
    let by = shown(value);
    let sign = if by < 0.0 { -1.0 } else { 1.0 };
    let mut ends = [sign * shown(low), sign * shown(high)];
    ends.sort_by(f64::total_cmp);
    let way = if by < 0.0 { "lower" } else { "higher" };
    let [low, high] = ends.map(|end| format!("{end:.1}"));
    let chance = format::percent(moved.chance);
    format!("{name} {:.1} {unit} {way} ({low} to {high}; chance {chance} if nothing had moved)", by.abs())
}

/// A parameter's name, whether its change is a factor, and else its unit.
const fn words(parameter: Parameter) -> (&'static str, bool, &'static str) {
    match parameter {
        Parameter::CoolingConstant => ("time constant of cooling", true, ""),
        Parameter::HeatingConstant => ("time constant of heating", true, ""),
        Parameter::Gain => ("gain", true, ""),
        Parameter::CoolingDeadTime => ("dead time of cooling", false, "s"),
        Parameter::HeatingDeadTime => ("dead time of heating", false, "s"),
        Parameter::Neighbour => ("heat from the neighbour", false, "K a kelvin"),
        Parameter::Bed => ("heat from the bed", false, "K a kelvin"),
        Parameter::Ambient => ("surroundings", false, "K"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use dwell_analysis::units::Celsius;

    const fn of(value: f64, low: f64, high: f64) -> Estimate {
        Estimate { value, low, high, n: 8 }
    }

    fn told(moved: Result<Vec<Moved>, String>) -> HeaterView {
        let drop = StandbyDrop {
            print: Celsius::new(215.0),
            is_print_usual: true,
            standby: Celsius::new(150.0),
            is_standby_usual: false,
            cooling: Ok(of(78.4, 77.9, 78.9)),
            heating: Ok(of(25.5, 25.1, 25.9)),
            pays_after: Ok(of(103.9, 103.2, 104.6)),
        };
        let told = HeaterTold {
            n_cooldowns: 8,
            n_heatups: 1,
            cooling_constant: Ok(of(200.0, 198.7, 201.2)),
            heating_constant: Ok(of(181.0, 170.0, 192.0)),
            gain: Err("the record says too little of it".to_owned()),
            cooling_dead_time: Ok(of(0.52, 0.5, 0.54)),
            heating_dead_time: Ok(of(3.5, 3.1, 3.9)),
            drop: Ok(drop),
            drift: DriftView { n_before: 4, n_after: 5, moved },
        };
        HeaterView { printer: "bench".to_owned(), tool: 1, fan: None, told: Ok(told) }
    }

    fn text(view: HeaterView) -> String {
        let text = render_heaters_text(&[view]);
        assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_nozzle_tells_its_constants_what_a_drop_takes_and_what_has_moved() {
        let gain = Moved { parameter: Parameter::Gain, by: of(0.9, 0.891, 0.909), chance: 0.0004 };
        let dead = Moved { parameter: Parameter::HeatingDeadTime, by: of(1.2, 0.7, 1.7), chance: 0.021 };
        let found = text(told(Ok(vec![gain, dead])));
        for says in [
            "NOZZLES bench T1, fitted to 8 coolings and 1 heating:",
            "Cooling: time constant 200.0 s (198.7 to 201.2); dead time 0.52 s (0.50 to 0.54).",
            "Heating: time constant 181 s (170 to 192); gain not known (the record says too little of it); dead",
            "from its usual 215 °C to 150 °C (no usual one is known): cooling takes 78.4 s (77.9 to 78.9), heating back 25.5 s",
            "A drop pays in waits longer than 103.9 s (103.2 to 104.6).",
            "the newest 5 of its prints against the 4 before: gain 10.0 % lower (9.1 to 10.9; chance under 0.1 % if",
            "dead time of heating 1.2 s higher (0.7 to 1.7; chance 2 % if",
        ] {
            assert!(found.contains(says), "{says}: {found}");
        }
    }

    #[test]
    fn what_is_not_known_is_told_with_its_reason_and_nothing_of_nothing() {
        let found = text(told(Err("too few observations: 1, and 2 are needed".to_owned())));
        assert!(found.contains("Drift: can't be told (too few observations: 1, and 2 are needed)."), "{found}");
        assert!(text(told(Ok(Vec::new()))).contains("Drift: no parameter has moved, the newest 5 of its prints"));
        let refused = HeaterView { told: Err("no step".to_owned()), ..told(Ok(Vec::new())) };
        assert_eq!(text(refused), "NOZZLES bench T1: nothing is known of its heater: no step.");
        let blown = HeaterView { fan: Some(true), ..told(Ok(Vec::new())) };
        assert!(text(blown).contains("bench T1 with its part fan on, fitted to"));
        assert_eq!(render_heaters_text(&[]), "");
    }
}
