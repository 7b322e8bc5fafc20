//! A journal line of what is known of a heater ↔ entry.
#![deny(clippy::indexing_slicing, clippy::string_slice)]

use super::fault::{Fault, wrong};
use super::read::{at_least_zero, degrees, tool_number};
use crate::entry::HeaterFact;
use dwell_analysis::thermal::Heater;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{CelsiusDelta, Seconds};
use serde::{Deserialize, Serialize};

/// The fields beside kind, printer and instant.
#[derive(Deserialize, Serialize)]
pub(super) struct HeaterLine {
    tool: Option<i64>,
    time_constant_s: Option<f64>,
    cooling_constant_s: Option<f64>,
    gain_k: Option<f64>,
    dead_time_s: Option<f64>,
    cooling_dead_time_s: Option<f64>,
    surroundings_c: Option<f64>,
    heating_spread: Option<f64>,
    n: Option<usize>,
}

pub(super) fn read(text: &str, at: Timestamp) -> Result<HeaterFact, Fault> {
    let line: HeaterLine = serde_json::from_str(text)?;
    let heater = Heater {
        time_constant: Seconds::new(above_zero("time_constant_s", line.time_constant_s)?),
        cooling_constant: Seconds::new(above_zero("cooling_constant_s", line.cooling_constant_s)?),
        gain: CelsiusDelta::new(above_zero("gain_k", line.gain_k)?),
        dead_time: Seconds::new(told("dead_time_s", at_least_zero("dead_time_s", line.dead_time_s)?)?),
        cooling_dead_time: Seconds::new(told(
            "cooling_dead_time_s",
            at_least_zero("cooling_dead_time_s", line.cooling_dead_time_s)?,
        )?),
    };
    let fact = HeaterFact {
        at,
        tool: tool_number(told("tool", line.tool)?)?,
        heater,
        surroundings: told("surroundings_c", degrees("surroundings_c", line.surroundings_c)?)?,
        heating_spread: told("heating_spread", at_least_zero("heating_spread", line.heating_spread)?)?,
        n: told("n", line.n)?,
    };
    if fact.n == 0 {
        return Err(wrong("n", 0, "the number of steps that it was fitted to, at least 1, would be right"));
    }
    Ok(fact.rounded())
}

fn told<T>(key: &'static str, value: Option<T>) -> Result<T, Fault> {
    value.ok_or(Fault::Missing(key))
}

/// A thousandth is the least that is kept.
fn above_zero(key: &'static str, value: Option<f64>) -> Result<f64, Fault> {
    match told(key, value)? {
        value if value.is_finite() && value >= 0.001 => Ok(value),
        value => Err(wrong(key, value, "0.001 or more would be right")),
    }
}

impl From<&HeaterFact> for HeaterLine {
    fn from(fact: &HeaterFact) -> Self {
        let Heater { time_constant, cooling_constant, gain, dead_time, cooling_dead_time } = fact.heater;
        Self {
            tool: i64::try_from(fact.tool.idx()).ok(),
            time_constant_s: Some(time_constant.get()),
            cooling_constant_s: Some(cooling_constant.get()),
            gain_k: Some(gain.get()),
            dead_time_s: Some(dead_time.get()),
            cooling_dead_time_s: Some(cooling_dead_time.get()),
            surroundings_c: Some(fact.surroundings.get()),
            heating_spread: Some(fact.heating_spread),
            n: Some(fact.n),
        }
    }
}
