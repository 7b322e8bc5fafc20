//! A printer's heaters as its newest prints show them. Owns which readings are looked at; the fit is `analysis`'s.

use crate::entry::{CentiCelsius, HotEnd, Part, PrinterName, Reading};
use crate::store::{PrintFilter, Reader, StoreError};
use dwell_analysis::estimate::{Estimate, Refusal};
use dwell_analysis::thermal::{AMBIENT, Heater, HeaterFit, HeaterReading, Parameter, Steps};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// The newest prints looked at: what is older may be of a heater that has aged since.
const PRINTS_MAX: u32 = 20;
/// Time looked at in all: 100,000 readings at a reading a second.
const TIME_MAX: Seconds = Seconds::new(100_000.0);
/// A print's heaters are warmed up before it and cool down after it.
const AROUND: Seconds = Seconds::minutes(10.0);

/// The heater of each tool of a printer, T0 first, from its newest prints; nothing for a printer that is not known.
/// Where the record does not tell the surroundings, they are taken for [`AMBIENT`]; where it tells the part fan, the
/// heater is the one without: the fan of a tool that waits is off.
///
/// # Errors
/// If the record can't be read; what a tool's readings do not show is a refusal of its own.
pub fn heater_fits(reader: &Reader, printer: &PrinterName) -> Result<Vec<Result<HeaterFit, Refusal>>, StoreError> {
    Ok(records(reader, printer)?.into_iter().map(|record| record.whole.fit_both().still).collect())
}

/// Polls of several seconds place a step so loosely that the fitted dead time can be many times a hot end's; it would
/// then say that every reheat comes late. A typical one is nearer than that.
const DEAD_TIME_LOOSE: Seconds = Seconds::new(5.0);

/// The fitted heater, with a typical one's dead time where its own is placed loosely.
#[must_use]
pub fn placed_heater(fit: &HeaterFit) -> Heater {
    placed(fit.heater, fit.of(Parameter::HeatingDeadTime))
}

fn placed(heater: Heater, dead_time: Result<Estimate, Refusal>) -> Heater {
    let is_loose = dead_time.is_ok_and(|told| told.high - told.low > DEAD_TIME_LOOSE.get());
    Heater { dead_time: if is_loose { Heater::HOT_END.dead_time } else { heater.dead_time }, ..heater }
}

/// What the newest prints say of one tool's heater so far: as a whole, and each half of the prints by itself.
pub(super) struct Record {
    pub(super) whole: Steps,
    pub(super) older: Steps,
    pub(super) newer: Steps,
    /// Prints in each half.
    pub(super) n: [usize; 2],
    /// The first stretch of the newer half.
    middle: usize,
}

impl Record {
    /// Of `n` stretches, the first `skipped` are of another heater.
    fn new(n: usize, skipped: usize) -> Self {
        let n_before = (n - skipped) / 2;
        let [whole, older, newer] = [Steps::new(AMBIENT), Steps::new(AMBIENT), Steps::new(AMBIENT)];
        Self { whole, older, newer, n: [n_before, n - skipped - n_before], middle: skipped + n_before }
    }

    fn push(&mut self, stretch: usize, reading: &HeaterReading) {
        self.whole.push(reading);
        let half = if stretch < self.middle { &mut self.older } else { &mut self.newer };
        half.push(reading);
    }
}

/// The records of a printer's tools, T0 first.
pub(super) fn records(reader: &Reader, printer: &PrinterName) -> Result<Vec<Record>, StoreError> {
    let Some(row) = reader.printers()?.into_iter().find(|row| row.name == *printer) else { return Ok(Vec::new()) };
    let since = fitted_since(reader, printer, row.n_tools)?;
    let stretches = stretches(reader, printer)?;
    let skipped = |since: &Option<Timestamp>| {
        since.map_or(0, |since| stretches.iter().take_while(|(_, to)| *to <= since).count())
    };
    let mut tools: Vec<Record> = since.iter().map(|since| Record::new(stretches.len(), skipped(since))).collect();
    for (stretch, (from, to)) in stretches.into_iter().enumerate() {
        let mut origin = None;
        for reading in reader.readings(printer, Some(from), Some(to))? {
            let reading = reading?;
            let at = reading.at - *origin.get_or_insert(reading.at);
            for (idx, (tool, since)) in tools.iter_mut().zip(&since).enumerate() {
                if since.is_some_and(|since| reading.at < since) {
                    continue;
                }
                // What is told after a gap begins afresh.
                if reading.after_gap {
                    tool.push(stretch, &HeaterReading::gap(at));
                }
                tool.push(stretch, &of_tool(&reading, idx, at, row.hot_end));
            }
        }
        // The next stretch is of another time.
        for tool in &mut tools {
            tool.push(stretch, &HeaterReading::gap(Seconds::ZERO));
        }
    }
    Ok(tools)
}

/// When each tool got a part that makes it another heater; a liner does not.
fn fitted_since(reader: &Reader, printer: &PrinterName, n_tools: usize) -> Result<Vec<Option<Timestamp>>, StoreError> {
    let parts = reader.parts(Some(printer))?;
    let newest = |idx: usize| {
        let own = parts.iter().map(|row| &row.change);
        let own = own.filter(|change| change.tool.idx() == idx && change.part != Part::Liner);
        own.map(|change| change.at).max()
    };
    Ok((0..n_tools).map(newest).collect())
}

fn of_tool(reading: &Reading, idx: usize, at: Seconds, hot_end: HotEnd) -> HeaterReading {
    let heater = reading.tools.get(idx).copied().unwrap_or_default();
    // Of several the hottest; tools that share one heater have no neighbour.
    let others = reading.tools.iter().enumerate().filter(|(other, _)| *other != idx && hot_end == HotEnd::Separate);
    let neighbour = others.filter_map(|(_, other)| other.actual).max();
    HeaterReading {
        at,
        actual: heater.actual.map(CentiCelsius::celsius),
        target: heater.target.map(CentiCelsius::celsius),
        duty: heater.duty_thousandths.map(|duty| f64::from(duty) / 1000.0),
        neighbour: neighbour.map(CentiCelsius::celsius),
        bed: reading.bed.and_then(|bed| bed.actual).map(CentiCelsius::celsius),
        fan: heater.fan_thousandths.map(|fan| f64::from(fan) / 1000.0),
    }
}

/// The time around each of the newest prints, oldest first, none of it twice, as far as the bound allows.
fn stretches(reader: &Reader, printer: &PrinterName) -> Result<Vec<(Timestamp, Timestamp)>, StoreError> {
    let filter = PrintFilter { printer: Some(printer.clone()), limit: Some(PRINTS_MAX), ..PrintFilter::default() };
    let (mut kept, mut looked_at): (Vec<(Timestamp, Timestamp)>, _) = (Vec::new(), Seconds::ZERO);
    for print in reader.prints(&filter)? {
        let Some(ended) = print.ended else { continue };
        let later = kept.last().map(|(from, _)| *from);
        let to = later.map_or(ended + AROUND, |later| later.min(ended + AROUND));
        // Of a print that is longer than what is left, the end.
        let from = (print.started - AROUND).max(to - (TIME_MAX - looked_at));
        if from >= to {
            continue;
        }
        looked_at += to - from;
        kept.push((from, to));
    }
    kept.reverse();
    Ok(kept)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dead_time_that_polls_place_loosely_is_not_taken() {
        let heater = |dead: f64, half: f64| {
            let fitted =
                Heater { dead_time: Seconds::new(dead), time_constant: Seconds::new(150.0), ..Heater::HOT_END };
            placed(fitted, Ok(Estimate { value: dead, low: dead - half, high: dead + half, n: 4 }))
        };
        let (sharp, loose) = (heater(9.0, 1.0), heater(9.0, 4.0));
        assert_eq!(sharp.dead_time, Seconds::new(9.0));
        assert_eq!((loose.dead_time, loose.time_constant), (Heater::HOT_END.dead_time, Seconds::new(150.0)));
    }
}
