//! Time that a change costs a print, of the printer or of whoever works at it. Owns the figures that no record tells;
//! each is a proposal with a wide interval, and rests on no observation (`n` is 0).

use super::change::{Change, PartKind, Step};
use super::course::{InForce, Run, working};
use super::situation::Situation;
use crate::estimate::{Estimate, count};
use crate::polymer::WORKING_FLOW;
use crate::thermal::Beside;
use crate::units::{Celsius, CubicMm, Millimetres, Seconds};

/// Half-width of a 90 % interval in standard deviations.
const NINETY: f64 = 1.644_854;
/// A typical heater's times in the place of fitted ones may be so much shorter or longer (a proposal).
const TYPICAL: (f64, f64) = (0.5, 2.0);
/// Flow at which a prime is pushed out, mm3/s: as [`WORKING_FLOW`], 2 to 10 is usual (common practice, no source).
const FLOW: (f64, f64) = (2.0, 10.0);
/// Retractions in a minute of printing: a proposal, no source; parts differ by more than an order of magnitude.
const RETRACTIONS: Proposed = Proposed { value: 10.0, low: 2.0, high: 40.0 };
/// Speed of a retraction where none is told, mm/s (common practice, no source).
const RETRACT_MM_S: f64 = 35.0;
/// Share of the printing that an ooze shield adds: a proposal, no source.
const SHIELD: Proposed = Proposed { value: 0.05, low: 0.01, high: 0.15 };
/// Hands at work, minutes: proposals, no source. Drying runs by itself; putting a spool in and out does not.
const DRYING: Proposed = Proposed { value: 5.0, low: 1.0, high: 10.0 };
const LINER: Proposed = Proposed { value: 20.0, low: 10.0, high: 45.0 };
const NOZZLE: Proposed = Proposed { value: 15.0, low: 5.0, high: 30.0 };
const COLD_PULL: Proposed = Proposed { value: 15.0, low: 5.0, high: 30.0 };
const HEAT_BREAK: Proposed = Proposed { value: 45.0, low: 20.0, high: 120.0 };
const SWAP: Proposed = Proposed { value: 10.0, low: 4.0, high: 20.0 };

/// A figure that is proposed, least and most.
#[derive(Clone, Copy)]
struct Proposed {
    value: f64,
    low: f64,
    high: f64,
}

impl Proposed {
    /// So many times it, either way.
    fn times(self, by: f64) -> Estimate {
        let (a, b) = (self.low * by, self.high * by);
        Estimate { value: self.value * by, low: a.min(b), high: a.max(b), n: 0 }
    }
}

/// A tool's runs on either side of a change.
pub(super) struct Sides<'a> {
    pub(super) situation: &'a Situation<'a>,
    /// What is in force with it.
    pub(super) then: InForce<'a>,
    pub(super) now: Vec<Run>,
    pub(super) after: Vec<Run>,
}

/// Minutes a print that a change costs, with a 90 % interval; less than nothing is saved. What is done once is spread
/// over as many prints as are asked of. `n` is what it rests on: heatings of the fitted heater, and nothing where it is
/// a proposal. `sides` are the runs as they are and with the change.
pub(super) fn minutes(change: &Change, sides: &Sides<'_>) -> Estimate {
    let situation = sides.situation;
    let courses = situation.courses;
    let n = count(courses.len().max(1));
    let printing = courses.iter().map(|course| working(course, &course.features).as_minutes()).sum::<f64>() / n;
    let held = &situation.held;
    match change {
        Change::Standby(_) | Change::PrintTemperature(_) => heating(sides),
        Change::Material(_) => {
            let (hands, heats) = (SWAP.times(1.0 / n), heating(sides));
            sum(hands, heats)
        }
        Change::Retract(step) => {
            let way = step.to.get() - from(step.from.or(held.retract).map(Millimetres::get), step.to.get());
            RETRACTIONS.times(printing * 2.0 * way / held.retract_mm_s.unwrap_or(RETRACT_MM_S) / 60.0)
        }
        Change::RetractSpeed(step) => {
            let slower = 1.0 / step.to - 1.0 / from(step.from.or(held.retract_mm_s), step.to);
            RETRACTIONS.times(printing * 2.0 * held.retract.map_or(0.0, Millimetres::get) * slower / 60.0)
        }
        Change::Prime(step) => {
            let more = step.to.get() - step.from.or(held.prime).map_or(0.0, CubicMm::get);
            let turns =
                courses.iter().map(|course| count(course.features.restarts.map_or(0, |of| of.n))).sum::<f64>() / n;
            let pushed = Proposed { value: 1.0 / WORKING_FLOW, low: 1.0 / FLOW.1, high: 1.0 / FLOW.0 };
            pushed.times(more * turns / 60.0)
        }
        Change::OozeShield(step) => SHIELD.times(printing * switched(*step)),
        Change::Dried(step) => DRYING.times(switched(*step)),
        Change::Replace(PartKind::Liner) => LINER.times(1.0 / n),
        Change::Replace(PartKind::Nozzle) => NOZZLE.times(1.0 / n),
        Change::Clean => COLD_PULL.times(1.0 / n),
        Change::AllMetal => HEAT_BREAK.times(1.0 / n),
    }
}

fn from(told: Option<f64>, to: f64) -> f64 {
    told.unwrap_or(to)
}

/// 1 for what is begun, -1 for what is left off, 0 for what goes on.
fn switched(step: Step<bool>) -> f64 {
    match (step.from.unwrap_or(false), step.to) {
        (false, true) => 1.0,
        (true, false) => -1.0,
        (true, true) | (false, false) => 0.0,
    }
}

fn sum(a: Estimate, b: Estimate) -> Estimate {
    let value = a.value + b.value;
    let (low, high) = ((a.value - a.low).hypot(b.value - b.low), (a.high - a.value).hypot(b.high - b.value));
    Estimate { value, low: value - low, high: value + high, n: a.n.min(b.n) }
}

/// Time that turns wait for heat, with the change less without it, on the mean of the runs. Its interval is of the
/// heater's times and of how much runs differ.
fn heating(sides: &Sides<'_>) -> Estimate {
    let pairs = sides.now.iter().zip(&sides.after);
    let more: Vec<f64> = pairs.map(|(now, after)| (after.late - now.late).as_minutes()).collect();
    let n = count(more.len().max(1));
    let value = more.iter().sum::<f64>() / n;
    let variance = more.iter().map(|more| (more - value).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    let differ = NINETY * (variance / n).sqrt();
    let ((shorter, longer), heatings) = certainty(sides.situation, sides.then.set_points());
    let (a, b) = (value * shorter, value * longer);
    let (below, above) = ((value - a.min(b)).hypot(differ), (a.max(b) - value).hypot(differ));
    Estimate { value, low: value - below, high: value + above, n: heatings }
}

/// How much shorter and longer than told a heating may be, and the heatings that this rests on.
fn certainty(situation: &Situation<'_>, set_points: Option<(Celsius, Celsius)>) -> ((f64, f64), usize) {
    let fitted = situation.times.fit.zip(set_points);
    let told = fitted.and_then(|(fit, (from, to))| fit.heating(from, to, Beside::default()).ok());
    told.filter(|told| told.value > 0.0)
        .map_or((TYPICAL, 0), |told| ((told.low / told.value, told.high / told.value), told.n))
}

/// Whether a wait is long enough for the tool to cool to its standby and to be hot again at its end.
pub(super) fn is_long(situation: &Situation<'_>, lasted: Seconds, (standby, print): (Celsius, Celsius)) -> bool {
    let (heater, around) = (situation.times.heater, situation.times.surroundings);
    let trip = heater.cooling(print, standby, around).zip(heater.heating(standby, print, around));
    trip.is_some_and(|(down, up)| lasted >= down + up)
}
