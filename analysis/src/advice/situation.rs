//! What is known of one tool with one material: what it is asked of. Owns these shapes; whoever fills them reads the
//! record.

use crate::polymer::{Drive, Material, MaterialFacts};
use crate::risk::{FailureMode, Features, Learner, State};
use crate::survival::Outlook;
use crate::thermal::{Heater, HeaterFit};
use crate::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Probability, Seconds};

/// A tool and the material that it holds.
#[derive(Clone, Copy)]
pub struct Situation<'a> {
    /// The material's row.
    pub facts: &'a MaterialFacts,
    /// Settings in force.
    pub held: Held,
    /// What its liner stands.
    pub liner: LinerKnown,
    /// Whether all tools share one heater and nozzle.
    pub is_shared: bool,
    /// How its filament is pushed; `None` is not known.
    pub drive: Option<Drive>,
    /// How fast it cools and heats.
    pub times: Times<'a>,
    /// Its newest runs with this material, oldest first: what is asked of, change by change.
    pub courses: &'a [Course],
    /// What each of its runs with this material, however old, was like: what has been tried.
    pub tried: &'a [Features],
    /// Age of its parts as it stands.
    pub ages: Ages,
    /// What the liner in use may still last; `None` where its fitting is not recorded.
    pub liner_outlook: Option<&'a Outlook>,
    /// The accepted chance that a part fails in use.
    pub accepted: Probability,
    /// The tool beside it; `None` if there is none, or nobody knows what it holds.
    pub neighbour: Option<Neighbour<'a>>,
    /// What is known of each failure mode.
    pub lessons: &'a [Lesson<'a>],
}

/// Settings in force; `None` is not known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Held {
    /// Set point while it prints.
    pub print: Option<Celsius>,
    /// Set point while it waits.
    pub standby: Option<Celsius>,
    /// Length of a retraction.
    pub retract: Option<Millimetres>,
    /// Its speed, mm/s.
    pub retract_mm_s: Option<f64>,
    /// Volume primed after a change.
    pub prime: Option<CubicMm>,
    /// Whether an ooze shield is printed.
    pub ooze_shield: Option<bool>,
    /// Whether the filament was dried.
    pub dried: Option<bool>,
}

/// What a tool's liner stands for good.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LinerKnown {
    /// Nobody told: PTFE is assumed.
    Assumed,
    /// Its rating, as somebody told it.
    Rated(Celsius),
    /// It has none.
    Absent,
}

/// How fast a tool cools and heats.
#[derive(Clone, Copy, Debug)]
pub struct Times<'a> {
    /// Its heater: fitted, or a typical one.
    pub heater: Heater,
    /// What it takes for its surroundings, with bed and neighbour as they usually are.
    pub surroundings: Celsius,
    /// The fit, for intervals; `None` where the heater is a typical one.
    pub fit: Option<&'a HeaterFit>,
}

/// One of its runs, with each of its waits.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// What the run was like.
    pub features: Features,
    /// Its waits in the print, oldest first; none of them a pause.
    pub waits: Vec<Wait>,
}

/// One wait, as it was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wait {
    /// Time of it in contact.
    pub lasted: Seconds,
    /// Mean temperature.
    pub mean: Celsius,
    /// Highest temperature.
    pub max: Celsius,
    /// Temperature at its end; `None` where none was measured.
    pub end: Option<Celsius>,
    /// Dose taken.
    pub dose: DoseMinutes,
    /// Melt expected to have left the nozzle.
    pub ooze: Option<CubicMm>,
    /// Whether the tool's own turn ended it.
    pub is_followed: bool,
}

/// Hours and cycles of the parts in use; `None` where the fitting was not recorded.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ages {
    /// Hours that the liner has been hot.
    pub liner_hours: Option<f64>,
    /// The same hours, weighted by heat.
    pub liner_wear: Option<f64>,
    /// Times that it was heated.
    pub liner_cycles: Option<f64>,
    /// Hours that the nozzle has been hot.
    pub nozzle_hours: Option<f64>,
}

/// The tool beside it.
#[derive(Clone, Copy)]
pub struct Neighbour<'a> {
    /// What it holds.
    pub facts: &'a MaterialFacts,
    /// What it prints at.
    pub print: Option<Celsius>,
    /// What its liner stands.
    pub liner: LinerKnown,
    /// How much of the prints each of them waits, 0 to 1: this tool, then the neighbour.
    pub waits: [f64; 2],
    /// It, as it is asked of itself: what becomes of this tool's material in it. `None` where it had no run; then no swap
    /// can be judged.
    pub situation: Option<&'a Situation<'a>>,
}

/// What is known of one failure mode.
#[derive(Clone, Copy)]
pub struct Lesson<'a> {
    /// Which.
    pub mode: FailureMode,
    /// The record, ready to forecast.
    pub learner: &'a Learner,
    /// How much is known of what goes with it.
    pub state: State,
    /// What one such failure costs, in time: the print, the clearing up, the part.
    pub loss: Seconds,
    /// Runs with a known outcome, and those in which it happened.
    pub n: usize,
    /// See `n`.
    pub events: usize,
    /// Of this tool with this material alone.
    pub own_n: usize,
    /// See `own_n`.
    pub own_events: usize,
}

impl LinerKnown {
    /// What it stands for good; `None` if it has none. Where nobody told, the cautious figure for PTFE.
    #[must_use]
    pub const fn rating(self) -> Option<Celsius> {
        match self {
            Self::Assumed => Some(crate::wear::LINER_CAUTIOUS.value),
            Self::Rated(rating) => Some(rating),
            Self::Absent => None,
        }
    }
}

impl Situation<'_> {
    /// The material that it holds.
    #[must_use]
    pub const fn material(&self) -> Material {
        self.facts.kind
    }
}
