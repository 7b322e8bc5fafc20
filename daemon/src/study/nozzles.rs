//! What is shown of a printer's heaters: their parameters, what a drop to standby takes, what has changed of late. Owns
//! which set points are taken for usual and which prints are compared; the fit is `analysis`'s, and `heaters` gathers
//! what it is fitted to.

use super::habits::{Habit, habits};
use super::heaters::{Record, records};
use crate::store::{Reader, StoreError};
use dwell_analysis::estimate::{Estimate, Refusal};
use dwell_analysis::polymer::Materials;
use dwell_analysis::thermal::{HeaterFit, Moved, Parameter, Steps, drift};
use dwell_analysis::units::Celsius;
use dwell_dashboards::view::{DriftView, HeaterTold, HeaterView, StandbyDrop};

/// Set points at work and while waiting of a tool whose prints tell none (common practice for PLA, no source).
const PRINT: Celsius = Celsius::new(210.0);
const STANDBY: Celsius = Celsius::new(150.0);

type Fit = Result<HeaterFit, Refusal>;

/// The heaters of all tools on record, by printer, T0 first; without and with its part fan, where the record tells
/// both.
///
/// # Errors
/// If the record can't be read; what a tool's readings do not show has its reason in its place.
pub fn nozzles(reader: &Reader, materials: &Materials) -> Result<Vec<HeaterView>, StoreError> {
    let mut views = Vec::new();
    for row in reader.printers()? {
        let habits = habits(reader, materials, &row.name)?;
        for (tool, record) in records(reader, &row.name)?.into_iter().enumerate() {
            let habit = habits.iter().find(|habit| habit.tool.idx() == tool);
            let Record { whole, older, newer, n, .. } = record;
            let [whole, older, newer] = [whole, older, newer].map(Steps::fit_both);
            let is_told = whole.blown.is_ok();
            let mut push = |fan, [whole, older, newer]: [Fit; 3]| {
                let told = whole.map(|whole| told(&whole, drifted(n, older, newer), habit)).map_err(said);
                views.push(HeaterView { printer: row.name.to_string(), tool, fan, told });
            };
            push(is_told.then_some(false), [whole.still, older.still, newer.still]);
            if is_told {
                push(Some(true), [whole.blown, older.blown, newer.blown]);
            }
        }
    }
    Ok(views)
}

fn told(fit: &HeaterFit, drift: DriftView, habit: Option<&Habit>) -> HeaterTold {
    let parameter = |parameter| fit.of(parameter).map_err(said);
    HeaterTold {
        n_cooldowns: fit.n_cooldowns,
        n_heatups: fit.n_heatups,
        cooling_constant: parameter(Parameter::CoolingConstant),
        heating_constant: parameter(Parameter::HeatingConstant),
        gain: parameter(Parameter::Gain),
        cooling_dead_time: parameter(Parameter::CoolingDeadTime),
        heating_dead_time: parameter(Parameter::HeatingDeadTime),
        drop: standby_drop(fit, habit),
        drift,
    }
}

fn drifted([n_before, n_after]: [usize; 2], older: Fit, newer: Fit) -> DriftView {
    DriftView { n_before, n_after, moved: moved(older, newer) }
}

fn standby_drop(fit: &HeaterFit, habit: Option<&Habit>) -> Result<StandbyDrop, String> {
    let usual = |of: fn(&Habit) -> Option<Celsius>| habit.and_then(of);
    let print = usual(|habit| habit.print.map(|spread| spread.median));
    let standby = usual(|habit| habit.standby.map(|spread| spread.median));
    let (from, to) = (print.unwrap_or(PRINT), standby.unwrap_or(STANDBY));
    if to >= from {
        return Err(format!("{:.0} °C while it waits is no less than {:.0} °C at work", to.get(), from.get()));
    }
    let shown = |time: Result<Estimate, Refusal>| time.map_err(said);
    Ok(StandbyDrop {
        print: from,
        is_print_usual: print.is_some(),
        standby: to,
        is_standby_usual: standby.is_some(),
        cooling: shown(fit.cooling(from, to, fit.usual)),
        heating: shown(fit.heating(to, from, fit.usual)),
        pays_after: shown(fit.round_trip(from, to, fit.usual)),
    })
}

/// What has moved from one fit to the other, or why that can't be told.
fn moved(older: Fit, newer: Fit) -> Result<Vec<Moved>, String> {
    let older = older.map_err(|refusal| format!("of the older prints: {refusal}"))?;
    let newer = newer.map_err(|refusal| format!("of the newest prints: {refusal}"))?;
    let is_told = |parameter: &Parameter| older.of(*parameter).is_ok() && newer.of(*parameter).is_ok();
    if Parameter::ALL.iter().any(is_told) {
        Ok(drift(&older, &newer))
    } else {
        Err("no parameter is told by both halves of its prints".to_owned())
    }
}

fn said(refusal: Refusal) -> String {
    refusal.to_string()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
