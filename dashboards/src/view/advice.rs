//! What is shown of changes worth a try.

use dwell_analysis::advice::{Plan, Suggestion};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};

/// Changes worth a try, and what was asked of.
#[derive(Clone, Debug)]
pub struct AdviceView {
    /// The newest reading; `None` before the first.
    pub as_of: Option<Timestamp>,
    /// Prints that have ended and of which a tool is known.
    pub prints: usize,
    /// Those of which a person said how they came out.
    pub reported: usize,
    /// Tools that were asked of.
    pub asked: Vec<AskedView>,
    /// Best first.
    pub suggestions: Vec<SuggestionView>,
}

/// A tool that was asked of, with the material that it holds.
#[derive(Clone, Debug)]
pub struct AskedView {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// What it holds, as somebody wrote it.
    pub material: Option<String>,
    /// Newest runs with it that were asked of.
    pub courses: usize,
    /// Their waits.
    pub waits: usize,
    /// The wait in the middle of them.
    pub middle: Option<MiddleWait>,
    /// Runs with it, however old, whose outcome is known.
    pub known: usize,
    /// Those that failed in any way.
    pub failed: usize,
}

/// The wait in the middle of a tool's newest waits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MiddleWait {
    /// Waits.
    pub n: usize,
    /// Length of the one in the middle.
    pub lasted: Seconds,
    /// Mean temperature of all, weighted by time.
    pub mean: Celsius,
}

/// A change worth a try.
#[derive(Clone, Debug)]
pub struct SuggestionView {
    /// Its name for commands.
    pub id: String,
    /// What it sets: a key of the journal's settings, or a part.
    pub setting: &'static str,
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// What it holds, as somebody wrote it.
    pub material: Option<String>,
    /// What the tool beside it holds.
    pub beside: Option<String>,
    /// The wait in the middle of its newest waits.
    pub middle: Option<MiddleWait>,
    /// How a trial of it would go; `None` where none would show what it does.
    pub plan: Option<Plan>,
    /// Whether it was taken up already.
    pub is_adopted: bool,
    /// What to change, and what that would do.
    pub suggestion: Suggestion,
}
