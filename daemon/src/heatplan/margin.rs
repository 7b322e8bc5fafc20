//! What is known of the printer's heat, and how early that makes a reheat. Owns the margins and the choice of the standby.

use crate::entry::ToolNumber;
use crate::jobfile::{Machine, MachineTool};
use dwell_analysis::polymer::{Material, MaterialFacts};
use dwell_analysis::thermal::Heater;
use dwell_analysis::units::{Celsius, Seconds};

/// A typical heater's reheat may take that much longer or shorter, as a share of it, one standard deviation: heaters of
/// 30 to 60 W on blocks of different mass differ by a factor of two (common practice, no source).
const TYPICAL_SPREAD: f64 = 0.35;
/// Near its set point a controller lets off: the last kelvins take so much longer than full duty would need (common
/// practice, no source: a loop of 10 s nears from where it lets off, some 25 K below, to within 1 K in three of its time
/// constants, where full duty takes a third of that).
const LET_OFF: Seconds = Seconds::new(15.0);
/// A file's moves take that much longer or shorter than its pace lets expect, as a share, one standard deviation: at the
/// least, and where no pace is known (common practice, no source).
const PACE_SPREAD_LEAST: f64 = 0.03;
const PACE_SPREAD_UNKNOWN: f64 = 0.10;
/// The set point of a heater that is off.
const OFF: Celsius = Celsius::new(0.0);
/// A standby is told in steps of this.
const STANDBY_STEP: f64 = 5.0;

/// What the plan rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Knows {
    /// How often a tool is to be hot in time, 0.5 to 1.
    pub certainty: f64,
    /// The standard normal's quantile of that.
    pub z: f64,
    /// Relative spread of the pace; `None` is not known.
    pub pace_spread: Option<f64>,
    /// One a tool, T0 first.
    pub tools: Vec<ToolKnows>,
}

/// What it rests on for one tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToolKnows {
    /// Figures of what it holds.
    pub facts: MaterialFacts,
    /// The standby that is asked for.
    pub asked: Option<Celsius>,
    /// The standby that is advised.
    pub advised: Option<Celsius>,
    /// The standby of the settings in force.
    pub typed: Option<Celsius>,
    /// Spread of its reheat time, as a share of it, one standard deviation; `None` is not fitted.
    pub heating_spread: Option<f64>,
}

/// Where a standby is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StandbyFrom {
    /// The person asked for it.
    Asked,
    /// It is advised, or was adopted.
    Advised,
    /// The settings in force.
    Settings,
    /// The first flow of the material.
    FirstFlow,
}

impl Knows {
    /// What the decisions on a tool rest on, whose lowest set point while it waits is `file`, and which is as cold as
    /// `surroundings` when it is off.
    pub(super) fn tool(&self, tool: ToolNumber, file: Option<Celsius>, surroundings: Celsius) -> Rests {
        let known = self.tools.get(tool.idx()).copied().unwrap_or_default();
        let (standby, from) = known.standby_for(file);
        // No heater holds that: it is off, and is to be told so.
        let standby = if standby <= surroundings { OFF } else { standby };
        Rests { known, standby, from, pace_spread: self.pace_spread(), z: self.z }
    }

    fn pace_spread(&self) -> f64 {
        self.pace_spread.map_or(PACE_SPREAD_UNKNOWN, |spread| spread.max(PACE_SPREAD_LEAST))
    }
}

impl Default for ToolKnows {
    fn default() -> Self {
        Self { facts: Material::Other.built_in(), asked: None, advised: None, typed: None, heating_spread: None }
    }
}

impl ToolKnows {
    /// What a tool cools to, in order: what is asked for; what is advised, unless the file's own lowest set point while
    /// the tool waits is lower; the settings in force, where they are lower than that; what its material does not flow at.
    /// A file that has what is advised already is not cooled further: that would be another setting than is tried.
    pub(super) fn standby_for(&self, file: Option<Celsius>) -> (Celsius, StandbyFrom) {
        let is_set = |told: &Celsius| told.get() > 0.0;
        let advised = self.advised.filter(|told| is_set(told) && file.is_none_or(|file| *told <= file));
        let typed = self.typed.filter(|told| is_set(told) && file.is_none_or(|file| *told < file));
        let each = [(self.asked, StandbyFrom::Asked), (advised, StandbyFrom::Advised), (typed, StandbyFrom::Settings)];
        let told = each.into_iter().find_map(|(told, from)| Some((told?, from)));
        told.unwrap_or_else(|| (first_flow_standby(&self.facts), StandbyFrom::FirstFlow))
    }
}

/// The first flow, down to the next step: at it nothing oozes.
fn first_flow_standby(facts: &MaterialFacts) -> Celsius {
    Celsius::new((facts.first_flow.value.get() / STANDBY_STEP).floor() * STANDBY_STEP)
}

/// What the decisions on one tool's waits rest on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rests {
    pub(super) known: ToolKnows,
    pub(super) standby: Celsius,
    pub(super) from: StandbyFrom,
    pace_spread: f64,
    z: f64,
}

impl Rests {
    /// How long before its turn the tool is to be hot by what is expected, so that it is in time as often as asked: it
    /// heats for `heating`, and the job moves for `moved` meanwhile.
    pub(super) fn margin(&self, heating: Seconds, moved: Seconds) -> Seconds {
        let heat = self.known.heating_spread.unwrap_or(TYPICAL_SPREAD) * heating.get();
        let pace = self.pace_spread * moved.get();
        Seconds::new(self.z * heat.hypot(pace)) + LET_OFF
    }
}

/// The machine as slow to heat as it may be at the certainty asked for.
pub(super) fn at_worst(machine: &Machine, knows: &Knows) -> Machine {
    let slow = |(idx, tool): (usize, &MachineTool)| {
        let spread = knows.tools.get(idx).and_then(|tool| tool.heating_spread).unwrap_or(TYPICAL_SPREAD);
        MachineTool { heater: slowed(tool.heater, 1.0 + knows.z * spread), ..*tool }
    };
    Machine { tools: machine.tools.iter().enumerate().map(slow).collect(), ..machine.clone() }
}

/// A heater that takes so many times as long to heat.
fn slowed(heater: Heater, times: f64) -> Heater {
    Heater { time_constant: Seconds::new(heater.time_constant.get() * times), ..heater }
}
