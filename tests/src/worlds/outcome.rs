//! What comes of a print: by the law, by constant rates, by the person's own cancelling; and where it ends.

use super::catalogue::World;
use super::chance::Chance;
use super::exposure::{Age, Exposure};
use super::heat::{Sample, State};
use super::person::Settings;

/// To fail with settings that no sensible person would try: only advice leads there.
const SENSELESS: f64 = 0.5;

/// What came of a tool-run.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fate {
    pub(super) tool: usize,
    pub(super) exposure: Exposure,
    /// To fail in the world's mode.
    pub(super) probability: f64,
    pub(super) has_failed: bool,
}

/// What came of a print, its readings cut where it ended.
pub(super) struct Outcome {
    pub(super) samples: Vec<Sample>,
    pub(super) end: State,
    pub(super) fates: Vec<Fate>,
    /// Tool and mode, the world's and all others.
    pub(super) failures: Vec<(usize, &'static str)>,
}

/// What is the same for all prints of a history.
#[derive(Clone)]
pub(super) struct Rates {
    pub(super) world: World,
    /// Of the world's mode, without its law.
    pub(super) base: f64,
    /// What the law adds at most.
    pub(super) strength: f64,
}

impl Rates {
    /// That anything else goes wrong with a tool.
    pub(super) fn else_wrong(&self) -> f64 {
        1.0 - self.world.background().iter().map(|(_, rate)| 1.0 - rate).product::<f64>()
    }

    fn probability(&self, exposure: &Exposure) -> f64 {
        let by_law = self.base + (1.0 - self.base) * self.strength * self.world.law.share(exposure);
        if exposure.settings.are_senseless() { by_law.max(SENSELESS) } else { by_law }
    }

    /// Each tool's fate over these readings, given what chance has in store for each.
    fn fates(&self, samples: &[Sample], settings: &[Settings; 2], liners: &[Age; 2], lots: [f64; 2]) -> Vec<Fate> {
        let one = |tool: usize| {
            let age = liners[tool].after(samples, tool, self.world.poll_s);
            let exposure = Exposure::of(samples, tool, self.world.poll_s, settings[tool], age)?;
            let probability = self.probability(&exposure);
            Some(Fate { tool, exposure, probability, has_failed: lots[tool] < probability })
        };
        (0..2).filter_map(one).collect()
    }

    /// What comes of a print that would run like this.
    pub(super) fn outcome(
        &self,
        mut samples: Vec<Sample>,
        settings: &[Settings; 2],
        liners: &[Age; 2],
        chance: &mut Chance,
    ) -> Outcome {
        let mut end = State::Completed;
        // For reasons of the person's own.
        if chance.happens(0.04) {
            cut(&mut samples, chance.between(0.05, 0.95), 0);
            end = State::Cancelled;
        }
        let lots = [chance.unit(), chance.unit()];
        let mut fates = self.fates(&samples, settings, liners, lots);
        let mode = self.world.family.mode();
        let stops = if mode == "stringing" { 0.2 } else { 0.6 };
        // Only one tool, whichever, can end this print: so the other one's fate never decides how much of it is seen.
        let can_stop = chance.whole(0, 1);
        let stopped = fates.iter().position(|fate| fate.tool == can_stop && fate.has_failed);
        if let Some(first) = stopped.filter(|_| chance.happens(stops)) {
            // A failure comes after what brought it; the other tool lives to see no more than this one did.
            cut(&mut samples, chance.between(0.3, 1.0), fates[first].exposure.worst_ended);
            end = chance.one_of(&[State::Cancelled, State::Failed]);
            let cut_short = self.fates(&samples, settings, liners, lots);
            let other = cut_short.into_iter().filter(|fate| fate.tool != can_stop);
            fates = std::iter::once(fates[first]).chain(other).collect();
        }
        let mut failures: Vec<_> = fates.iter().filter(|fate| fate.has_failed).map(|fate| (fate.tool, mode)).collect();
        for fate in &fates {
            let modes = self.world.background().iter().filter(|(_, rate)| chance.happens(*rate));
            failures.extend(modes.map(|(mode, _)| (fate.tool, *mode)));
        }
        Outcome { samples, end, fates, failures }
    }
}

/// Ends the readings at a part of them, but no earlier than some after one.
fn cut(samples: &mut Vec<Sample>, part: f64, at_least: usize) {
    let printing = samples.iter().position(|sample| sample.state == State::Printing).unwrap_or(0);
    let keeps = |sample: &Sample| sample.fraction <= part;
    let by_part = samples.iter().filter(|sample| keeps(sample)).count();
    samples.truncate(by_part.max(at_least + 6).max(printing + 6));
}
