//! What the alarms of heaters say: cause with its numbers, consequence, action. Owns these words.

use super::Which;
use super::course::{Climb, Fall};
use super::creep::Unlike;
use super::seen::{Seen, Target};
use super::steady::Shift;
use crate::alarm::ledger::Words;
use dwell_analysis::control::{Freeze, JumpKind, JumpSeen};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

const OFF_THE_BLOCK: &str = "The sensor may be off its block: the heater is then hotter than it says, up to fire.";
const SWITCH_OFF: &str = "If nobody is beside it, switch the printer off at the mains. Look whether sensor and heater \
     sit fast and their wires are whole before it is heated again.";
const RUNS_AWAY: &str = "A heater that can't be switched off runs away: it melts, smokes and can start a fire.";
const MAINS: &str = "Switch the printer off at the mains now. Have the heater's switch on the board, its wires and its \
     sensor looked at before it is heated again.";
const NEVER_HOT: &str = "The print waits, or goes on too cold and jams. A heater that can't warm its block is worn, \
     loose or badly wired, and a loose sensor lets it run away unseen.";

const FROZEN: &str = "Nobody knows how hot the heater is: one that is controlled by a frozen sensor may run away, up to \
     fire, or go cold.";
const CREEPS: &str = "Melt and liner are at another temperature than was set, or the sensor works itself loose.";
const LOSES: &str = "The sensor may sit loose, so that the heater is hotter than it says, a fan may blow at it, or the \
     heater wears out.";
const KEEPS: &str = "The heater is kept warm by something else, or its sensor tells more than it feels.";
const LOOK: &str = "Look before the next print whether sensor and heater sit fast and no fan blows at the block; until \
     then don't leave the printer alone.";

impl Which {
    /// The heater's name at the beginning of a sentence.
    fn name(self) -> String {
        match self {
            Self::Tool { number, is_shared: false } => number.to_string(),
            Self::Tool { is_shared: true, .. } => "The shared hot end".to_owned(),
            Self::Bed => "The bed".to_owned(),
        }
    }
}

fn degrees(value: Celsius) -> String {
    format!("{:.0} °C", value.get())
}

fn time(value: Seconds) -> String {
    if value.get() < 120.0 { format!("{:.0} s", value.get()) } else { format!("{:.0} min", value.as_minutes()) }
}

pub(super) fn late(seen: &Seen, climb: &Climb) -> Words {
    let (name, target, from) = (seen.which.name(), degrees(climb.target), degrees(climb.from));
    let by = match (seen.fact, seen.which) {
        (Some(fact), _) => format!("by the {} steps that were measured of it", fact.n),
        (None, Which::Tool { .. }) => "for a slow hot end; this one has not been measured yet".to_owned(),
        (None, Which::Bed) => "for a slow bed".to_owned(),
    };
    let cause = format!(
        "{name} was set to {target} at {from} and is at {}{} after {}; {} are enough {by}.",
        degrees(seen.actual),
        if climb.has_fallen {
            format!(", falling since it had reached {},", degrees(climb.highest))
        } else {
            String::new()
        },
        time(climb.waited),
        time(climb.allowed),
    );
    Words { cause, consequence: NEVER_HOT, action: SWITCH_OFF }
}

pub(super) fn fallen(seen: &Seen, climb: &Climb) -> Words {
    let cause = format!(
        "{} was set to {}, reached {} on its way there and has fallen to {}, though its set point is the same.",
        seen.which.name(),
        degrees(climb.target),
        degrees(climb.highest),
        degrees(seen.actual),
    );
    Words { cause, consequence: NEVER_HOT, action: SWITCH_OFF }
}

pub(super) fn lost(seen: &Seen, target: Celsius, by: CelsiusDelta) -> Words {
    let off = (seen.actual - target).get();
    let side = if off < 0.0 { "under" } else { "over" };
    let cause = format!(
        "{} is at {}, {:.0} K {side} its set point of {}, which it had reached; {:.0} K are allowed.",
        seen.which.name(),
        degrees(seen.actual),
        off.abs(),
        degrees(target),
        by.get(),
    );
    if off < 0.0 {
        Words { cause, consequence: NEVER_HOT, action: SWITCH_OFF }
    } else {
        Words { cause, consequence: RUNS_AWAY, action: MAINS }
    }
}

pub(super) fn stuck(seen: &Seen, fall: &Fall) -> Words {
    let asked = match fall.target {
        Target::Off => "was switched off".to_owned(),
        Target::At(target) => format!("was set down to {}", degrees(target)),
    };
    let cause = format!(
        "{} {asked} at {} and is at {} after {}, its lowest having been {}: it is heated though nobody asks for it.",
        seen.which.name(),
        degrees(fall.from),
        degrees(seen.actual),
        time(fall.waited),
        degrees(fall.lowest),
    );
    Words { cause, consequence: RUNS_AWAY, action: MAINS }
}

pub(super) fn jumped(seen: &Seen, there: Celsius, jump: JumpSeen) -> Words {
    let became = match jump.kind {
        JumpKind::Glitch => "back, as within the minute before",
        JumpKind::Lasting | JumpKind::Erratic => "then",
    };
    let cause = format!(
        "{} went from {:.1} to {:.1} °C at once, and {became} to {:.1} °C within {:.1} s: no heater does that; its sensor \
            or its wires do.",
        seen.which.name(),
        (there - jump.by).get(),
        there.get(),
        seen.actual.get(),
        jump.ago.get(),
    );
    Words { cause, consequence: OFF_THE_BLOCK, action: SWITCH_OFF }
}

pub(super) fn impossible(seen: &Seen) -> Words {
    let cause = format!(
        "{} tells {:.1} °C: no sound sensor of a printer does; it is open, shorted or unplugged.",
        seen.which.name(),
        seen.actual.get(),
    );
    Words { cause, consequence: OFF_THE_BLOCK, action: SWITCH_OFF }
}

pub(super) fn frozen(seen: &Seen, freeze: Freeze) -> Words {
    let should = if freeze.missed > 0.0 {
        format!("it should have moved by {:.0} K", freeze.missed)
    } else {
        "its last digit never stands for so long".to_owned()
    };
    let cause = format!(
        "{} has told {:.2} °C to the last digit for {}; {should}.",
        seen.which.name(),
        seen.actual.get(),
        time(freeze.since),
    );
    Words { cause, consequence: FROZEN, action: SWITCH_OFF }
}

pub(super) fn crept(seen: &Seen, shift: Shift, matters: f64) -> Words {
    let side = if shift.by < 0.0 { "under" } else { "over" };
    let cause = format!(
        "{} waits and is held {:.1} K {side} what it used to settle at, over {} of settled waiting, now at {}. Blind: less than \
         {matters:.0} K, and anything while it works or moves.",
        seen.which.name(),
        shift.by.abs(),
        time(shift.since),
        degrees(seen.actual),
    );
    Words { cause, consequence: CREEPS, action: LOOK }
}

pub(super) fn unlike(seen: &Seen, unlike: &Unlike) -> Words {
    let percent = |share: f64| 100.0 * share.abs();
    let word = if unlike.change > 0.0 { "more" } else { "less" };
    let cause = format!(
        "{} is held at {} with {:.0} % {word} duty than the {:.0} % that used to do, over {} of settled waiting. Blind: \
         changes under {:.0} %, and any while it works or moves.",
        seen.which.name(),
        degrees(seen.actual),
        percent(unlike.change),
        percent(unlike.usual),
        time(unlike.since),
        percent(unlike.blind),
    );
    Words { cause, consequence: if unlike.change > 0.0 { LOSES } else { KEEPS }, action: LOOK }
}
