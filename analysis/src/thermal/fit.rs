//! Fits one heater to its record. Owns what the fit is made of and which stretches are used for it; what they are asked is
//! told by `ask`.

use super::ask::Asked;
use super::curve::Parameter;
use super::heater::Heater;
use super::spread::Found;
use super::steps::{HeaterReading, Steps};
use super::stretch::{Fan, Kind, Sample, Stretch};
use super::times::Beside;
use crate::estimate::{Estimate, Refusal, count};
use crate::units::{Celsius, CelsiusDelta, Seconds};

/// Stretches of a kind without which their spread is not known.
pub(super) const STRETCHES_LEAST: usize = 2;
/// Readings before a step without which nothing is known of what it was doing.
const BEFORE_LEAST: usize = 3;
/// A step is placed sharply that lies within so many seconds either way: polls of 6 s.
const SHARP: f64 = 3.0;
/// One heater as its record tells it.
#[derive(Clone, Debug, PartialEq)]
pub struct HeaterFit {
    /// The heater; what the record did not tell is that of a typical one, see [`Self::of`].
    pub heater: Heater,
    /// Surroundings that it was fitted in: told by the record, else as given.
    pub ambient: Celsius,
    /// What stood beside it while it fell and climbed, on average.
    pub usual: Beside,
    /// Falls.
    pub n_cooldowns: usize,
    /// Climbs.
    pub n_heatups: usize,
    /// Root mean square of what the curves miss the readings by, K.
    pub rmse_k: f64,
    pub(super) found: Found,
    estimates: [Result<Estimate, Refusal>; 8],
}

impl HeaterFit {
    /// One parameter with its 90 % interval, or why there is none. `n` counts the stretches that tell it.
    ///
    /// # Errors
    /// Where the record says too little of it: warming then has the time constant of cooling, neighbour and bed pass on
    /// what is usual, the surroundings are as given, and anything else is that of a typical heater.
    pub fn of(&self, parameter: Parameter) -> Result<Estimate, Refusal> {
        let place = Parameter::ALL.iter().position(|one| *one == parameter);
        place.and_then(|place| self.estimates.get(place).copied()).unwrap_or(Err(Refusal::TooLoose))
    }
}

/// A heater without and with the part fan, where the record tells the fan; they are two heaters.
#[derive(Clone, Debug, PartialEq)]
pub struct FanFits {
    /// With the fan off, or where nobody told.
    pub still: Result<HeaterFit, Refusal>,
    /// With the fan on.
    pub blown: Result<HeaterFit, Refusal>,
}

/// Fits a heater to readings in order of time; with the part fan off, where it is told.
///
/// # Errors
/// Where the set point was never lowered or raised far enough, or only once, or the curves do not fit.
pub fn fit(readings: &[HeaterReading], ambient: Celsius) -> Result<HeaterFit, Refusal> {
    let mut steps = Steps::new(ambient);
    for reading in readings {
        steps.push(reading);
    }
    steps.fit()
}

impl Steps {
    /// Fits a heater to what was pushed, as [`fit`].
    ///
    /// # Errors
    /// As [`fit`].
    pub fn fit(self) -> Result<HeaterFit, Refusal> {
        self.fit_both().still
    }

    /// Fits it to what was pushed, without and with the part fan.
    #[must_use]
    pub fn fit_both(self) -> FanFits {
        let ambient = self.ambient();
        let (blown, still) = self.finish().into_iter().partition(|stretch| stretch.fan == Fan::On);
        FanFits { still: fit_stretches(still, ambient), blown: fit_stretches(blown, ambient) }
    }
}

/// Fits a heater to stretches whose rises are above `ambient`.
pub(super) fn fit_stretches(mut stretches: Vec<Stretch>, ambient: Celsius) -> Result<HeaterFit, Refusal> {
    let of = |stretches: &[Stretch], kind| stretches.iter().filter(|stretch| stretch.kind == kind).count();
    let [falls, climbs, _] = Kind::ALL.map(|kind| of(&stretches, kind));
    if falls + climbs == 0 {
        return Err(Refusal::NoStep);
    }
    if falls.max(climbs) < STRETCHES_LEAST {
        return Err(Refusal::TooFew { have: falls.max(climbs), need: STRETCHES_LEAST });
    }
    agree(&mut stretches, |sample| sample.neighbour.is_some());
    agree(&mut stretches, |sample| sample.bed.is_some());
    for kind in Kind::ALL {
        if of(&stretches, kind) < STRETCHES_LEAST {
            stretches.retain(|stretch| stretch.kind != kind);
        }
    }
    let unplaced = [Kind::Fall, Kind::Climb].map(|kind| sharpen(&mut stretches, kind));
    let mut asked = Asked::of(&stretches, [falls, climbs]);
    let (missed, mut found) = loop {
        match asked.answer(&stretches)? {
            Ok(told) => break told,
            Err(loose) => asked.leave_out(loose, Refusal::TooLoose),
        }
    };
    found.unplaced = unplaced;
    let estimates = Parameter::ALL.map(|parameter| {
        let refused = asked.refused.iter().find(|(one, _)| *one == parameter);
        refused.map_or_else(|| shifted(found.estimate(parameter), parameter, ambient), |(_, refusal)| Err(*refusal))
    });
    Ok(HeaterFit {
        heater: heater(&found, &asked),
        ambient: ambient + CelsiusDelta::new(found.values.ambient),
        usual: usual(&stretches, ambient),
        n_cooldowns: falls,
        n_heatups: climbs,
        rmse_k: missed,
        found,
        estimates,
    })
}

/// Where most stretches tell what stands beside the heater, those that don't are left out; where few do, it is not looked
/// at.
fn agree(stretches: &mut Vec<Stretch>, is_told: fn(&Sample) -> bool) {
    let tells = |stretch: &Stretch| stretch.samples.iter().all(is_told);
    if 2 * stretches.iter().filter(|stretch| tells(stretch)).count() > stretches.len() {
        stretches.retain(tells);
    }
}

/// The mean temperatures of what stood beside falls and climbs.
fn usual(stretches: &[Stretch], ambient: Celsius) -> Beside {
    let moves = |stretch: &&Stretch| stretch.kind != Kind::Rest;
    let mean = |told: fn(&Sample) -> Option<f64>| {
        let told: Vec<f64> = stretches.iter().filter(moves).flat_map(|one| &one.samples).filter_map(told).collect();
        (!told.is_empty()).then(|| ambient + CelsiusDelta::new(told.iter().sum::<f64>() / count(told.len())))
    };
    Beside { neighbour: mean(|sample| sample.neighbour), bed: mean(|sample| sample.bed) }
}

/// Surroundings are fitted above the given ones.
fn shifted(estimate: Result<Estimate, Refusal>, parameter: Parameter, by: Celsius) -> Result<Estimate, Refusal> {
    let by = if parameter == Parameter::Ambient { by.get() } else { 0.0 };
    estimate.map(|Estimate { value, low, high, n }| Estimate { value: value + by, low: low + by, high: high + by, n })
}

fn heater(found: &Found, asked: &Asked) -> Heater {
    let typical = Heater::HOT_END;
    let has = |parameter| asked.has(parameter);
    let values = &found.values;
    Heater {
        time_constant: Seconds::new(values.heating_tau),
        cooling_constant: Seconds::new(values.cooling_tau),
        gain: if has(Parameter::Gain) { CelsiusDelta::new(values.gain) } else { typical.gain },
        dead_time: if has(Parameter::HeatingDeadTime) {
            Seconds::new(values.heating_dead.max(0.0))
        } else {
            typical.dead_time
        },
        cooling_dead_time: Seconds::new(values.cooling_dead.max(0.0)),
    }
}

/// Leaves the dead time to the steps that are placed sharply, if there are enough; else says by how much steps may lie
/// elsewhere on average, s. Polls and steps can share a rhythm, so that is no noise which would even out.
fn sharpen(stretches: &mut [Stretch], kind: Kind) -> f64 {
    let tells = |stretch: &Stretch| stretch.kind == kind && stretch.n_before() >= BEFORE_LEAST;
    let n =
        |sharp: bool| stretches.iter().filter(|stretch| tells(stretch) && (!sharp || stretch.vague <= SHARP)).count();
    let (sharp, telling) = (n(true), n(false));
    let mut vague = Vec::new();
    for stretch in stretches.iter_mut().filter(|stretch| stretch.kind == kind) {
        let keeps = tells(stretch) && telling >= STRETCHES_LEAST;
        if keeps && (sharp < STRETCHES_LEAST || stretch.vague <= SHARP) {
            vague.push(stretch.vague);
        } else {
            stretch.forget_step();
        }
    }
    if sharp >= STRETCHES_LEAST { 0.0 } else { vague.iter().sum::<f64>() / count(vague.len()).max(1.0) }
}
