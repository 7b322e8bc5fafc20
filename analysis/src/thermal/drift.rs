//! What has changed between two fits of one heater. Owns that comparison; says nothing of why.
//!
//! A parameter has moved if Student's test on the difference of the two fits says so at 5 %, the whole family of
//! parameters taken together (Holm, Scandinavian Journal of Statistics 6 (1979) 65): of comparisons in which nothing moved
//! at most one in twenty names any.

use super::curve::{Parameter, Values};
use super::fit::HeaterFit;
use crate::estimate::{Estimate, count};
use statrs::distribution::ContinuousCDF;

/// The share of comparisons without any change in which one may be named.
const FALSE_MOST: f64 = 0.05;

/// A parameter that has moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moved {
    /// Which.
    pub parameter: Parameter,
    /// By how much, with the 90 % interval of this parameter alone; in its unit, a time constant and the gain as a factor
    /// of the earlier value. `n` counts the later fit's stretches.
    pub by: Estimate,
    /// How often so large a difference would be seen in any of the parameters if nothing had moved.
    pub chance: f64,
}

/// The parameters that have moved from an earlier fit of a heater to a later one, the surest first. Only what both tell is
/// compared; dead times only where polls place the steps sharply.
#[must_use]
pub fn drift(before: &HeaterFit, after: &HeaterFit) -> Vec<Moved> {
    let mut moved: Vec<Moved> = Parameter::ALL.into_iter().filter_map(|one| compared(before, after, one)).collect();
    moved.sort_by(|a, b| a.chance.total_cmp(&b.chance));
    let n = moved.len();
    let mut so_far: f64 = 0.0;
    for (idx, one) in moved.iter_mut().enumerate() {
        so_far = so_far.max((one.chance * count(n - idx)).min(1.0));
        one.chance = so_far;
    }
    moved.retain(|one| one.chance < FALSE_MOST);
    moved
}

/// The difference in one parameter, and the chance of it alone.
fn compared(before: &HeaterFit, after: &HeaterFit, parameter: Parameter) -> Option<Moved> {
    let (from, to) = (before.of(parameter).ok()?, after.of(parameter).ok()?);
    let is_factor = matches!(parameter, Parameter::CoolingConstant | Parameter::HeatingConstant | Parameter::Gain);
    let is_dead = matches!(parameter, Parameter::CoolingDeadTime | Parameter::HeatingDeadTime);
    let unplaced: f64 = before.found.unplaced.iter().chain(&after.found.unplaced).sum();
    if is_dead && unplaced > 0.0 {
        return None;
    }
    let read = |values: &Values| {
        let value = values.of(parameter);
        Some(if is_factor { value.ln() } else { value }).filter(|value| value.is_finite())
    };
    // What was given to both alike is no difference between them.
    let is_alike = before.found.tells_the_same(&after.found);
    let spread = before.found.seen(read, !is_alike)?.and(after.found.seen(read, !is_alike)?);
    let by = if is_factor { (to.value / from.value).ln() } else { to.value - from.value };
    let half = spread.half_width();
    let chance = 2.0 * spread.student()?.sf((by / spread.variance.sqrt()).abs());
    let shown = |by: f64| if is_factor { by.exp() } else { by };
    let by = Estimate { value: shown(by), low: shown(by - half), high: shown(by + half), n: to.n };
    Some(Moved { parameter, by, chance })
}
