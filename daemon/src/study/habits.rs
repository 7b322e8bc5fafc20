//! What a printer's past prints used, a tool. Owns how settings of prints become a range; whether another print is far
//! from it is the reader's judgement.

use super::runs::{Run, runs};
use crate::entry::{PrinterName, ToolNumber};
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::units::{Celsius, Millimetres};

/// With fewer prints there is no habit.
const PRINTS_LEAST: usize = 3;

/// What a quantity was over past prints.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread<T> {
    /// The middle one; the lower of two.
    pub median: T,
    /// The lowest.
    pub low: T,
    /// The highest.
    pub high: T,
    /// Prints in which it is known.
    pub n: usize,
}

/// What a tool's past prints used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habit {
    /// The tool.
    pub tool: ToolNumber,
    /// Prints that it took part in.
    pub n_prints: usize,
    /// Length of a retraction; `None` where fewer than three prints tell it.
    pub retract: Option<Spread<Millimetres>>,
    /// Set point at work; `None` where fewer than three prints tell it.
    pub print: Option<Spread<Celsius>>,
    /// Standby set point; `None` where fewer than three prints tell it.
    pub standby: Option<Spread<Celsius>>,
}

/// The habits of a printer's tools that ever worked or waited, T0 first.
///
/// # Errors
/// If the record can't be read.
pub fn habits(reader: &Reader, materials: &Materials, printer: &PrinterName) -> Result<Vec<Habit>, StoreError> {
    let mut runs = runs(reader, materials)?;
    runs.retain(|run| run.printer == *printer);
    runs.sort_by_key(|run| run.tool);
    Ok(runs.chunk_by(|a, b| a.tool == b.tool).filter_map(habit).collect())
}

fn habit(runs: &[Run]) -> Option<Habit> {
    let features = || runs.iter().map(|run| run.run.features);
    Some(Habit {
        tool: runs.first()?.tool,
        n_prints: runs.len(),
        retract: spread(features().filter_map(|features| features.retract), Millimetres::get),
        print: spread(features().filter_map(|features| features.print_temperature), Celsius::get),
        standby: spread(features().filter_map(|features| features.standby), Celsius::get),
    })
}

fn spread<T: Copy>(values: impl Iterator<Item = T>, bare: impl Fn(T) -> f64) -> Option<Spread<T>> {
    let mut known: Vec<T> = values.collect();
    known.sort_by(|a, b| bare(*a).total_cmp(&bare(*b)));
    let n = known.len();
    let (low, high) = known.first().copied().zip(known.last().copied())?;
    (n >= PRINTS_LEAST).then(|| Spread { median: known[(n - 1) / 2], low, high, n })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn two_prints_are_no_habit_and_three_are() {
        let of = |lengths: &[f64]| spread(lengths.iter().copied().map(Millimetres::new), Millimetres::get);
        assert_eq!(of(&[]), None);
        assert_eq!(of(&[1.2, 0.8]), None);
        let found = of(&[1.2, 6.0, 0.8]).unwrap();
        assert_eq!((found.median, found.low, found.high), [1.2, 0.8, 6.0].map(Millimetres::new).into());
        assert_eq!(found.n, 3);
    }
}
