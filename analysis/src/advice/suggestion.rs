//! A change that is worth a try, with what it would do and what that rests on. Owns these shapes.

use super::change::Change;
use crate::estimate::Estimate;
use crate::risk::{FailureMode, State};
use crate::units::{Celsius, CelsiusDelta, Millimetres, Seconds};

/// A change worth a try.
#[derive(Clone, Debug, PartialEq)]
pub struct Suggestion {
    /// What to change.
    pub change: Change,
    /// Failure modes whose risk it moves, what it helps most against first. Where some rise and some fall, it is a
    /// trade-off.
    pub effects: Vec<ModeEffect>,
    /// Modes that it is for, what it helps most against first.
    pub meant: Vec<FailureMode>,
    /// The chance a run that any of the modes that it is for happens, as it is, with its 90 % interval.
    pub risk_now: Estimate,
    /// The same with the change.
    pub risk_after: Estimate,
    /// The probability that the change lowers that risk.
    pub sure: f64,
    /// Time that it costs a print, minutes, with its 90 % interval; negative saves.
    pub minutes: Estimate,
    /// What is lost less a print, minutes: failures by what each costs, and the time that the change takes.
    pub gain: Estimate,
    /// What it rests on.
    pub basis: Basis,
    /// What the trade says for it; `None` where the record alone does.
    pub rule: Option<Rule>,
    /// Runs that it was asked of.
    pub n_courses: usize,
    /// Waits of these runs, and those that are long enough for a lower set point to be reached and left again.
    pub n_waits: usize,
    /// See `n_waits`.
    pub n_long_waits: usize,
}

/// What a change does to one failure mode.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ModeEffect {
    /// Which.
    pub mode: FailureMode,
    /// Its chance a run as it is, with its 90 % interval.
    pub now: Estimate,
    /// The same with the change.
    pub after: Estimate,
    /// The probability that it falls.
    pub falls: f64,
    /// How much is known of the mode.
    pub state: State,
    /// Runs with a known outcome, and those in which it happened.
    pub n: usize,
    /// See `n`.
    pub events: usize,
    /// Of this tool with this material alone.
    pub own_n: usize,
    /// See `own_n`.
    pub own_events: usize,
}

/// What a suggestion rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The record, of a mode that was learned.
    Learned,
    /// What the trade does; the record does not say yet.
    CommonPractice,
    /// Both, or a record that only leans that way.
    Mixed,
}

/// What the trade says for a change: common practice, no source, but for the figures that it quotes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    /// Waits are long enough to cool and to heat again.
    WaitsAreLong {
        /// Time to cool and heat again.
        round_trip: Seconds,
    },
    /// Waits are too short for a lower set point to be reached and left again.
    WaitsAreShort {
        /// Time to cool and heat again.
        round_trip: Seconds,
    },
    /// The tool restarts so much too cold.
    StartsCold {
        /// How much, at most.
        deficit: CelsiusDelta,
    },
    /// A retraction outside of what its drive and material need.
    RetractionOutside {
        /// Least that is needed.
        low: Millimetres,
        /// Most that is.
        high: Millimetres,
    },
    /// A set point beyond what the liner stands, for good or day by day.
    OverLiner {
        /// What it stands: its rating, or where that is kept what a PTFE liner stands day by day.
        rating: Celsius,
    },
    /// A set point outside of the material's usual range.
    PrintOutside {
        /// Lowest usual.
        low: Celsius,
        /// Highest usual.
        high: Celsius,
    },
    /// A part that will have failed with more than the accepted chance.
    PartDue,
    /// The waiting tool oozes, and nothing catches it.
    Oozes,
    /// Wet filament jams, strings and starves.
    Wet,
    /// Melt that has waited long clings to the walls.
    Stagnant,
    /// The material that bears waiting best should do the waiting.
    WaitsBest,
}

/// A risk that moves by less is told as the same.
const MOVES: f64 = 0.0005;

impl Suggestion {
    /// What it does to the mode that it helps most against.
    #[must_use]
    pub fn first(&self) -> Option<&ModeEffect> {
        let first = self.meant.first()?;
        self.effects.iter().find(|effect| effect.mode == *first)
    }

    /// Whether some risks rise and some fall.
    #[must_use]
    pub fn is_trade_off(&self) -> bool {
        self.effects.iter().any(ModeEffect::rises) && self.effects.iter().any(ModeEffect::falls_at_all)
    }
}

impl Rule {
    /// Whether it is that a material or a part is beyond what it stands.
    #[must_use]
    pub const fn is_limit(self) -> bool {
        matches!(self, Self::OverLiner { .. } | Self::PrintOutside { .. } | Self::PartDue)
    }
}

impl ModeEffect {
    /// Whether the risk rises by as much as is told.
    #[must_use]
    pub fn rises(&self) -> bool {
        self.after.value - self.now.value >= MOVES
    }

    /// Whether it falls by as much as is told.
    #[must_use]
    pub fn falls_at_all(&self) -> bool {
        self.now.value - self.after.value >= MOVES
    }
}

impl Basis {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Learned => "learned",
            Self::CommonPractice => "common_practice",
            Self::Mixed => "mixed",
        }
    }
}
