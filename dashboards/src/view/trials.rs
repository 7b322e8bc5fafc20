//! What is shown of trials, and of what is advised no more.

use dwell_analysis::advice::{Arm, Change, Compared, Plan};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;

/// What became of what was advised.
#[derive(Clone, Debug)]
pub struct ReviewView {
    /// The newest reading; `None` before the first.
    pub as_of: Option<Timestamp>,
    /// Trials: the open ones first, then the newest.
    pub trials: Vec<TrialView>,
    /// What was declined or withdrawn, and is on no trial.
    pub closed: Vec<ClosedView>,
}

/// A trial.
#[derive(Clone, Debug)]
pub struct TrialView {
    /// Its suggestion's name.
    pub id: String,
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// The material; `None` is any.
    pub material: Option<String>,
    /// What was adopted.
    pub change: Change,
    /// Prints that began after this count.
    pub adopted: Timestamp,
    /// How it is meant.
    pub plan: Plan,
    /// The failure modes that it is judged by.
    pub modes: Vec<&'static str>,
    /// Its prints, oldest first.
    pub prints: Vec<TrialPrint>,
    /// What they say; `None` while no print with the change has a known outcome.
    pub figures: Option<TrialFigures>,
    /// The ratio by what each print really had, where some had not what was drawn and the trial goes on.
    pub ratio_as_applied: Option<Estimate>,
    /// What its tool holds instead of its material, so that no print counts; `None` where it holds that, nobody said
    /// what it holds, or the trial is over.
    pub held: Option<HeldView>,
    /// How it stands.
    pub state: TrialState,
}

/// What a tool holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeldView {
    /// The material, as somebody wrote it.
    pub material: String,
    /// Since when.
    pub since: Timestamp,
}

/// How a trial stands.
#[derive(Clone, Debug, PartialEq)]
pub enum TrialState {
    /// It goes on.
    Open {
        /// Prints with a known outcome that are still needed.
        more: usize,
        /// The print that is on counts, and is to have this.
        on: Option<Arm>,
        /// What the next print is to have; `None` once all that were drawn are made.
        next: Option<Arm>,
    },
    /// It is over.
    Ended {
        /// Since when.
        at: Timestamp,
        /// How it ended: `settled`, `harm`, `planned` or `given_up`.
        ending: &'static str,
        /// `helped`, `did_not_help`, `harmed` or `undecided`.
        verdict: &'static str,
        /// In words.
        why: String,
    },
}

/// One print of a trial.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialPrint {
    /// Which of the trial's, from 1.
    pub nth: usize,
    /// Its number.
    pub print: i64,
    /// The job's name.
    pub name: Option<String>,
    /// When it began.
    pub started: Timestamp,
    /// What it was to have.
    pub drawn: Option<Arm>,
    /// What it had.
    pub applied: Applied,
    /// Whether it failed in a way that the trial is judged by; `None` if nobody said.
    pub failed: Option<bool>,
    /// Which of these happened.
    pub failures: Vec<&'static str>,
    /// The chance that it fails so without the change, by what was known before the trial; `None` where nothing was, or
    /// the trial is over.
    pub expected: Option<f64>,
}

/// What was really set in a print.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Applied {
    /// Which of the two it was.
    pub set: WasSet,
    /// The value: as a change to it; `None` where it is not known, or none.
    pub value: Option<Change>,
    /// How that is known.
    pub by: KnownBy,
}

/// Whether a print had what was adopted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WasSet {
    /// It had.
    Changed,
    /// It had what was in force before.
    AsBefore,
    /// It had neither.
    Neither,
    /// Nothing tells.
    NotKnown,
}

/// How it is known what was set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KnownBy {
    /// From the set points in force while it waited.
    SetPoints,
    /// From the job file.
    JobFile,
    /// Somebody typed it in.
    TypedIn,
    /// Part changes that were told.
    PartsTold,
    /// It is not.
    NotKnown,
}

/// What the prints of a trial say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrialFigures {
    /// Prints with the change whose outcome is known, and failures among them.
    pub n_changed: usize,
    /// See `n_changed`.
    pub seen: usize,
    /// Prints as before whose outcome is known, and failures among them.
    pub n_as_before: usize,
    /// See `n_as_before`.
    pub seen_as_before: usize,
    /// Failures expected in the prints with the change without it, with its 90 % interval.
    pub expected: Estimate,
    /// The risk with the change over that without it, with its 90 % interval.
    pub ratio: Estimate,
    /// The probability that it lowers the risk.
    pub sure: f64,
    /// Of an alternation: the two groups as they are, without any model; `None` where nothing parts them.
    pub exact: Option<Compared>,
}

/// Advice that stands no more.
#[derive(Clone, Debug)]
pub struct ClosedView {
    /// The suggestion's name.
    pub id: String,
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// The material; `None` is any.
    pub material: Option<String>,
    /// What was suggested.
    pub change: Change,
    /// Whether a person declined it; else it was withdrawn.
    pub is_declined: bool,
    /// Since when.
    pub since: Timestamp,
    /// Why; `None` if nobody said.
    pub why: Option<String>,
}

impl TrialPrint {
    /// Whether it is known that it had not what it was to have.
    #[must_use]
    pub fn departs(&self) -> bool {
        let meant = self.drawn.map(|arm| arm == Arm::Changed);
        self.applied.set == WasSet::Neither
            || self.applied.set.has_change().zip(meant).is_some_and(|(had, meant)| had != meant)
    }
}

impl KnownBy {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SetPoints => "set_points",
            Self::JobFile => "job_file",
            Self::TypedIn => "typed_in",
            Self::PartsTold => "parts_told",
            Self::NotKnown => "not_known",
        }
    }
}

impl WasSet {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::AsBefore => "as_before",
            Self::Neither => "neither",
            Self::NotKnown => "not_known",
        }
    }

    /// Whether it had the change; `None` if that is not known.
    #[must_use]
    pub const fn has_change(self) -> Option<bool> {
        match self {
            Self::Changed => Some(true),
            Self::AsBefore | Self::Neither => Some(false),
            Self::NotKnown => None,
        }
    }
}
