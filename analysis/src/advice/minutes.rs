//! Time that a change costs a print, of the printer or of whoever works at it. Owns the figures that no record tells;
//! each is a proposal with a wide interval, and rests on no observation (`n` is 0). What is in force and nobody told is
//! not taken for nothing: the interval goes over all that is usual.

use super::change::{Change, PartKind, Step};
use super::course::{InForce, Run, working};
use super::practice::{PRIME_USUAL, SPEED_USUAL, retraction};
use super::situation::Situation;
use crate::estimate::{Estimate, count, deviations};
use crate::polymer::WORKING_FLOW;
use crate::thermal::Beside;
use crate::units::{Celsius, CubicMm, Millimetres, Seconds};

/// What lies under the upper end of a 90 % interval.
const UPPER: f64 = 0.95;
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
        self.over(by, &[by])
    }

    /// The same where it is not known how many times: by any of `ends`, all that it may be among them.
    fn over(self, by: f64, ends: &[f64]) -> Estimate {
        let each = ends.iter().flat_map(|end| [self.low * end, self.high * end]);
        let (low, high) = each.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| (low.min(at), high.max(at)));
        Estimate { value: (self.value * by).clamp(low, high), low, high, n: 0 }
    }
}

/// A tool's runs on either side of a change.
pub(super) struct Sides<'a> {
    pub(super) situation: &'a Situation<'a>,
    /// What is in force with it.
    pub(super) then: InForce<'a>,
    pub(super) now: &'a [Run],
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
            let Told { value, ends } = Told::of(step.from.or(held.retract).map(Millimetres::get), lengths(situation));
            let speed = held.retract_mm_s.unwrap_or(RETRACT_MM_S);
            let longer = |from: f64| printing * 2.0 * (step.to.get() - from) / speed / 60.0;
            RETRACTIONS.over(value.map_or(0.0, longer), &ends.map(longer))
        }
        Change::RetractSpeed(step) => slower(step.from.or(held.retract_mm_s), step.to, printing, situation),
        Change::Prime(step) => {
            let turns =
                courses.iter().map(|course| count(course.features.restarts.map_or(0, |of| of.n))).sum::<f64>() / n;
            let Told { value, ends } = Told::of(step.from.or(held.prime).map(CubicMm::get), [0.0, PRIME_USUAL[1]]);
            let more = |from: f64| (step.to.get() - from) * turns / 60.0;
            let pushed = Proposed { value: 1.0 / WORKING_FLOW, low: 1.0 / FLOW.1, high: 1.0 / FLOW.0 };
            // Where nobody told, all of it is taken for more: that is the most that it costs.
            pushed.over(more(value.unwrap_or(0.0)), &ends.map(more))
        }
        Change::OozeShield(step) => switched(SHIELD, *step, printing),
        Change::Dried(step) => switched(DRYING, *step, 1.0),
        Change::Replace(PartKind::Liner) => LINER.times(1.0 / n),
        Change::Replace(PartKind::Nozzle) => NOZZLE.times(1.0 / n),
        Change::Clean => COLD_PULL.times(1.0 / n),
        Change::AllMetal => HEAT_BREAK.times(1.0 / n),
    }
}

/// What is in force, and both ends of what it may be: where nobody told, of what is usual.
struct Told {
    value: Option<f64>,
    ends: [f64; 2],
}

impl Told {
    fn of(value: Option<f64>, usual: [f64; 2]) -> Self {
        Self { value, ends: value.map_or(usual, |value| [value; 2]) }
    }
}

/// Lengths of a retraction that its drive and material need, mm.
fn lengths(situation: &Situation<'_>) -> [f64; 2] {
    let need = retraction(situation);
    [need.low.get(), need.high.get()]
}

/// Retractions at another speed, mm/s. Where the one in force is not known, it is as likely slower as faster.
fn slower(from: Option<f64>, to: f64, printing: f64, situation: &Situation<'_>) -> Estimate {
    let length = Told::of(situation.held.retract.map(Millimetres::get), lengths(situation));
    let speed = Told::of(from, SPEED_USUAL);
    let takes = |length: f64, from: f64| printing * 2.0 * length * (1.0 / to - 1.0 / from) / 60.0;
    let usual = length.value.unwrap_or_else(|| retraction(situation).middle().get());
    let ends = length.ends.map(|length| speed.ends.map(|from| takes(length, from)));
    RETRACTIONS.over(speed.value.map_or(0.0, |from| takes(usual, from)), ends.as_flattened())
}

/// So many times it for what is begun, saved for what is left off, and nothing for what goes on. Where it is not known
/// whether it is done already, it is taken not to be, and may be.
fn switched(of: Proposed, step: Step<bool>, by: f64) -> Estimate {
    let times = |from: bool| by * (f64::from(u8::from(step.to)) - f64::from(u8::from(from)));
    match step.from {
        Some(from) => of.times(times(from)),
        None => of.over(times(false), &[times(false), times(true)]),
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
    let differ = deviations(UPPER) * (variance / n).sqrt();
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
