//! Asks a heater's stretches for its parameters. Owns which of them a record is asked for, which it tells, and what is
//! taken for the others; the curve is told by `curve`, the intervals by `spread`.
//!
//! All stretches are fitted at once. What a record says too little of is left out, the least sure first, and refused
//! alone: warming then has the time constant of cooling, nothing is passed on by neighbour or bed, and the
//! surroundings are as given. Over the falls that standby makes, from 210 °C to 150 °C, surroundings and time constant
//! are nearly one parameter (0.65 % for each kelvin, by the rise of some 155 K), so only rests tell the surroundings.

use super::curve::{Parameter, Values, late, residuals};
use super::fit::STRETCHES_LEAST;
use super::solve::{PATIENCE, Solved, solve};
use super::spread::Found;
use super::stretch::{Kind, Sample, Stretch};
use crate::estimate::{Refusal, count};
use nalgebra::DVector;

/// Time constants that a heater may have, s; a fit that ends beyond has found none.
const TAU_MIN: f64 = 3.0;
const TAU_MAX: f64 = 7200.0;
/// Where the search looks first: so many time constants, and this dead time, s.
const GRID: u32 = 24;
const DEAD_FIRST: f64 = 3.0;
/// A neighbour or bed that never gets so far above the surroundings, K, passes nothing on that could be seen.
const WARM: f64 = 20.0;
/// What is taken where the record says less: the time constant of warming over that of cooling, on its logarithm (two
/// real records have 0.12 less), and what neighbour and bed pass on, K for each kelvin (order of magnitude, no source);
/// both with a standard deviation. What the record would tell more loosely is not told.
const ASYMMETRY_DEVIATION: f64 = 0.1;
const PASSED: f64 = 0.04;
const PASSED_DEVIATION: f64 = 0.03;
/// Deviation beyond which the surroundings are not told, K.
const AMBIENT_DEVIATION: f64 = 3.0;
/// What the steps and the noise let a deviation be counts so many times, and what the stretches show is divided by so
/// much.
const LEAST_TIMES: f64 = 3.0;
const SEEN_TIMES: f64 = 2.0;
/// Rounds of fitting the parameters and placing the steps, and by how much, s, a step may still move at the end.
const ROUNDS: u32 = 12;
const PLACED: f64 = 0.02;

/// Fits the free parameters and places each step, by turns.
pub(super) fn place(free: &[Parameter], start: Values, stretches: &mut [Stretch]) -> Result<(Solved, Values), Refusal> {
    let (mut values, mut last) = (start, None);
    for _ in 0..ROUNDS {
        let missed = |at: &DVector<f64>| residuals(&values.with(free, at), stretches.iter());
        let solved = solve(missed, values.free(free))?;
        values = values.with(free, &solved.at);
        let mut farthest: f64 = 0.0;
        for stretch in stretches.iter_mut().filter(|one| one.tells_dead_time()) {
            let placed = late(&values, stretch);
            farthest = farthest.max((placed - stretch.late).abs());
            stretch.late = placed;
        }
        last = Some(solved);
        if farthest < PLACED {
            break;
        }
    }
    last.map(|solved| (solved, values)).ok_or(Refusal::DidNotConverge { after: PATIENCE })
}

/// What a record is asked for.
pub(super) struct Asked {
    free: Vec<Parameter>,
    pub(super) refused: Vec<(Parameter, Refusal)>,
}

impl Asked {
    /// All that such stretches could tell.
    pub(super) fn of(stretches: &[Stretch], [falls, climbs]: [usize; 2]) -> Self {
        let mut asked = Self { free: Parameter::ALL.to_vec(), refused: Vec::new() };
        let few = |have| Refusal::TooFew { have, need: STRETCHES_LEAST };
        if falls < STRETCHES_LEAST {
            asked.leave_out(Parameter::CoolingConstant, few(falls));
        }
        if climbs < STRETCHES_LEAST {
            asked.leave_out(Parameter::HeatingConstant, few(climbs));
            asked.leave_out(Parameter::Gain, few(climbs));
        }
        let dead = [(Kind::Fall, Parameter::CoolingDeadTime), (Kind::Climb, Parameter::HeatingDeadTime)];
        for (kind, parameter) in dead {
            let tells = |stretch: &&Stretch| stretch.kind == kind && stretch.tells_dead_time();
            let have = stretches.iter().filter(tells).count();
            if have < STRETCHES_LEAST {
                asked.leave_out(parameter, few(have));
            }
        }
        let rests = stretches.iter().filter(|stretch| stretch.kind == Kind::Rest).count();
        if rests < STRETCHES_LEAST {
            asked.leave_out(Parameter::Ambient, few(rests));
        }
        let samples = || stretches.iter().flat_map(|stretch| &stretch.samples);
        let tells = |told: fn(&Sample) -> Option<f64>| {
            let is_warm = |sample: &Sample| told(sample).is_some_and(|rise| rise >= WARM);
            samples().all(|sample| told(sample).is_some()) && samples().any(is_warm)
        };
        if !tells(|sample| sample.neighbour) {
            asked.leave_out(Parameter::Neighbour, Refusal::NothingVaries);
        }
        if !tells(|sample| sample.bed) {
            asked.leave_out(Parameter::Bed, Refusal::NothingVaries);
        }
        asked
    }

    pub(super) fn leave_out(&mut self, parameter: Parameter, why: Refusal) {
        self.free.retain(|one| *one != parameter);
        self.refused.push((parameter, why));
    }

    pub(super) fn has(&self, parameter: Parameter) -> bool {
        self.free.contains(&parameter)
    }

    /// Rests alone tell the surroundings, and would be told wrong without them.
    fn used(&self, stretches: &[Stretch]) -> Vec<Stretch> {
        let tells = |stretch: &&Stretch| self.has(Parameter::Ambient) || stretch.kind != Kind::Rest;
        stretches.iter().filter(tells).cloned().collect()
    }

    /// What the curves miss the readings by, K, and what was found; or of what the record says too little.
    pub(super) fn answer(&self, stretches: &[Stretch]) -> Result<Result<(f64, Found), Parameter>, Refusal> {
        let mut used = self.used(stretches);
        let start = self.start(&mut used);
        let outcome = place(&self.moved(), start, &mut used).and_then(|(solved, values)| {
            let tau = [values.cooling_tau, values.heating_tau];
            if tau.iter().any(|tau| !(TAU_MIN..TAU_MAX).contains(tau)) || values.gain < 0.0 {
                return Err(Refusal::DidNotConverge { after: PATIENCE });
            }
            let found = Found::of((&solved, &values), &self.moved(), &used, &self.given(&values))?;
            Ok(((solved.residuals.norm_squared() / count(solved.residuals.len())).sqrt(), found))
        });
        match outcome {
            Ok(told) => Ok(self.loosest(&told.1).map_or(Ok(told), Err)),
            Err(refusal) => self.optional().next().map(Err).ok_or(refusal),
        }
    }

    /// What the search moves: dead times are each stretch's own.
    fn moved(&self) -> Vec<Parameter> {
        let is_dead = |one: &Parameter| matches!(one, Parameter::CoolingDeadTime | Parameter::HeatingDeadTime);
        self.free.iter().copied().filter(|one| !is_dead(one)).collect()
    }

    /// The values with each of those that the record does not tell a standard deviation higher.
    fn given(&self, values: &Values) -> Vec<Values> {
        let mut given = Vec::new();
        if !(self.has(Parameter::CoolingConstant) && self.has(Parameter::HeatingConstant)) {
            given.push(Values { asymmetry: values.asymmetry * ASYMMETRY_DEVIATION.exp(), ..*values });
        }
        if self.is_given(Parameter::Neighbour) {
            given.push(Values { neighbour: values.neighbour + PASSED_DEVIATION, ..*values });
        }
        if self.is_given(Parameter::Bed) {
            given.push(Values { bed: values.bed + PASSED_DEVIATION, ..*values });
        }
        given
    }

    /// Whether something warm was beside the heater without its being clear what that passes on.
    fn is_given(&self, parameter: Parameter) -> bool {
        self.refused.contains(&(parameter, Refusal::TooLoose))
    }

    /// What can be left out, in the order in which records tell too little of them.
    fn optional(&self) -> impl Iterator<Item = Parameter> {
        let taus = self.has(Parameter::CoolingConstant) && self.has(Parameter::HeatingConstant);
        [Parameter::HeatingConstant, Parameter::Ambient, Parameter::Bed, Parameter::Neighbour]
            .into_iter()
            .filter(move |parameter| self.has(*parameter) && (taus || *parameter != Parameter::HeatingConstant))
    }

    /// What is least sure of that, and too little so. Judged by what the steps and the noise let it be rather than by how
    /// much the stretches differ, since choosing where they happen to differ little would make intervals too narrow;
    /// unless they differ by far.
    fn loosest(&self, found: &Found) -> Option<Parameter> {
        let excess = |parameter: Parameter| {
            let most = match parameter {
                Parameter::HeatingConstant => ASYMMETRY_DEVIATION,
                Parameter::Ambient => AMBIENT_DEVIATION,
                _ => PASSED_DEVIATION,
            };
            let value = |values: &Values| {
                let value = values.of(parameter);
                Some(if parameter == Parameter::HeatingConstant { value.ln() } else { value })
            };
            let seen = found.spread(value).map_or(f64::INFINITY, |spread| spread.variance.sqrt());
            let least = found.least(parameter).unwrap_or(f64::INFINITY);
            (parameter, (LEAST_TIMES * least).max(seen / SEEN_TIMES) / most)
        };
        let worst = self.optional().map(excess).max_by(|(_, a), (_, b)| a.total_cmp(b));
        worst.filter(|(_, excess)| *excess > 1.0).map(|(parameter, _)| parameter)
    }

    /// Where the search begins: the best of a few time constants, both the same, with the gain that fits best.
    fn start(&self, used: &mut [Stretch]) -> Values {
        used.iter_mut().filter(|one| one.tells_dead_time()).for_each(|one| one.late = DEAD_FIRST);
        let span = (TAU_MAX / TAU_MIN).ln() / f64::from(GRID);
        let passed = |parameter| if self.is_given(parameter) { PASSED } else { 0.0 };
        let (neighbour, bed) = (passed(Parameter::Neighbour), passed(Parameter::Bed));
        let at = |place: u32| {
            let tau = TAU_MIN * (span * (f64::from(place) + 0.5)).exp();
            let cold = Values { neighbour, bed, ..Values::new(tau, 0.0) };
            let left = residuals(&cold, used.iter());
            let change = residuals(&Values { gain: 1.0, ..cold }, used.iter()) - &left;
            let square = change.norm_squared();
            let gain = if square > 0.0 { -left.dot(&change) / square } else { 0.0 };
            (Values { gain, ..cold }, (left + change * gain).norm_squared())
        };
        let best = (0..GRID).map(at).min_by(|(_, a), (_, b)| a.total_cmp(b));
        best.map_or_else(|| Values::new(TAU_MIN, 0.0), |(values, _)| values)
    }
}
