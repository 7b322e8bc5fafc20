//! What is shown of what was learned.

use super::PartView;
use dwell_analysis::estimate::{Estimate, Refusal};
use dwell_analysis::risk::{Group, Habit, Learned, Patterns, Response, State, Trial};
use dwell_analysis::time::Timestamp;

/// What the whole record says of each failure mode.
#[derive(Clone, Debug)]
pub struct LearnView {
    /// The newest reading that was learned from; `None` before the first.
    pub as_of: Option<Timestamp>,
    /// Prints that have ended and of which a tool is known.
    pub prints: usize,
    /// Their tool-runs: one tool in one print.
    pub runs: usize,
    /// Those of the prints of which a person said how they came out.
    pub reported: usize,
    /// What silence would change.
    pub silence: SilenceView,
    /// One a failure mode, in no order.
    pub modes: Vec<ModeView>,
    /// How tools are left waiting, and how often each group failed in any way; empty with too few runs, or if all are of
    /// one kind.
    pub habits: Vec<Habit>,
    /// The parts in use.
    pub parts: Vec<PartView>,
}

/// What the record says of one failure mode.
#[derive(Clone, Debug)]
pub struct ModeView {
    /// Its word, such as `under_extrusion`.
    pub mode: &'static str,
    /// What the learner makes of it.
    pub learned: Learned,
    /// Events that were told as slight, serious and grave.
    pub severities: [usize; 3],
    /// Prints of which it was told without a tool that took part: whose it was is not known.
    pub unplaced: usize,
    /// The word of the mode that it is mixed up with, if there is one.
    pub mixed_up_with: Option<&'static str>,
    /// Readable patterns, or why there are none.
    pub patterns: Result<Patterns, Refusal>,
    /// The response to the first-ranked factor that has one.
    pub response: Option<ResponseView>,
    /// For each pair that can't be told apart, what would tell it.
    pub trials: Vec<Option<Trial>>,
}

/// How often a mode happened at each level of a factor.
#[derive(Clone, Debug)]
pub struct ResponseView {
    /// The factor.
    pub factor: &'static str,
    /// Its steps.
    pub response: Response,
    /// The tool-runs behind it: of each the factor, in its unit, and whether it happened.
    pub runs: Vec<(f64, bool)>,
    /// Whether the factor counts by its doublings.
    pub is_by_doubling: bool,
}

/// What would change if silence were read the other way.
#[derive(Clone, Debug)]
pub struct SilenceView {
    /// Whether silence means clean in what is shown.
    pub means_clean: bool,
    /// Prints that have ended and that nobody said a word of.
    pub prints: usize,
    /// Both readings of each mode.
    pub readings: Vec<BothReadings>,
}

/// One mode, read both ways.
#[derive(Clone, Debug)]
pub struct BothReadings {
    /// The mode's word.
    pub mode: &'static str,
    /// As shown.
    pub shown: ReadingView,
    /// If silence meant the other thing.
    pub other: ReadingView,
}

/// What one reading of silence makes of a mode.
#[derive(Clone, Debug)]
pub struct ReadingView {
    /// Tool-runs whose outcome is known.
    pub n: usize,
    /// Those in which it happened.
    pub events: usize,
    /// Their share.
    pub rate: Result<Estimate, Refusal>,
    /// How much is known.
    pub state: State,
    /// The likeliest group.
    pub first: Option<Group>,
}

impl LearnView {
    /// How many prints so many tool-runs are, rounded up, if as many tools take part as did so far; `None` without a
    /// print.
    #[must_use]
    pub const fn prints_of(&self, runs: usize) -> Option<usize> {
        match self.runs {
            0 => None,
            all => Some(runs.saturating_mul(self.prints).div_ceil(all)),
        }
    }
}

impl BothReadings {
    /// Whether it matters which way silence is read: the state differs, or the first group where either state carries a
    /// word on it, or the other rate, if there are both, lies beyond the interval of the one shown.
    #[must_use]
    pub fn differ(&self) -> bool {
        let (shown, other) = (&self.shown, &self.other);
        let says = |reading: &ReadingView| reading.state != State::TooLittle;
        let is_beyond = match (&shown.rate, &other.rate) {
            (Ok(shown), Ok(other)) => !(shown.low..=shown.high).contains(&other.value),
            _ => false,
        };
        shown.state != other.state || ((says(shown) || says(other)) && shown.first != other.first) || is_beyond
    }
}
