//! What the whole record says of each failure mode.

use super::Learning;
use super::kept::last;
use super::runs::{Run, runs_as};
use crate::entry::Mode;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{FailureMode, Learned, Learner, Told, ToolRun};
use dwell_analysis::time::Timestamp;

/// What was learned of one failure mode.
#[derive(Clone, Debug)]
pub struct Lesson {
    /// The mode.
    pub mode: Mode,
    /// What happened on each tool-run, in the study's order.
    pub happened: Vec<Option<bool>>,
    /// What the learner makes of it.
    pub learned: Learned,
    /// How much was known after each word on any run, in time order: one an instant.
    known: Vec<KnownAt>,
}

/// What was known of a failure mode from an instant on.
#[derive(Clone, Copy, Debug)]
struct KnownAt {
    from: Timestamp,
    n: usize,
    events: usize,
}

impl Lesson {
    fn of(mode: Mode, runs: &[Run], learned: Learned) -> Self {
        let happened = runs.iter().map(|run: &Run| run.happened(mode)).collect();
        Self { mode, happened, learned, known: known(runs, mode) }
    }

    /// Of how many runs it was known before an instant whether it happened, and in how many of these it had.
    pub(super) fn known_before(&self, at: Timestamp) -> (usize, usize) {
        let after = self.known.partition_point(|known| known.from < at);
        after.checked_sub(1).and_then(|last| self.known.get(last)).map_or((0, 0), |known| (known.n, known.events))
    }
}

fn known(runs: &[Run], mode: Mode) -> Vec<KnownAt> {
    let words = |run: &Run| {
        let before = std::iter::once(None).chain(run.tellings(mode).map(|(_, happened)| happened));
        let words = run.tellings(mode).zip(before).map(|((from, happened), before)| (from, before, happened));
        words.filter(|(_, before, happened)| before != happened).collect::<Vec<_>>()
    };
    let mut words: Vec<_> = runs.iter().flat_map(words).collect();
    words.sort_by_key(|(from, ..)| *from);
    let (mut n, mut events) = (0_usize, 0_usize);
    let each = words.into_iter().map(|(from, before, happened)| {
        // What is taken away was added before.
        n = (n + usize::from(happened.is_some())).saturating_sub(usize::from(before.is_some()));
        events = (events + usize::from(happened == Some(true))).saturating_sub(usize::from(before == Some(true)));
        KnownAt { from, n, events }
    });
    each.collect()
}

/// The record's tool-runs and what was learned from them.
#[derive(Clone, Debug)]
pub struct Study {
    /// Oldest print first.
    pub runs: Vec<Run>,
    /// One a failure mode.
    pub lessons: Vec<Lesson>,
    /// Whether silence counted as clean.
    pub silence_means_clean: bool,
}

/// The record's tool-runs and a learner of each failure mode: what was learned and what is advised come from the same.
pub struct Known {
    /// Oldest print first.
    pub(super) runs: Vec<Run>,
    /// One a failure mode; one that nobody ever reported, too.
    pub(super) learners: Vec<(Mode, Learner)>,
    pub(super) learning: Learning,
}

impl Known {
    /// Goes through the whole record. Whoever has no settings at hand has silence read as it was when was learned last.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn of(reader: &Reader, materials: &Materials, learning: Option<Learning>) -> Result<Self, StoreError> {
        let learning = learning.map_or_else(|| last(reader), Ok)?;
        Ok(Self::from_runs(runs_as(reader, materials, learning)?, learning))
    }

    pub(super) fn from_runs(runs: Vec<Run>, learning: Learning) -> Self {
        let inputs: Vec<ToolRun> = runs.iter().map(|run| run.run).collect();
        let learner = |mode: Mode| Some((mode, learner(&runs, &inputs, mode)?));
        let learners = Mode::ALL.iter().copied().filter_map(learner).collect();
        Self { runs, learners, learning }
    }

    /// What is learned of each failure mode.
    pub(super) fn learned(&self) -> Vec<(Mode, Learned)> {
        self.learners.iter().map(|(mode, learner)| (*mode, learner.learned())).collect()
    }
}

impl Study {
    /// What is known of a record, without the learners.
    pub(super) fn of_known(known: Known) -> Self {
        let learned = known.learned();
        Self::of(known.runs, learned, known.learning)
    }

    /// The runs with what was learned from them.
    pub(super) fn of(runs: Vec<Run>, learned: Vec<(Mode, Learned)>, learning: Learning) -> Self {
        let lessons = learned.into_iter().map(|(mode, learned)| Lesson::of(mode, &runs, learned)).collect();
        Self { runs, lessons, silence_means_clean: learning.silence_means_clean }
    }

    /// Whether a run failed in any way: one failure that happened is one; a clean run is one of which all is known.
    pub(super) fn failed(&self, idx: usize) -> Option<bool> {
        let each = self.lessons.iter().map(|lesson| lesson.happened.get(idx).copied().flatten());
        let any = |one: Option<bool>, other| match (one, other) {
            (Some(true), _) | (_, Some(true)) => Some(true),
            (Some(false), Some(false)) => Some(false),
            _ => None,
        };
        each.reduce(any).flatten()
    }

    /// The places of a print's runs; runs are in the order in which prints began.
    pub(super) fn runs_of(&self, print: i64, started: Timestamp) -> std::ops::Range<usize> {
        let key = |run: &Run| (run.started, run.print);
        let from = self.runs.partition_point(|run| key(run) < (started, print));
        from..self.runs.partition_point(|run| key(run) <= (started, print))
    }
}

/// Studies the whole record anew.
///
/// # Errors
/// If the record can't be read.
pub(super) fn study(reader: &Reader, materials: &Materials, learning: Learning) -> Result<Study, StoreError> {
    Ok(Study::of_known(Known::of(reader, materials, Some(learning))?))
}

/// What the record says of a mode; nothing of what is no failure.
pub(super) fn learner(runs: &[Run], inputs: &[ToolRun], mode: Mode) -> Option<Learner> {
    failure_mode(mode).map(|failure| Learner::of(failure, inputs, &told(runs, mode)))
}

pub(super) const fn failure_mode(mode: Mode) -> Option<FailureMode> {
    match mode {
        Mode::Clean => None,
        Mode::Jam => Some(FailureMode::Jam),
        Mode::Stringing => Some(FailureMode::Stringing),
        Mode::Liner => Some(FailureMode::Liner),
        Mode::Blob => Some(FailureMode::Blob),
        Mode::UnderExtrusion => Some(FailureMode::UnderExtrusion),
        Mode::Scrape => Some(FailureMode::Scrape),
        Mode::Misalignment => Some(FailureMode::Misalignment),
        Mode::Adhesion => Some(FailureMode::Adhesion),
        Mode::Other => Some(FailureMode::Other),
    }
}

/// What a mode is noted as by mistake, or noted for it: common practice, no source.
pub(super) const fn mixed_up_with(mode: Mode) -> Option<Mode> {
    match mode {
        Mode::Jam => Some(Mode::UnderExtrusion),
        Mode::UnderExtrusion => Some(Mode::Jam),
        Mode::Stringing => Some(Mode::Blob),
        Mode::Blob => Some(Mode::Stringing),
        Mode::Clean | Mode::Liner | Mode::Scrape | Mode::Misalignment | Mode::Adhesion | Mode::Other => None,
    }
}

/// What people said of a mode, in the order in which forecasts may know it.
pub(super) fn told(runs: &[Run], mode: Mode) -> Vec<Told> {
    let mut told = Vec::new();
    for (at, run) in runs.iter().enumerate() {
        let others: Vec<Option<bool>> = match mixed_up_with(mode) {
            Some(other) => run.tellings(other).map(|(_, happened)| happened).collect(),
            None => Vec::new(),
        };
        for (nth, (from, happened)) in run.tellings(mode).enumerate() {
            let is_doubtful = happened == Some(false) && others.get(nth) == Some(&Some(true));
            // Recorded before a print began, not at the instant.
            let next = runs.partition_point(|later| later.started <= from);
            let before = runs.get(next).map_or(usize::MAX, |later| later.run.print);
            told.push(Told { run: at, before: before.max(run.run.print + 1), happened, is_doubtful });
        }
    }
    told.sort_by_key(|word| word.before);
    told
}
