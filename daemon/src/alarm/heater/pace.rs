//! How long a heater may take: by what was fitted to it, else by a typical one and a generous factor. Owns the margins.

use super::Which;
use super::seen::Seen;
use dwell_analysis::thermal::{AMBIENT, Heater};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

/// A heater that is not fitted may be so many times slower than a typical one: beds with a thick plate are three times
/// slower than those of a thin one (order of magnitude, no source).
const UNFITTED: f64 = 3.0;
/// A fitted heater before a print: its fit tells neither the room of that day nor a fan that is left on a little.
const FITTED: f64 = 1.25;
/// A fitted heater in a print: the part fan takes more than half of its gain and time constant (700 and 300 K), and the
/// flow a tenth of what is left, so that a climb of 60 K takes up to twice as long.
const FITTED_IN_PRINT: f64 = 2.0;
/// A controller takes the last kelvins at less than full duty, and a set point is seen up to a poll late.
const CREEPING: Seconds = Seconds::new(20.0);
/// In a print a fan that has just started has still to be made good, which takes a sound nozzle 80 s to 5 K (simulated); a
/// bed's controller and sensor are as slow.
const CREEPING_LONG: Seconds = Seconds::new(100.0);
/// What nobody's figures can tell is judged after so long at the latest: a hot end is hot within four minutes, a bed
/// within half an hour (common practice, no source).
const LONGEST: Seconds = Seconds::minutes(15.0);
const LONGEST_BED: Seconds = Seconds::minutes(60.0);
/// Where cooling alone is asked of, this share of the rise above the surroundings must be left behind: further down the
/// surroundings, which nobody knows, tell more than the heater.
const LEFT_BEHIND: f64 = 0.25;

/// Time until a heater must be within the bound of its set point, `to` being that bound's nearer edge.
pub(super) fn climb(seen: &Seen, to: Celsius) -> Seconds {
    let longest = if seen.which == Which::Bed { LONGEST_BED } else { LONGEST };
    let time = match seen.fact {
        Some(fact) => {
            let factor = if seen.is_printing { FITTED_IN_PRINT } else { FITTED };
            let time = fact.heater.heating(seen.actual, to, fact.surroundings);
            time.map(|time| times(time, factor * (1.0 + fact.heating_spread.max(0.0))))
        }
        None => typical(seen.which).heating(seen.actual, to, AMBIENT).map(|time| times(time, UNFITTED)),
    };
    time.map_or(longest, |time| shorter(time, longest) + creeping(seen))
}

/// Down to where a heater must cool, and the time that it has for it.
pub(super) fn fall(seen: &Seen, to: Option<Celsius>) -> (Celsius, Seconds) {
    let (heater, around, factor) = match seen.fact {
        Some(fact) => (fact.heater, fact.surroundings, FITTED_IN_PRINT),
        None => (typical(seen.which), AMBIENT, UNFITTED),
    };
    let rise = (seen.actual - around).get().max(0.0);
    let near = around + CelsiusDelta::new(rise * (1.0 - LEFT_BEHIND));
    let to = to.map_or(near, |to| to.max(near));
    let time = heater.cooling(seen.actual, to, around).map(|time| times(time, factor));
    let longest = if seen.which == Which::Bed { LONGEST_BED } else { LONGEST };
    (to, time.map_or(longest, |time| shorter(time, longest)) + creeping(seen))
}

fn creeping(seen: &Seen) -> Seconds {
    if seen.is_printing || seen.which == Which::Bed { CREEPING_LONG } else { CREEPING }
}

const fn typical(which: Which) -> Heater {
    match which {
        Which::Tool { .. } => Heater::HOT_END,
        Which::Bed => Heater::BED,
    }
}

fn times(time: Seconds, factor: f64) -> Seconds {
    Seconds::new(time.get() * factor)
}

fn shorter(one: Seconds, other: Seconds) -> Seconds {
    if one < other { one } else { other }
}
