//! The curve that a stretch follows with given parameters: first order, dead time, neighbour and bed. Owns that
//! curve and what the readings miss it by; searches for nothing.
//!
//! `tau dT/dt = -(T - T_amb) + K u(t - theta) + n (T_n - T_amb) + b (T_b - T_amb)`: a neighbour at `T_n` and a bed at
//! `T_b` pass heat on, `n` and `b` K for each kelvin. Warming and cooling have a `tau` and a `theta` each. Where a
//! stretch begins, the steady duty from before its step, and when its step was felt are its own matter: for given
//! parameters the curve is linear in the first two and nearly so in the third, so that they are solved for in every
//! stretch (Golub, Pereyra, SIAM J. Numer. Anal. 10 (1973) 413).

use super::stretch::{Act, Sample, Stretch};
use nalgebra::DVector;

/// One parameter of a heater.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parameter {
    /// Time constant of cooling, s.
    CoolingConstant,
    /// Time constant of warming, s.
    HeatingConstant,
    /// Rise above the surroundings at full duty, K.
    Gain,
    /// Dead time before a fall, s.
    CoolingDeadTime,
    /// Dead time before a climb, s.
    HeatingDeadTime,
    /// What the neighbour passes on, K for each kelvin that it is above the surroundings.
    Neighbour,
    /// What the bed passes on, K for each kelvin.
    Bed,
    /// Temperature of the surroundings, °C.
    Ambient,
}

impl Parameter {
    /// All, in the order in which [`Values`] holds them.
    pub const ALL: [Self; 8] = [
        Self::CoolingConstant,
        Self::HeatingConstant,
        Self::Gain,
        Self::CoolingDeadTime,
        Self::HeatingDeadTime,
        Self::Neighbour,
        Self::Bed,
        Self::Ambient,
    ];
}

/// A value for each parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Values {
    pub(super) cooling_tau: f64,
    pub(super) heating_tau: f64,
    /// The time constant of warming over that of cooling, where only one of them is free.
    pub(super) asymmetry: f64,
    pub(super) gain: f64,
    pub(super) cooling_dead: f64,
    pub(super) heating_dead: f64,
    pub(super) neighbour: f64,
    pub(super) bed: f64,
    /// Surroundings above the given ones, K.
    pub(super) ambient: f64,
}

impl Values {
    /// A heater of one time constant, of which nothing else is known.
    pub(super) const fn new(tau: f64, gain: f64) -> Self {
        Self {
            cooling_tau: tau,
            heating_tau: tau,
            asymmetry: 1.0,
            gain,
            cooling_dead: 0.0,
            heating_dead: 0.0,
            neighbour: 0.0,
            bed: 0.0,
            ambient: 0.0,
        }
    }

    /// The value of one.
    pub(super) const fn of(&self, parameter: Parameter) -> f64 {
        match parameter {
            Parameter::CoolingConstant => self.cooling_tau,
            Parameter::HeatingConstant => self.heating_tau,
            Parameter::Gain => self.gain,
            Parameter::CoolingDeadTime => self.cooling_dead,
            Parameter::HeatingDeadTime => self.heating_dead,
            Parameter::Neighbour => self.neighbour,
            Parameter::Bed => self.bed,
            Parameter::Ambient => self.ambient,
        }
    }

    const fn of_mut(&mut self, parameter: Parameter) -> &mut f64 {
        match parameter {
            Parameter::CoolingConstant => &mut self.cooling_tau,
            Parameter::HeatingConstant => &mut self.heating_tau,
            Parameter::Gain => &mut self.gain,
            Parameter::CoolingDeadTime => &mut self.cooling_dead,
            Parameter::HeatingDeadTime => &mut self.heating_dead,
            Parameter::Neighbour => &mut self.neighbour,
            Parameter::Bed => &mut self.bed,
            Parameter::Ambient => &mut self.ambient,
        }
    }

    const fn is_tau(parameter: Parameter) -> bool {
        matches!(parameter, Parameter::CoolingConstant | Parameter::HeatingConstant)
    }

    /// What the search moves: time constants by their logarithm, so that none gets to nought.
    pub(super) fn free(&self, free: &[Parameter]) -> DVector<f64> {
        let one = |parameter: &Parameter| {
            let value = self.of(*parameter);
            if Self::is_tau(*parameter) { value.ln() } else { value }
        };
        DVector::from_iterator(free.len(), free.iter().map(one))
    }

    /// These with the free ones replaced; a time constant that is not free is the other one's.
    pub(super) fn with(&self, free: &[Parameter], at: &DVector<f64>) -> Self {
        let mut values = *self;
        for (parameter, value) in free.iter().zip(at.iter()) {
            *values.of_mut(*parameter) = if Self::is_tau(*parameter) { value.exp() } else { *value };
        }
        if !free.contains(&Parameter::HeatingConstant) {
            values.heating_tau = values.cooling_tau * values.asymmetry;
        } else if !free.contains(&Parameter::CoolingConstant) {
            values.cooling_tau = values.heating_tau / values.asymmetry;
        }
        values
    }

    const fn tau(&self, act: &Act) -> f64 {
        if act.is_warming { self.heating_tau } else { self.cooling_tau }
    }

    /// When an act of a stretch that is so late is felt.
    fn felt(&self, act: &Act, late: f64) -> f64 {
        act.from + late + if act.is_warming { self.heating_dead } else { self.cooling_dead }
    }
}

/// Where the heater is, as far as it follows from the parameters, and what its own beginning, its duty from before and
/// another instant of its step still add.
#[derive(Clone, Copy)]
struct State {
    known: f64,
    begin: f64,
    before: f64,
    /// Nothing until the step is felt.
    later: Option<f64>,
}

impl State {
    fn pass(&mut self, values: &Values, act: &Act, warmth: f64, lasts: f64) {
        let left = (-lasts / values.tau(act)).exp();
        // While the duty is not known, neither is what the surroundings add to it.
        let (known, before) = act.duty.map_or((0.0, 1.0), |duty| (values.gain * duty + warmth, 0.0));
        self.known = known + (self.known - known) * left;
        self.begin *= left;
        self.before = before + (self.before - before) * left;
        self.later = self.later.map(|later| later * left);
    }
}

/// What the surroundings, the neighbour and the bed add between two readings, K.
fn warmth(values: &Values, from: &Sample, to: &Sample) -> f64 {
    let mean = |a: Option<f64>, b: Option<f64>| a.zip(b).map_or(0.0, |(a, b)| f64::midpoint(a, b) - values.ambient);
    values.ambient + values.neighbour * mean(from.neighbour, to.neighbour) + values.bed * mean(from.bed, to.bed)
}

/// What the readings of all stretches miss the curve by, K, one after the other; each at the best instant for its step
/// near the one that it has.
pub(super) fn residuals<'a>(values: &Values, stretches: impl Iterator<Item = &'a Stretch>) -> DVector<f64> {
    let mut missed = Vec::new();
    for stretch in stretches {
        let mut traced = Traced::of(values, stretch, stretch.late);
        traced.solve(true);
        missed.append(&mut traced.left);
    }
    DVector::from_vec(missed)
}

/// Latest that a step is looked for, s, and the distances at which it is.
const LATEST: f64 = 60.0;
const COARSE: f64 = 2.0;
const FINE: f64 = 0.005;

/// How late a stretch's step is felt with these parameters, s: where the readings miss the curve least.
pub(super) fn late(values: &Values, stretch: &Stretch) -> f64 {
    let miss = |late: f64| {
        let mut traced = Traced::of(values, stretch, late);
        traced.solve(false);
        traced.left.iter().map(|left| left * left).sum::<f64>()
    };
    // A dead time is none below nought, but the step may lie so far before where it was placed.
    let (mut best, mut width) = (-stretch.vague, COARSE);
    let mut least = miss(best);
    let mut probe = |best: &mut f64, at: f64| {
        let missed = miss(at);
        if missed < least {
            (least, *best) = (missed, at);
        }
    };
    let mut at = best + width;
    while at < LATEST {
        probe(&mut best, at);
        at += width;
    }
    while width > FINE {
        width /= 2.0;
        for at in [best - width, best + width] {
            probe(&mut best, at);
        }
    }
    best
}

/// By how much later a stretch's step is felt with `other` parameters than with these, s, nearly.
pub(super) fn later(values: &Values, other: &Values, stretch: &Stretch) -> f64 {
    let shift = |values: &Values, late: f64| Traced::of(values, stretch, late).solve(true);
    let rate =
        (shift(values, stretch.late + COARSE / 4.0) - shift(values, stretch.late - COARSE / 4.0)) / (COARSE / 2.0);
    let by = shift(values, stretch.late) - shift(other, stretch.late);
    if rate.abs() > 0.0 { by / rate } else { 0.0 }
}

/// One stretch's curve, and what may be added to it.
struct Traced {
    left: Vec<f64>,
    begin: Vec<f64>,
    before: Vec<f64>,
    later: Vec<f64>,
}

impl Traced {
    fn of(values: &Values, stretch: &Stretch, late: f64) -> Self {
        let n = stretch.samples.len();
        let column = || Vec::with_capacity(n);
        let mut traced = Self { left: column(), begin: column(), before: column(), later: column() };
        let mut state = State { known: 0.0, begin: 1.0, before: 0.0, later: None };
        let mut last = stretch.samples.first();
        for sample in &stretch.samples {
            if let Some(last) = last.replace(sample) {
                advance(&mut state, values, stretch, (last, sample, late));
            }
            traced.begin.push(state.begin);
            traced.before.push(state.before);
            traced.later.push(state.later.unwrap_or(0.0));
            traced.left.push(sample.rise - state.known);
        }
        traced
    }

    /// Takes out of what is left what the stretch's own beginning and its duty from before can be made to explain, and
    /// another instant of its step if that `may_move`; says how much of the last.
    fn solve(&mut self, may_move: bool) -> f64 {
        take_out(&mut self.before, &self.begin);
        take_out(&mut self.left, &self.begin);
        take_out(&mut self.left, &self.before);
        if !may_move {
            return 0.0;
        }
        take_out(&mut self.later, &self.begin);
        take_out(&mut self.later, &self.before);
        take_out(&mut self.left, &self.later)
    }
}

/// Lets the time between two readings pass, act by act.
fn advance(state: &mut State, values: &Values, stretch: &Stretch, (from, to, late): (&Sample, &Sample, f64)) {
    let warmth = warmth(values, from, to);
    for (idx, act) in stretch.acts.iter().enumerate() {
        let begins = values.felt(act, late).max(from.at);
        let ends = stretch.acts.get(idx + 1).map_or(to.at, |next| values.felt(next, late).min(to.at));
        if ends > begins {
            // Only where the duty before is not known is the step the stretch's own.
            let is_step = idx == 1 && stretch.acts.first().is_some_and(|before| before.duty.is_none());
            if is_step && state.later.is_none() {
                state.later = Some(1.0);
            }
            state.pass(values, act, warmth, ends - begins);
        }
    }
}

/// Takes out what lies along a column, and says how much of it that was.
fn take_out(from: &mut [f64], along: &[f64]) -> f64 {
    let square: f64 = along.iter().map(|one| one * one).sum();
    // A column of nothing but rounding explains nothing.
    if square < 1e-9 {
        return 0.0;
    }
    let share = from.iter().zip(along).map(|(from, along)| from * along).sum::<f64>() / square;
    for (from, along) in from.iter_mut().zip(along) {
        *from -= share * along;
    }
    share
}
