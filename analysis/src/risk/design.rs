//! Turns runs into rows of numbers. Owns which factors a record can speak of, their shape and their scale; what a
//! row means for the risk is the fit's business.

use super::run::{COLUMNS, Column, Features, Group, Shape};
use crate::estimate::{Refusal, count};

/// Two factors that correlate more than this say the same; the record can't tell which of them did it.
const SAME: f64 = 0.95;
/// No run counts as further out than so many standard deviations, so that one odd reading does not decide.
const FAR: f64 = 4.0;

/// The factors of a record and their scales.
#[derive(Debug)]
pub(super) struct Design {
    kept: Vec<Scaled>,
}

#[derive(Debug)]
struct Scaled {
    column: &'static Column,
    median: f64,
    mean: f64,
    deviation: f64,
}

impl Design {
    /// The factors that `record` can speak of: known in at least half of the runs, not the same in all of them, and
    /// not a repetition of a factor that is kept already.
    pub(super) fn of(record: &[&Features]) -> Result<Self, Refusal> {
        static TABLE: [Column; COLUMNS.len()] = COLUMNS;
        let mut kept: Vec<(Scaled, Vec<f64>)> = Vec::new();
        for column in &TABLE {
            let Some(scaled) = Scaled::of(column, record) else { continue };
            let values: Vec<f64> = record.iter().map(|features| scaled.value(features)).collect();
            if kept.iter().all(|(_, other)| correlation(&values, other).abs() <= SAME) {
                kept.push((scaled, values));
            }
        }
        if kept.is_empty() {
            return Err(Refusal::NothingVaries);
        }
        Ok(Self { kept: kept.into_iter().map(|(scaled, _)| scaled).collect() })
    }

    /// Name and group of each factor, in the order of a row.
    pub(super) fn factors(&self) -> impl Iterator<Item = (&'static str, Group)> {
        self.kept.iter().map(|scaled| (scaled.column.name, scaled.column.group))
    }

    /// A run as standard deviations from the record's mean, factor by factor. What is not known of it is taken as
    /// average, so that it moves the risk neither way.
    pub(super) fn row(&self, features: &Features) -> Vec<f64> {
        self.kept.iter().map(|scaled| scaled.value(features)).collect()
    }
}

impl Scaled {
    fn of(column: &'static Column, record: &[&Features]) -> Option<Self> {
        let mut known: Vec<f64> =
            record.iter().filter_map(|features| (column.read)(features)).filter(|value| value.is_finite()).collect();
        if known.is_empty() || known.len() * 2 < record.len() {
            return None;
        }
        known.sort_by(f64::total_cmp);
        let median = known[known.len() / 2];
        let shaped: Vec<f64> = known.iter().map(|value| column.shape.apply(*value, median)).collect();
        let mean = shaped.iter().sum::<f64>() / count(shaped.len());
        let variance = shaped.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / count(shaped.len());
        let deviation = variance.sqrt();
        // A temperature that differs in its last bit only does not vary.
        (deviation > 1e-9 * (1.0 + mean.abs())).then_some(Self { column, median, mean, deviation })
    }

    fn value(&self, features: &Features) -> f64 {
        (self.column.read)(features).filter(|value| value.is_finite()).map_or(0.0, |value| {
            ((self.column.shape.apply(value, self.median) - self.mean) / self.deviation).clamp(-FAR, FAR)
        })
    }
}

impl Shape {
    fn apply(self, value: f64, median: f64) -> f64 {
        match self {
            Self::Plain => value,
            Self::Log => value.max(0.0).ln_1p(),
            Self::Departure => (value - median).abs(),
        }
    }
}

/// Pearson's correlation of two columns that have mean zero; 0 where one of them does not vary.
pub(super) fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let product = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
    let scale = (product(a, a) * product(b, b)).sqrt();
    if scale > 0.0 { product(a, b) / scale } else { 0.0 }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::polymer::Material;
    use crate::units::{Celsius, DoseMinutes, Millimetres};

    fn names(record: &[Features]) -> Vec<&'static str> {
        let rows: Vec<&Features> = record.iter().collect();
        Design::of(&rows).unwrap().factors().map(|(name, _)| name).collect()
    }

    #[test]
    fn what_is_unknown_constant_or_said_twice_is_left_out() {
        let record: Vec<Features> = [(1.0, 210.0), (5.0, 210.0), (2.0, 210.0), (30.0, 210.0)]
            .map(|(dose, print)| Features {
                dose_max: Some(DoseMinutes::new(dose)),
                dose_sum: Some(DoseMinutes::new(dose * 1.01)),
                print_temperature: Some(Celsius::new(print)),
                ..Features::of(Material::Pla)
            })
            .to_vec();
        assert_eq!(names(&record), ["dose_max"]);
    }

    #[test]
    fn a_record_in_which_nothing_varies_is_refused() {
        let run = Features::of(Material::Pla);
        assert_eq!(Design::of(&[&run, &run]).unwrap_err(), Refusal::NothingVaries);
    }

    #[test]
    fn an_unknown_quantity_is_average_and_an_odd_one_is_held_back() {
        let of = |length| Features { retract: Some(Millimetres::new(length)), ..Features::of(Material::Pla) };
        let record = [of(1.0), of(2.0), of(4.0), of(9.0)];
        let design = Design::of(&record.iter().collect::<Vec<_>>()).unwrap();
        assert!(design.row(&Features::of(Material::Pla)).iter().all(|value| value.abs() < 1e-12));
        assert!(design.row(&of(1e6)).iter().all(|value| (value - FAR).abs() < 1e-12));
    }
}
