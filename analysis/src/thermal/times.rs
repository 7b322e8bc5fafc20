//! What follows from a fitted heater: how long it cools and heats between two temperatures, with intervals. Owns
//! these; `heater` owns the formulas.

use super::curve::{Parameter, Values};
use super::fit::HeaterFit;
use super::heater::Heater;
use super::stretch::Kind;
use crate::estimate::{Estimate, Refusal};
use crate::units::{Celsius, CelsiusDelta, Seconds};

/// What stands beside a heater. `None` is what is cold, or not told.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beside {
    /// Temperature of the neighbouring heater.
    pub neighbour: Option<Celsius>,
    /// Temperature of the bed.
    pub bed: Option<Celsius>,
}

impl HeaterFit {
    /// What the heater takes for its surroundings beside such neighbours: where it would settle without duty.
    #[must_use]
    pub fn surroundings(&self, beside: Beside) -> Celsius {
        self.around(&self.found.values, beside)
    }

    /// Time to cool between two temperatures without duty, s, with its 90 % interval; dead time included.
    ///
    /// # Errors
    /// Where its falls are not told, or it never gets that cool.
    pub fn cooling(&self, from: Celsius, to: Celsius, beside: Beside) -> Result<Estimate, Refusal> {
        self.of(Parameter::CoolingConstant)?;
        self.of(Parameter::CoolingDeadTime)?;
        let time = |values: &Values| {
            let heater = of_values(values);
            heater.cooling(from, to, self.around(values, beside)).map(Seconds::get)
        };
        self.time(time, self.found.unplaced[0], Kind::Fall)
    }

    /// Time to heat between two temperatures at full duty, s, with its 90 % interval; dead time included.
    ///
    /// # Errors
    /// Where its climbs are not told, or it never gets that hot.
    pub fn heating(&self, from: Celsius, to: Celsius, beside: Beside) -> Result<Estimate, Refusal> {
        self.of(Parameter::Gain)?;
        self.of(Parameter::HeatingDeadTime)?;
        let time = |values: &Values| {
            let heater = of_values(values);
            heater.heating(from, to, self.around(values, beside)).map(Seconds::get)
        };
        self.time(time, self.found.unplaced[1], Kind::Climb)
    }

    /// Time to cool between two temperatures and to heat back, s, with its 90 % interval: a shorter wait ends before the
    /// heater is down and up again.
    ///
    /// # Errors
    /// As [`Self::cooling`] and [`Self::heating`].
    pub fn round_trip(&self, from: Celsius, to: Celsius, beside: Beside) -> Result<Estimate, Refusal> {
        let (down, up) = (self.cooling(from, to, beside)?, self.heating(to, from, beside)?);
        let time = |values: &Values| {
            let (heater, around) = (of_values(values), self.around(values, beside));
            Some((heater.cooling(from, to, around)? + heater.heating(to, from, around)?).get())
        };
        let sum = self.time(time, self.found.unplaced.iter().sum(), Kind::Fall)?;
        Ok(Estimate { n: down.n.min(up.n), ..sum })
    }

    fn time(&self, time: impl Fn(&Values) -> Option<f64>, unplaced: f64, kind: Kind) -> Result<Estimate, Refusal> {
        let value = time(&self.found.values).ok_or(Refusal::OutOfReach)?;
        let spread = self.found.spread(&time).ok_or(Refusal::TooLoose)?;
        if value <= 0.0 {
            return Ok(Estimate { value: 0.0, low: 0.0, high: 0.0, n: self.found.n(kind) });
        }
        let half = spread.half_width() + unplaced;
        Ok(Estimate { value, low: (value - half).max(0.0), high: value + half, n: self.found.n(kind) })
    }

    fn around(&self, values: &Values, beside: Beside) -> Celsius {
        // The given surroundings: the fitted ones are so much above them.
        let given = self.ambient - CelsiusDelta::new(self.found.values.ambient);
        let ambient = given + CelsiusDelta::new(values.ambient);
        let from = |share: f64, beside: Option<Celsius>| {
            CelsiusDelta::new(beside.map_or(0.0, |beside| share * (beside - ambient).get()))
        };
        ambient + from(values.neighbour, beside.neighbour) + from(values.bed, beside.bed)
    }
}

fn of_values(values: &Values) -> Heater {
    Heater {
        time_constant: Seconds::new(values.heating_tau),
        cooling_constant: Seconds::new(values.cooling_tau),
        gain: CelsiusDelta::new(values.gain),
        dead_time: Seconds::new(values.heating_dead),
        cooling_dead_time: Seconds::new(values.cooling_dead),
    }
}
