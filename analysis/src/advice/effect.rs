//! What a change does: the risk of each failure mode over a tool's own newest runs, as they would go on and as they
//! would go with it, and the time that it costs. Owns how modes are put together; which change is worth it is `advise`'s.

use super::change::{Change, Step};
use super::course::{InForce, Run, runs};
use super::minutes::{Sides, is_long, minutes};
use super::situation::{Lesson, Situation};
use super::suggestion::{ModeEffect, RiskMove};
use crate::estimate::{Estimate, count};
use crate::polymer::Material;
use crate::risk::{Draws, FailureMode, Features};

/// Pairs of risks that are drawn a mode: the ends of a 90 % interval are then known to a hundredth of the draws.
const DRAWS: usize = 400;
/// What lies beyond each end of a 90 % interval, one part in so many.
const TAIL: usize = 20;
/// A risk that moves by less, relative to itself, does not move.
const MOVES: f64 = 1e-6;

/// What a change does.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// Each mode that there is a model of; none before enough outcomes were told.
    pub modes: Vec<ModeDraws>,
    /// Time that it costs a print, minutes, with its 90 % interval; negative saves. `n` is 0 where it rests on a
    /// proposal or a typical heater.
    pub minutes: Estimate,
    /// Waits of the runs asked, and those that are long enough to cool to the standby and to heat again.
    pub n_waits: usize,
    /// See `n_waits`.
    pub n_long_waits: usize,
}

/// What it does to one mode.
#[derive(Clone, Debug, PartialEq)]
pub struct ModeDraws {
    /// In figures.
    pub effect: ModeEffect,
    /// And as drawn.
    pub draws: Draws,
}

/// A tool's runs to come as things are: what each change is asked against.
pub struct AsIs<'a> {
    is: InForce<'a>,
    runs: Vec<Run>,
    features: Vec<Features>,
}

impl<'a> AsIs<'a> {
    /// What is in force for a tool.
    #[must_use]
    pub fn of(situation: &'a Situation<'a>) -> Self {
        let is = InForce::of(situation, None);
        let runs = runs(&is, None);
        let features = features(&runs);
        Self { is, runs, features }
    }

    /// What a change does to these runs; `None` where there is none yet.
    #[must_use]
    pub fn effect(&self, change: &Change) -> Option<Effect> {
        let situation = self.is.situation;
        let then = InForce::of(situation, Some(change));
        let (n_waits, n_long_waits) = waits(situation, &self.is, &then);
        let sides = Sides { situation, now: &self.runs, after: runs(&then, Some(change)), then };
        let (mut now, mut after) = (self.features.clone(), features(&sides.after));
        if let Change::Material(step) = change {
            let [is, then] = other_half(situation, *step)?;
            now.extend(is);
            after.extend(then);
        }
        let drawn = |lesson: &Lesson<'_>| {
            let mut draws = lesson.learner.draws(&now, &after, DRAWS)?;
            // A liner that is not there does not fail.
            if matches!(change, Change::AllMetal) && lesson.mode == FailureMode::Liner {
                draws.after.fill(0.0);
            }
            Some(ModeDraws { effect: mode_effect(lesson, &draws), draws })
        };
        let modes: Vec<ModeDraws> = situation.lessons.iter().filter_map(drawn).collect();
        (!after.is_empty()).then(|| Effect { modes, minutes: minutes(change, &sides), n_waits, n_long_waits })
    }
}

fn features(runs: &[Run]) -> Vec<Features> {
    runs.iter().map(|run| run.features).collect()
}

/// Where two tools swap their materials: the neighbour's runs as they are, and with this tool's material; `None` where
/// nothing is known of it.
fn other_half(situation: &Situation<'_>, step: Step<Material>) -> Option<[Vec<Features>; 2]> {
    let beside = situation.neighbour?.situation?;
    let change = Change::Material(Step { from: Some(step.to), to: step.from? });
    let [is, then] = [None, Some(&change)].map(|change| features(&runs(&InForce::of(beside, change), change)));
    (!is.is_empty()).then_some([is, then])
}

fn mode_effect(lesson: &Lesson<'_>, draws: &Draws) -> ModeEffect {
    ModeEffect {
        mode: lesson.mode,
        now: estimate(&draws.now, lesson.n),
        after: estimate(&draws.after, lesson.n),
        falls: falls(&draws.now, &draws.after),
        state: lesson.state,
        n: lesson.n,
        events: lesson.events,
        own_n: lesson.own_n,
        own_events: lesson.own_events,
    }
}

/// Waits of the runs, and the long ones among them: by the standby that would be, or that is if there would be no drop.
fn waits(situation: &Situation<'_>, is: &InForce<'_>, then: &InForce<'_>) -> (usize, usize) {
    let drops = |in_force: &InForce<'_>| in_force.set_points().filter(|(standby, print)| standby < print);
    let trip = drops(then).or_else(|| drops(is));
    let waits = || situation.courses.iter().flat_map(|course| &course.waits);
    let is_long = |lasted| trip.is_some_and(|trip| is_long(situation, lasted, trip));
    (waits().count(), waits().filter(|wait| is_long(wait.lasted)).count())
}

impl Effect {
    /// The chance a run that any of these modes happens; `None` where there is no model of one.
    #[must_use]
    pub fn any(&self, modes: &[FailureMode]) -> Option<RiskMove> {
        let of = |side: fn(&Draws) -> &[f64]| {
            let mut any = vec![0.0; DRAWS];
            for mode in self.modes.iter().filter(|own| modes.contains(&own.effect.mode)) {
                any.iter_mut().zip(side(&mode.draws)).for_each(|(any, chance)| *any += chance - *any * chance);
            }
            any
        };
        let known = self.modes.iter().filter(|own| modes.contains(&own.effect.mode)).map(|own| own.effect.n);
        let n = known.min()?;
        let (now, after) = (of(|draws| &draws.now), of(|draws| &draws.after));
        Some(RiskMove { now: estimate(&now, n), after: estimate(&after, n), sure: falls(&now, &after) })
    }

    /// The probability that a mode's risk rises.
    #[must_use]
    pub fn rises(&self, mode: FailureMode) -> f64 {
        let own = self.modes.iter().find(|own| own.effect.mode == mode);
        own.map_or(0.0, |own| falls(&own.draws.after, &own.draws.now))
    }

    /// What is lost less a print with the change, minutes: what each mode costs by how much its risk falls, less the
    /// time that the change takes.
    #[must_use]
    pub fn gain(&self, lessons: &[Lesson<'_>]) -> Estimate {
        let mut saved = vec![0.0; DRAWS];
        for own in &self.modes {
            let loss = lessons.iter().find(|lesson| lesson.mode == own.effect.mode);
            let loss = loss.map_or(0.0, |lesson| lesson.loss.as_minutes());
            for ((saved, now), after) in saved.iter_mut().zip(&own.draws.now).zip(&own.draws.after) {
                *saved += loss * (now - after);
            }
        }
        let saved = estimate(&saved, self.modes.iter().map(|own| own.effect.n).min().unwrap_or(0));
        let (value, takes) = (saved.value - self.minutes.value, &self.minutes);
        let below = (saved.value - saved.low).hypot(takes.high - takes.value);
        let above = (saved.high - saved.value).hypot(takes.value - takes.low);
        Estimate { value, low: value - below, high: value + above, n: saved.n }
    }
}

/// Mean and middle 90 % of draws.
fn estimate(draws: &[f64], n: usize) -> Estimate {
    let value = draws.iter().sum::<f64>() / count(draws.len().max(1));
    let mut sorted = draws.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let tail = sorted.len() / TAIL;
    let at = |idx: usize| sorted.get(idx).copied().unwrap_or(value);
    let (low, high) = (at(tail), at(sorted.len().saturating_sub(1 + tail)));
    // A mean can lie outside of the middle of what it is the mean of.
    Estimate { value, low: low.min(value), high: high.max(value), n }
}

fn falls(now: &[f64], after: &[f64]) -> f64 {
    let fallen = now.iter().zip(after).filter(|(now, after)| **after < **now * (1.0 - MOVES)).count();
    count(fallen) / count(now.len().max(1))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
pub(super) mod tests;
