//! What one tool has done so far in a job: its filament, its heights, the set points it worked at and waited at. Owns
//! what counts as a standby that was given.

use super::drawn::Drawn;
use super::outline::ToolOutline;
use super::spread::Tally;
use super::warm::{HEATED_FROM, WaitSum};
use crate::entry::ToolNumber;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};
use std::collections::BTreeSet;

/// A set point that is lower than the one a tool worked at by less than this is no standby.
const LOWERED: CelsiusDelta = CelsiusDelta::new(5.0);

/// A set point that is lowered later than this after the tool was left has let it wait hot (common practice, no source).
const LATE: Seconds = Seconds::new(60.0);

/// Print set points of a tool whose filament is kept apart.
const TARGETS_MAX: usize = 32;

/// What a tool has done so far.
#[derive(Debug, Default)]
pub(super) struct Worked {
    pub(super) drawn: Drawn,
    pub(super) visits: u32,
    pub(super) layers: Heights,
    /// Filament laid by set point, mm3.
    pub(super) targets: Vec<(Celsius, f64)>,
    pub(super) target_max: Option<Celsius>,
    /// The set point when it was last pushed.
    pub(super) pushed_at: Option<Celsius>,
    /// The lowest set point since then, and the first lower one with when it was given.
    pub(super) lowest: Option<Celsius>,
    pub(super) lowered: Option<(Celsius, Seconds)>,
    pub(super) waited: Seconds,
    pub(super) left_at: Option<Seconds>,
    pub(super) left: u32,
    pub(super) left_hot: u32,
    pub(super) standby: Tally,
    pub(super) purge: Tally,
    pub(super) pushed: Tally,
    pub(super) restart: Tally,
    /// Its newest visit among those that are told.
    pub(super) newest: Option<usize>,
    pub(super) has_left: bool,
}

impl Worked {
    /// So much was laid at the set point `asked`, on a level way at that height if it was one.
    pub(super) fn note(&mut self, volume: f64, asked: Option<Celsius>, layer: Option<f64>) {
        self.pushed_at = asked;
        (self.lowest, self.lowered) = (None, None);
        if let Some(target) = asked.filter(|target| target.get() > 0.0) {
            let is_full = self.targets.len() >= TARGETS_MAX;
            match self.targets.iter_mut().find(|(held, _)| *held == target) {
                Some((_, laid)) => *laid += volume,
                None if !is_full => self.targets.push((target, volume)),
                None => {}
            }
        }
        if let Some(z) = layer {
            self.layers.add(z);
        }
    }

    pub(super) fn set(&mut self, target: Celsius, now: Seconds) {
        self.target_max = Some(self.target_max.map_or(target, |max| max.max(target)));
        self.lowest = Some(self.lowest.map_or(target, |lowest| lowest.min(target)));
        if self.lowered.is_none() && self.pushed_at.is_some_and(|pushed_at| target <= pushed_at - LOWERED) {
            self.lowered = Some((target, now));
        }
    }

    /// The tool is called again, or the job is over: was it left hot? `None` if it was not left for another one, or had
    /// never been heated.
    pub(super) fn judge_standby(&mut self) -> Option<bool> {
        let left_at = self.left_at.filter(|_| std::mem::take(&mut self.has_left))?;
        // What was never heated is not left hot.
        self.pushed_at.filter(|target| *target >= HEATED_FROM)?;
        let lowered = self.lowered.filter(|(_, at)| *at - left_at <= LATE);
        match lowered {
            Some((standby, _)) if standby.get() > 0.0 => self.standby.add(standby.get()),
            Some(_) => {}
            None => self.left_hot = self.left_hot.saturating_add(1),
        }
        Some(lowered.is_none())
    }

    pub(super) fn outline(self, tool: ToolNumber, sum: WaitSum) -> ToolOutline {
        let most = self.targets.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        ToolOutline {
            tool,
            visits: self.visits,
            filament: self.drawn.used(),
            layers: self.layers.n(),
            print: most.map(|(target, _)| *target),
            target_max: self.target_max,
            standby: self.standby.spread(),
            left: self.left,
            left_hot: self.left_hot,
            retractions: self.drawn.retractions(),
            purge: self.purge.spread(),
            pushed: self.pushed.spread(),
            restart: self.restart.spread(),
            waits: sum.n,
            waited: sum.lasted,
            waited_max: sum.longest,
            waited_max_at: sum.longest_at,
            dose_max: sum.dose_max,
            wait_dose_max: sum.wait_dose_max,
            dose_sum: sum.dose,
            restarts: sum.restarts,
            called_min: sum.called_min,
            stagnant: sum.stagnant,
            wait_mean: sum.mean(),
            wait_max: sum.max,
            ooze: sum.ooze,
        }
    }
}

/// Heights at which filament was laid, each once.
#[derive(Debug, Default)]
pub(super) struct Heights {
    /// In thousandths of a millimetre.
    seen: BTreeSet<i64>,
    newest: Option<i64>,
}

/// Heights that are told apart: four metres of layers of a fifth of a millimetre.
const HEIGHTS_MAX: usize = 20_000;

impl Heights {
    #[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "float-to-int casts saturate")]
    pub(super) fn add(&mut self, z: f64) {
        let height = (z * 1000.0).round() as i64;
        if self.newest != Some(height) && self.seen.len() < HEIGHTS_MAX {
            self.seen.insert(height);
        }
        self.newest = Some(height);
    }

    pub(super) fn n(&self) -> u32 {
        u32::try_from(self.seen.len()).unwrap_or(u32::MAX)
    }
}
