//! How long a waiting tool takes to its printing temperature, by its heater as the record has learned it. Owns when
//! that can't be said.

use crate::entry::{HeaterFact, Part, PrinterName};
use crate::store::{PartRow, Reader, StoreError};
use crate::tracker::{Doing, ToolNow};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::Reheat;

/// What is known of a printer's heaters.
pub(super) struct Heaters {
    facts: Vec<HeaterFact>,
    parts: Vec<PartRow>,
}

impl Heaters {
    pub(super) fn of(reader: &Reader, printer: &PrinterName) -> Result<Self, StoreError> {
        Ok(Self { facts: reader.heater_facts(printer)?, parts: reader.parts(Some(printer))? })
    }

    /// From what it reads now to `to`; `None` where it does not wait, or tells no temperature.
    pub(super) fn reheat(&self, idx: usize, now: &ToolNow, to: Option<Celsius>) -> Option<Reheat> {
        let from = now.actual.filter(|_| matches!(now.doing, Doing::Waiting { .. }))?;
        let Some(to) = to else { return Some(Reheat::NoTarget) };
        if from >= to {
            return Some(Reheat::Hot { to });
        }
        let newest = self.facts.iter().rev().find(|fact| fact.tool.idx() == idx);
        let Some(fact) = newest else { return Some(Reheat::NotLearned) };
        let changes = self.parts.iter().map(|row| &row.change).filter(|change| change.tool.idx() == idx);
        // A liner makes no other heater.
        if changes.into_iter().any(|change| change.part != Part::Liner && change.at > fact.at) {
            return Some(Reheat::Changed);
        }
        Some(
            fact.heater
                .heating(from, to, fact.surroundings)
                .map_or(Reheat::OutOfReach { to }, |time| takes(time, fact, to)),
        )
    }
}

/// The interval is as wide a share of this climb as of the one that it was learned for.
fn takes(time: Seconds, fact: &HeaterFact, to: Celsius) -> Reheat {
    let (value, spread) = (time.get(), fact.heating_spread);
    let time = Estimate { value, low: value * (1.0 - spread).max(0.0), high: value * (1.0 + spread), n: fact.n };
    Reheat::Takes { to, time }
}
