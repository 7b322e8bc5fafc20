//! One history: prints one after the other over months, and what the judge knows of each.

use super::catalogue::World;
use super::course::Course;
use super::exposure::Exposure;
use super::follow::Taken;
use super::heat::Sample;
use super::person::Settings;
use super::words::{Word, in_the_end};
use dwell_analysis::estimate::count;
use dwell_analysis::time::Timestamp;

/// A tool's part in a print, as the judge knows it.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// Which.
    pub tool: usize,
    /// What it went through.
    pub exposure: Exposure,
    /// To fail in the world's mode.
    pub probability: f64,
    /// That it is noted as failed in the world's mode, if anything is said of the print.
    pub noted: f64,
    /// Whether it failed in the world's mode, said or not.
    pub has_failed: bool,
}

/// A part taken out and replaced.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fitted {
    pub(super) tool: usize,
    pub(super) part: &'static str,
    /// Of the one before; none at the first.
    pub(super) removed: Option<&'static str>,
}

/// A print and what was done and said around it.
#[derive(Clone, Debug)]
pub struct Print {
    /// The job's name.
    pub name: String,
    /// Its first `printing` reading.
    pub started: Timestamp,
    /// The first reading after it.
    pub ended: Timestamp,
    /// What its tools went through.
    pub runs: Vec<Run>,
    /// What failed, said or not: tool and mode.
    pub(super) failures: Vec<(usize, &'static str)>,
    /// When settings and parts were changed for it.
    pub(super) prepared: Timestamp,
    pub(super) settings: [Settings; 2],
    pub(super) fitted: Vec<Fitted>,
    pub(super) samples: Vec<Sample>,
    pub(super) words: Vec<Word>,
}

/// A world's history from a seed.
#[derive(Clone, Debug)]
pub struct History {
    /// Whose.
    pub world: World,
    /// From which it comes out the same again.
    pub seed: u64,
    /// In time order.
    pub prints: Vec<Print>,
}

impl Print {
    /// Whether a mode is said to have happened on a tool, when all is said; none if nothing is.
    #[must_use]
    pub fn said(&self, mode: &str, tool: usize) -> Option<bool> {
        in_the_end(&self.words, mode, tool)
    }
}

impl History {
    /// So many prints in a world.
    #[must_use]
    pub fn new(world: World, seed: u64, n_prints: usize) -> Self {
        let mut course = Course::new(world, seed);
        let mut one = |idx| {
            let is_weekend = course.wait_for_next();
            course.print(idx, count(idx) / count(n_prints), is_weekend, &mut Taken::default())
        };
        let prints = (0..n_prints).map(&mut one).collect();
        Self { world, seed, prints }
    }

    /// Of all tool-runs, those that failed in the world's mode.
    #[must_use]
    pub fn failed_share(&self) -> f64 {
        let runs: Vec<&Run> = self.prints.iter().flat_map(|print| &print.runs).collect();
        count(runs.iter().filter(|run| run.has_failed).count()) / count(runs.len())
    }

    /// How many readings its journal holds.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.prints.iter().map(|print| print.samples.len()).sum()
    }
}
