//! Fits one heater to its record. Owns the estimates of its time constant, gain and dead time and their intervals;
//! what counts as a fall or a climb is told by `steps`.
//!
//! The surroundings' temperature is given, not fitted: over the falls that standby makes, from 210 °C to 150 °C, it
//! and the time constant are nearly one parameter, so that both can't be told from the same readings. Times reckoned
//! with the fitted heater in the same surroundings are right either way; the time constant itself is off by 0.65 % for
//! each kelvin (tau is in proportion to the rise above the surroundings, some 155 K).
//!
//! Falls: `T - T_amb = a_i e^(-t/tau)` with an amplitude each and one tau, by least squares in tau alone (golden
//! section), the amplitudes solved for. Climbs, with that tau: `T - T_amb = K + b_i e^(-t/tau)`, linear in K and `b_i`.
//! Dead time: when a climb's curve meets that of the readings before its step, `c_i + d_i e^(-t/tau)`, which is what
//! the heater goes on doing until the step is felt, be it held or falling.
//!
//! Stretches differ by more than the sensor's noise (fan, flow, neighbours), so they are what varies in the intervals:
//! a jackknife over falls and one over climbs, with Student's t at Satterthwaite's degrees of freedom (Biometrics
//! Bulletin 2 (1946) 110), and at least two stretches of each kind.

use super::heater::Heater;
use super::steps::{HeaterReading, Steps, Stretch};
use crate::estimate::{Estimate, Refusal, count};
use crate::units::{Celsius, CelsiusDelta, Seconds};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Stretches of either kind without which their spread is not known.
const STRETCHES_LEAST: usize = 2;
/// Time constants that a heater may have, s; a fit that ends at either has found none.
const TAU_MIN: f64 = 3.0;
const TAU_MAX: f64 = 7200.0;
/// Where the search looks first, and the factor either way within which a fit without one stretch is looked for.
const GRID: usize = 48;
const NEAR: f64 = 3.0;
/// Iterations of the golden section, and the relative width at which it is there.
const ITERATIONS: u16 = 100;
const CLOSE: f64 = 1e-7;
/// Readings before a raise without which nothing is known of what it was doing.
const BEFORE_LEAST: usize = 3;
/// A step is placed sharply that lies within so many seconds either way: polls of 6 s.
const SHARP: f64 = 3.0;
/// Upper end of a two-sided 90 % interval.
const NINETY: f64 = 0.95;

/// One heater as its record tells it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeaterFit {
    /// The heater.
    pub heater: Heater,
    /// Time constant, s, with its 90 % interval; `n` counts falls.
    pub time_constant: Estimate,
    /// Rise above the surroundings at full duty, K; `n` counts climbs.
    pub gain: Estimate,
    /// Dead time, s; `n` counts climbs whose time before the step is known.
    pub dead_time: Estimate,
    /// Falls.
    pub n_cooldowns: usize,
    /// Climbs.
    pub n_heatups: usize,
    /// Root mean square of what the curves miss the readings by, K.
    pub rmse_k: f64,
}

/// Fits a heater to readings in order of time.
///
/// # Errors
/// Where the set point was never lowered or never raised far enough, or only once, or the curves do not fit.
pub fn fit(readings: &[HeaterReading], ambient: Celsius) -> Result<HeaterFit, Refusal> {
    let mut steps = Steps::new(ambient);
    for reading in readings {
        steps.push(reading);
    }
    steps.fit()
}

impl Steps {
    /// Fits a heater to what was pushed.
    ///
    /// # Errors
    /// As [`fit`].
    pub fn fit(self) -> Result<HeaterFit, Refusal> {
        let (falls, mut climbs) = self.finish();
        let vague = sharpen(&mut climbs);
        if falls.is_empty() || climbs.is_empty() {
            return Err(Refusal::NoStep);
        }
        let have = falls.len().min(climbs.len());
        if have < STRETCHES_LEAST {
            return Err(Refusal::TooFew { have, need: STRETCHES_LEAST });
        }
        let falls: Vec<&Stretch> = falls.iter().collect();
        let climbs: Vec<&Stretch> = climbs.iter().collect();
        let found = Found::of(&falls, &climbs)?;
        let spread = Spread::of(&found, &falls, &climbs)?;
        let rises = climbs.len();
        let dead = dead_times(found.tau, found.gain, &climbs).len();
        let square = miss(found.tau, &falls) + climb_miss(found.tau, found.gain, &climbs);
        let readings: usize = falls.iter().chain(&climbs).map(|stretch| stretch.points.len()).sum();
        let heater = Heater {
            time_constant: Seconds::new(found.tau),
            gain: CelsiusDelta::new(found.gain),
            dead_time: Seconds::new(found.dead.max(0.0)),
        };
        Ok(HeaterFit {
            heater,
            time_constant: by_factor(found.tau, spread.tau.half_width()?, falls.len()),
            gain: by_factor(found.gain, spread.gain.half_width()?, rises),
            dead_time: never_below_nought(found.dead, spread.dead.half_width()? + vague, dead),
            n_cooldowns: falls.len(),
            n_heatups: rises,
            rmse_k: (square / count(readings)).sqrt(),
        })
    }
}

/// Leaves the dead time to the climbs whose step is placed sharply, if there are enough; else says by how much the
/// steps may lie elsewhere on average, s. Polls and steps can share a rhythm, so that is no noise which would even out.
fn sharpen(climbs: &mut [Stretch]) -> f64 {
    let tells = |climb: &&Stretch| climb.before.len() >= BEFORE_LEAST;
    let sharp = climbs.iter().filter(tells).filter(|climb| climb.vague <= SHARP).count();
    if sharp >= STRETCHES_LEAST {
        climbs.iter_mut().filter(|climb| climb.vague > SHARP).for_each(|climb| climb.before.clear());
        return 0.0;
    }
    let telling: Vec<f64> = climbs.iter().filter(tells).map(|climb| climb.vague).collect();
    telling.iter().sum::<f64>() / count(telling.len()).max(1.0)
}

/// A positive quantity's interval, even on its logarithm, so that it can't reach below nought.
fn by_factor(value: f64, half: f64, n: usize) -> Estimate {
    let factor = (half / value).exp();
    Estimate { value, low: value / factor, high: value * factor, n }
}

fn never_below_nought(value: f64, half: f64, n: usize) -> Estimate {
    Estimate { value: value.max(0.0), low: (value - half).max(0.0), high: (value + half).max(0.0), n }
}

/// The three parameters.
#[derive(Clone, Copy, Debug)]
struct Found {
    tau: f64,
    gain: f64,
    dead: f64,
}

impl Found {
    fn of(falls: &[&Stretch], climbs: &[&Stretch]) -> Result<Self, Refusal> {
        Self::with(time_constant(falls)?, climbs)
    }

    fn with(tau: f64, climbs: &[&Stretch]) -> Result<Self, Refusal> {
        let gain = gain(tau, climbs);
        let dead = dead_times(tau, gain, climbs);
        if dead.is_empty() {
            return Err(Refusal::TooFew { have: 0, need: STRETCHES_LEAST });
        }
        Ok(Self { tau, gain, dead: dead.iter().sum::<f64>() / count(dead.len()) })
    }
}

/// What the falls miss with that time constant: the sum of squares, each fall's amplitude solved for.
pub(super) fn miss(tau: f64, falls: &[&Stretch]) -> f64 {
    let one = |fall: &&Stretch| {
        let from = fall.points.first().map_or(0.0, |(at, _)| *at);
        let decay = |at: f64| (-(at - from) / tau).exp();
        let (product, square) = fall.points.iter().fold((0.0, 0.0), |(product, square), (at, rise)| {
            let left = decay(*at);
            (product + left * rise, square + left * left)
        });
        fall.points.iter().map(|(at, rise)| (rise - product / square * decay(*at)).powi(2)).sum::<f64>()
    };
    falls.iter().map(one).sum()
}

/// The time constant of the least sum of squares.
pub(super) fn time_constant(falls: &[&Stretch]) -> Result<f64, Refusal> {
    let step = (TAU_MAX / TAU_MIN).ln() / count(GRID);
    let at = |place: usize| (TAU_MIN.ln() + step * count(place)).exp();
    let least = (0..=GRID).min_by(|a, b| miss(at(*a), falls).total_cmp(&miss(at(*b), falls)));
    match least {
        Some(place) if (1..GRID).contains(&place) => golden(falls, at(place - 1), at(place + 1)),
        Some(_) | None => Err(Refusal::DidNotConverge { after: ITERATIONS }),
    }
}

/// The least sum of squares between two time constants, by golden section on their logarithm.
fn golden(falls: &[&Stretch], low: f64, high: f64) -> Result<f64, Refusal> {
    let share = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (low.ln(), high.ln());
    let ends = (low, high);
    let probe = |at: f64| miss(at.exp(), falls);
    let (mut left, mut right) = (high - share * (high - low), low + share * (high - low));
    let (mut at_left, mut at_right) = (probe(left), probe(right));
    for _ in 0..ITERATIONS {
        if high - low < CLOSE {
            let found = f64::midpoint(low, high);
            let is_inside = found - ends.0 > 2.0 * CLOSE && ends.1 - found > 2.0 * CLOSE;
            return is_inside.then(|| found.exp()).ok_or(Refusal::DidNotConverge { after: ITERATIONS });
        }
        if at_left < at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - share * (high - low);
            at_left = probe(left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + share * (high - low);
            at_right = probe(right);
        }
    }
    Err(Refusal::DidNotConverge { after: ITERATIONS })
}

/// Sums over points of 1, e, e², y and y e, with e = e^(-t/tau).
fn sums(tau: f64, points: &[(f64, f64)]) -> [f64; 5] {
    points.iter().fold([0.0; 5], |[n, e, ee, y, ye], (at, rise)| {
        let left = (-at / tau).exp();
        [n + 1.0, e + left, ee + left * left, y + rise, ye + rise * left]
    })
}

/// What all climbs tend to, each one's own amplitude solved for.
pub(super) fn gain(tau: f64, climbs: &[&Stretch]) -> f64 {
    let (top, bottom) = climbs.iter().fold((0.0, 0.0), |(top, bottom), climb| {
        let [n, e, ee, y, ye] = sums(tau, &climb.points);
        (top + y - e * ye / ee, bottom + n - e * e / ee)
    });
    top / bottom
}

fn amplitude(tau: f64, gain: f64, climb: &Stretch) -> f64 {
    let [_, e, ee, _, ye] = sums(tau, &climb.points);
    (ye - gain * e) / ee
}

pub(super) fn climb_miss(tau: f64, gain: f64, climbs: &[&Stretch]) -> f64 {
    let one = |climb: &&Stretch| {
        let amplitude = amplitude(tau, gain, climb);
        let curve = |at: f64| gain + amplitude * (-at / tau).exp();
        climb.points.iter().map(|(at, rise)| (rise - curve(*at)).powi(2)).sum::<f64>()
    };
    climbs.iter().map(one).sum()
}

/// The dead time of each climb whose time before the step is known.
pub(super) fn dead_times(tau: f64, gain: f64, climbs: &[&Stretch]) -> Vec<f64> {
    let one = |climb: &&Stretch| {
        if climb.before.len() < BEFORE_LEAST {
            return None;
        }
        let [n, e, ee, y, ye] = sums(tau, &climb.before);
        let slope = (ye - e * y / n) / (ee - e * e / n);
        let level = (y - slope * e) / n;
        let left = (level - gain) / (amplitude(tau, gain, climb) - slope);
        let dead = -tau * left.ln();
        dead.is_finite().then_some(dead)
    };
    climbs.iter().filter_map(one).collect()
}

/// How sure one parameter is.
#[derive(Clone, Copy, Debug, Default)]
struct Sure {
    /// Variance from each kind of stretch, and its degrees of freedom.
    parts: [(f64, f64); 2],
}

impl Sure {
    fn half_width(&self) -> Result<f64, Refusal> {
        let variance: f64 = self.parts.iter().map(|(variance, _)| variance).sum();
        if variance <= 0.0 {
            return Ok(0.0);
        }
        let shares = self.parts.iter().filter(|(_, freedom)| *freedom > 0.0);
        let freedom = variance * variance / shares.map(|(part, freedom)| part * part / freedom).sum::<f64>();
        let student = StudentsT::new(0.0, 1.0, freedom).map_err(|_| Refusal::DidNotConverge { after: ITERATIONS })?;
        Ok(student.inverse_cdf(NINETY) * variance.sqrt())
    }
}

/// How sure each parameter is.
struct Spread {
    tau: Sure,
    gain: Sure,
    dead: Sure,
}

impl Spread {
    fn of(found: &Found, falls: &[&Stretch], climbs: &[&Stretch]) -> Result<Self, Refusal> {
        let mut without_fall = Vec::with_capacity(falls.len());
        for left_out in 0..falls.len() {
            let tau = golden(&without(falls, left_out), found.tau / NEAR, found.tau * NEAR)?;
            without_fall.push(Found::with(tau, climbs)?);
        }
        let mut without_climb = Vec::with_capacity(climbs.len());
        for left_out in 0..climbs.len() {
            without_climb.push(Found::with(found.tau, &without(climbs, left_out))?);
        }
        let sure =
            |read: fn(&Found) -> f64| Sure { parts: [jackknife(&without_fall, read), jackknife(&without_climb, read)] };
        Ok(Self { tau: sure(|found| found.tau), gain: sure(|found| found.gain), dead: sure(|found| found.dead) })
    }
}

fn without<'a>(stretches: &[&'a Stretch], left_out: usize) -> Vec<&'a Stretch> {
    stretches.iter().enumerate().filter(|(place, _)| *place != left_out).map(|(_, stretch)| *stretch).collect()
}

/// Variance of an estimate from what it is without each stretch, (n - 1)/n Σ (`x_i` - mean)², with n - 1 degrees of
/// freedom.
fn jackknife(found: &[Found], read: fn(&Found) -> f64) -> (f64, f64) {
    let n = count(found.len());
    let mean = found.iter().map(read).sum::<f64>() / n;
    (found.iter().map(|found| (read(found) - mean).powi(2)).sum::<f64>() * (n - 1.0) / n, n - 1.0)
}
