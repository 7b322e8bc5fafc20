//! One tool: what it does, how its idle span adds up, how old its melt is. Owns a tool's state between readings;
//! whose turn it is, it is told.

use super::effect::{Context, Doing, Effect, ToolNow};
use super::warmth::Warmth;
use crate::entry::{CentiCelsius, Heater, Settings, ToolNumber};
use dwell_analysis::idle::SpanMeter;
use dwell_analysis::polymer::{MaterialFacts, Materials, Melt, WORKING_FLOW, waited_dose};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Seconds};
use std::sync::Arc;

/// A tool is heated from 50 °C on, under every filament's softening; it is cold again below 45 °C, so that noise
/// does not cut spans.
const HEATED_FROM: CentiCelsius = CentiCelsius::from_hundredths(5000);
const COLD_BELOW: CentiCelsius = CentiCelsius::from_hundredths(4500);

/// Between two readings no hot end is heated by more than this, and so much a second: nearly twice what a 40 W cartridge in
/// a small block can (order of magnitude, from memory).
const LEAP: CelsiusDelta = CelsiusDelta::new(15.0);
const LEAP_A_SECOND: CelsiusDelta = CelsiusDelta::new(6.0);

/// What a tool is to do as of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    Working { print: Timestamp },
    Waiting { context: Context, print: Option<Timestamp> },
    Cold,
    Unknown,
}

/// The time between the last reading and this one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Interval {
    pub(super) from: Timestamp,
    pub(super) to: Timestamp,
    /// Silence: nothing is known of it.
    pub(super) is_gap: bool,
    /// Contact, but the host did not say which tool was at work.
    pub(super) is_vague: bool,
    /// The job waited for heat: the tool at work pushed nothing out.
    pub(super) is_heating: bool,
}

#[derive(Clone, Debug)]
enum Activity {
    Working { turn: Turn, began: Timestamp, gap: Seconds, warmth: Warmth },
    Waiting { turn: Turn, began: Timestamp, context: Context, meter: Box<SpanMeter>, targets: Targets },
    Cold,
    Unknown,
}

/// How long each set point was in force within a span.
#[derive(Clone, Debug, Default)]
struct Targets(Vec<(CentiCelsius, Seconds)>);

/// One tool of the printer that is followed.
#[derive(Clone, Debug)]
pub(super) struct Tool {
    number: ToolNumber,
    /// As typed in.
    typed: Settings,
    /// In force: those typed in, and over them those of the job file while its print is on.
    settings: Settings,
    /// Where materials' figures are looked up.
    materials: Arc<Materials>,
    /// Those of the material in force.
    facts: MaterialFacts,
    activity: Activity,
    heated: Option<bool>,
    heater: Heater,
    /// How far the newest temperature was believed, if it was a leap.
    doubted: Option<Celsius>,
    melt: Melt,
}

impl Tool {
    pub(super) fn new(number: ToolNumber, settings: Settings, materials: Arc<Materials>) -> Self {
        Self {
            number,
            typed: settings.clone(),
            facts: *settings.facts(&materials),
            settings,
            materials,
            activity: Activity::Unknown,
            heated: None,
            heater: Heater::default(),
            doubted: None,
            melt: Melt::FRESH,
        }
    }

    /// Takes over changed settings; another material has been loaded and purged, so its melt is fresh.
    pub(super) fn set(&mut self, newer: &Settings, of_file: Option<&Settings>) {
        self.typed.update(newer);
        self.overlay(of_file);
    }

    /// Puts the job file's settings over those typed in, or takes them away.
    pub(super) fn overlay(&mut self, of_file: Option<&Settings>) {
        self.settings.clone_from(&self.typed);
        if let Some(of_file) = of_file {
            self.settings.update(of_file);
        }
        let facts = self.settings.facts(&self.materials);
        if *facts != self.facts {
            self.facts = *facts;
            self.melt = Melt::FRESH;
        }
    }

    /// The settings in force.
    pub(super) fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Whether it was heated as of the newest reading.
    pub(super) fn was_heated(&self) -> Option<bool> {
        self.heated
    }

    /// The heater as of the newest reading.
    pub(super) fn heater(&self) -> Heater {
        self.heater
    }

    /// Whether the tool is heated as of `heater`; `None` if nothing tells. A missing reading changes nothing.
    pub(super) fn heated(&mut self, heater: &Heater) -> Option<bool> {
        let over = |value: Option<CentiCelsius>, limit| value.is_some_and(|value| value >= limit);
        // Hot once either says so; cold only once a temperature does: a heater that is off is hot for minutes.
        if over(heater.actual, HEATED_FROM) || over(heater.target, HEATED_FROM) {
            self.heated = Some(true);
        } else if let Some(actual) = heater.actual {
            let still = self.heated == Some(true) && actual >= COLD_BELOW;
            self.heated = Some(still || over(heater.target, COLD_BELOW) && self.heated == Some(true));
        }
        self.heated
    }

    /// Books the interval to what the tool did in it, then takes its next turn.
    pub(super) fn advance(&mut self, interval: Option<Interval>, heater: Heater, turn: Turn, at: Timestamp) -> Step {
        let mut step = Step::default();
        let same = self.turn() == turn;
        if let Some(interval) = interval {
            if !interval.is_gap || same {
                self.book(interval, &heater);
            }
            if !same {
                let (ended, last) = if interval.is_gap { (interval.from, self.heater) } else { (interval.to, heater) };
                step.ended = self.end(ended, last.actual.map(CentiCelsius::celsius));
            }
        }
        self.heater = heater;
        if !same {
            step.began = self.begin(turn, at);
        }
        step
    }

    fn turn(&self) -> Turn {
        match self.activity {
            Activity::Working { turn, .. } | Activity::Waiting { turn, .. } => turn,
            Activity::Cold => Turn::Cold,
            Activity::Unknown => Turn::Unknown,
        }
    }

    /// The ends of an interval as they count: a leap up that no heater makes counts as far as a heater could be, and whole
    /// from the next reading on unless that one is back. A single wild reading would else age the melt by hours, at a
    /// rate that doubles with every ten kelvins.
    fn believed(&mut self, ends: Option<(Celsius, Celsius)>, lasted: Seconds) -> Option<(Celsius, Celsius)> {
        let doubted = self.doubted.take();
        let (from, to) = ends?;
        let reach = CelsiusDelta::new(LEAP_A_SECOND.get().mul_add(lasted.get(), LEAP.get()));
        let from = doubted.filter(|_| to + reach < from).unwrap_or(from);
        self.doubted = (to > from + reach).then(|| from + reach);
        Some((from, self.doubted.unwrap_or(to)))
    }

    fn book(&mut self, interval: Interval, now: &Heater) {
        let lasted = interval.to - interval.from;
        let ends = self.heater.actual.zip(now.actual).filter(|_| !interval.is_gap);
        let ends = self.believed(ends.map(|(from, to)| (from.celsius(), to.celsius())), lasted);
        let aged = || ends.map_or(DoseMinutes::ZERO, |(from, to)| waited_dose(&self.facts, lasted, from, to));
        match &mut self.activity {
            Activity::Working { gap, warmth, .. } => {
                if let Some(ends) = ends.filter(|_| !interval.is_vague) {
                    warmth.add(lasted, ends);
                }
                if interval.is_gap || interval.is_vague {
                    *gap += lasted;
                } else if interval.is_heating {
                    self.melt.wait(aged());
                } else {
                    self.melt.work(aged(), CubicMm::new(WORKING_FLOW * lasted.get()));
                }
            }
            Activity::Waiting { meter, targets, .. } => {
                targets.add(self.heater.target, lasted);
                match ends {
                    Some((from, to)) if !interval.is_vague => {
                        // A span stays what it began as; the melt is what is loaded now.
                        meter.wait(lasted, from, to);
                        self.melt.wait(aged());
                    }
                    Some(_) | None => meter.miss(lasted),
                }
            }
            Activity::Cold | Activity::Unknown => self.melt.wait(aged()),
        }
    }

    fn end(&mut self, ended: Timestamp, last: Option<Celsius>) -> Option<Effect> {
        match &self.activity {
            Activity::Working { began, gap, warmth, .. } => Some(Effect::VisitEnded {
                tool: self.number,
                began: *began,
                ended,
                gap: *gap,
                mean: warmth.mean(),
                max: warmth.max(),
            }),
            Activity::Waiting { began, meter, targets, .. } => Some(Effect::SpanEnded {
                tool: self.number,
                began: *began,
                ended,
                measure: meter.measure(self.settings.retract),
                end: last,
                target: targets.longest(),
            }),
            Activity::Cold | Activity::Unknown => None,
        }
    }

    fn begin(&mut self, turn: Turn, at: Timestamp) -> Option<Effect> {
        let (activity, effect) = match turn {
            Turn::Working { print } => (
                Activity::Working { turn, began: at, gap: Seconds::ZERO, warmth: Warmth::default() },
                Some(Effect::VisitBegan { started: print, tool: self.number, began: at }),
            ),
            Turn::Waiting { context, print } => {
                let meter = Box::new(SpanMeter::new(&self.facts));
                let target = self.heater.target.map(CentiCelsius::celsius);
                (
                    Activity::Waiting { turn, began: at, context, meter, targets: Targets::default() },
                    Some(Effect::SpanBegan { tool: self.number, began: at, context, print, target }),
                )
            }
            Turn::Cold => (Activity::Cold, None),
            Turn::Unknown => (Activity::Unknown, None),
        };
        self.activity = activity;
        effect
    }

    pub(super) fn now(&self) -> ToolNow {
        let doing = match &self.activity {
            Activity::Working { began, .. } => Doing::Working { since: *began },
            Activity::Waiting { began, context, meter, .. } => {
                Doing::Waiting { since: *began, context: *context, idle: meter.idle() }
            }
            Activity::Cold => Doing::Cold,
            Activity::Unknown => Doing::Unknown,
        };
        ToolNow {
            doing,
            actual: self.heater.actual.map(CentiCelsius::celsius),
            target: self.heater.target.map(CentiCelsius::celsius),
            dose: self.melt.mixed,
            limit: self.facts.residence_limit.value,
        }
    }
}

/// What a tool's step ended and began.
#[derive(Debug, Default)]
pub(super) struct Step {
    pub(super) ended: Option<Effect>,
    pub(super) began: Option<Effect>,
}

impl Targets {
    fn add(&mut self, target: Option<CentiCelsius>, lasted: Seconds) {
        let Some(target) = target else { return };
        match self.0.iter_mut().find(|(held, _)| *held == target) {
            Some((_, time)) => *time += lasted,
            None => self.0.push((target, lasted)),
        }
    }

    fn longest(&self) -> Option<Celsius> {
        let longest = self.0.iter().max_by(|(_, a), (_, b)| a.get().total_cmp(&b.get()));
        longest.map(|(target, _)| target.celsius())
    }
}
