//! Measures one idle span while it runs. Owns the integrals; when a span begins or ends is the tracker's business.

use crate::polymer::{MaterialFacts, drool_rate, pressure_volume, reheat_expansion, waited_dose};
use crate::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};

/// Adds up one idle span. Time without contact is kept apart and never weighs as idle time.
#[derive(Clone, Debug)]
pub struct SpanMeter {
    facts: MaterialFacts,
    idle: Seconds,
    gap: Seconds,
    /// Integral of temperature over the idle time, K s.
    weighted: f64,
    extremes: Option<Extremes>,
    dose: DoseMinutes,
    drool: CubicMm,
}

#[derive(Clone, Copy, Debug)]
struct Extremes {
    min: Celsius,
    max: Celsius,
    last: Celsius,
}

/// What an idle span came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpanMeasure {
    /// Time spent waiting, in contact and with a temperature told.
    pub idle: Seconds,
    /// Time without contact or without a temperature inside the span.
    pub gap: Seconds,
    /// Time-weighted mean temperature; `None` where no interval was measured.
    pub mean: Option<Celsius>,
    /// Highest temperature read.
    pub max: Option<Celsius>,
    /// Dose taken within this span.
    pub dose: DoseMinutes,
    /// Melt expected to have left the nozzle; `None` where no interval was measured.
    pub ooze: Option<CubicMm>,
}

impl SpanMeter {
    /// A span that begins now, of a tool that holds a material of these figures.
    #[must_use]
    pub const fn new(facts: &MaterialFacts) -> Self {
        Self {
            facts: *facts,
            idle: Seconds::ZERO,
            gap: Seconds::ZERO,
            weighted: 0.0,
            extremes: None,
            dose: DoseMinutes::ZERO,
            drool: CubicMm::ZERO,
        }
    }

    /// Adds `lasted` of waiting between two readings of `from` and `to` and returns the dose it added.
    /// Rates are taken at the ends and averaged (trapezoid rule).
    pub fn wait(&mut self, lasted: Seconds, from: Celsius, to: Celsius) -> DoseMinutes {
        self.idle += lasted;
        self.weighted += from.midway(to).get() * lasted.get();
        let seen = self.extremes.unwrap_or(Extremes { min: from, max: from, last: from });
        self.extremes = Some(Extremes { min: seen.min.min(from).min(to), max: seen.max.max(from).max(to), last: to });
        let dose = waited_dose(&self.facts, lasted, from, to);
        self.dose += dose;
        let drool = f64::midpoint(drool_rate(&self.facts, from), drool_rate(&self.facts, to));
        self.drool += CubicMm::new(drool * lasted.get());
        dose
    }

    /// Adds time without contact, or without a temperature.
    pub fn miss(&mut self, lasted: Seconds) {
        self.gap += lasted;
    }

    /// Time waited so far.
    #[must_use]
    pub const fn idle(&self) -> Seconds {
        self.idle
    }

    /// The span so far. `retracted` is the retraction in force, if known; without it stored pressure is left out.
    #[must_use]
    pub fn measure(&self, retracted: Option<Millimetres>) -> SpanMeasure {
        let measured = self.idle > Seconds::ZERO;
        // What is too cold to flow stays where it is: it neither expands out of the nozzle nor is pushed out.
        let flows_from = self.facts.first_flow.value;
        let ooze = self.extremes.map(|seen| {
            let left = |length| pressure_volume(&self.facts, length, seen.max, self.idle);
            let pressure = retracted.map_or(CubicMm::ZERO, left);
            self.drool + reheat_expansion(seen.last - seen.min.max(flows_from)) + pressure
        });
        SpanMeasure {
            idle: self.idle,
            gap: self.gap,
            mean: measured.then(|| Celsius::new(self.weighted / self.idle.get())),
            max: self.extremes.map(|seen| seen.max),
            dose: self.dose,
            ooze,
        }
    }
}
