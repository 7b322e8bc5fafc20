//! A job file's idle tools, cooler: which lines to add so that a tool that waits cools to its standby and is hot again
//! when its turn comes. PURE: a text and what is known in, lines to add out; no clock, no file, no network.
//!
//! Owns: what is added and where, how it is marked and taken out again, what a file must not hold, and the checks of the
//! result. Must not: take a line of the file away, change one, or set a tool hotter than the file does at any instant.
//!
//! The way: `refusal` (is the file understood?) → `course` (turns and set points on the file's own clock) → `waits` (each
//! tool's time away) → `decide` (drop or leave alone, and when to reheat) → `weave` (the text) → `verify` → `sum`.
#![deny(clippy::indexing_slicing, clippy::string_slice)]

mod bare;
mod course;
mod decide;
mod margin;
mod marked;
mod refusal;
mod sum;
#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop")]
mod tests;
mod verify;
mod waits;
mod weave;

pub use decide::Alone;
pub use margin::{Knows, StandbyFrom, ToolKnows};
pub use marked::{MARK, strip};
pub use refusal::Refused;
pub use sum::{Counted, ToolSum};
pub use verify::{TOLERANCE, Unsound};

use crate::entry::HotEnd;
use crate::jobfile::Machine;
use weave::weave;

/// A text with the lines of its plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// The whole text; with [`strip`] it is the original again.
    pub text: Vec<u8>,
    /// What it saves and costs.
    pub counted: Counted,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoPlan {
    /// The file is not understood well enough, or can't be planned.
    #[error("{0}")]
    Refused(#[from] Refused),
    /// The plan did not stand its checks.
    #[error("the plan failed its check and was not written: {0}")]
    Unsound(#[from] Unsound),
}

/// Plans a job's heat.
///
/// # Errors
/// If the file is not understood well enough, or the plan fails a check.
pub fn plan(text: &[u8], machine: &Machine, knows: &Knows) -> Result<Planned, NoPlan> {
    if machine.hot_end == HotEnd::Shared {
        return Err(Refused::SharedHotEnd.into());
    }
    let course = course::follow(text, machine)?;
    // Of one tool alone nothing waits for another.
    let heated = if course.tools.len() > 1 { course.tools.as_slice() } else { &[] };
    let (mut added, mut tools) = (Vec::new(), Vec::new());
    for tool in heated {
        let waits = waits::of(tool, &course);
        let rests = knows.tool(tool.number, waits::lowest(&waits), tool.is.surroundings);
        let decided: Vec<_> = waits.iter().map(|wait| decide::decide(wait, &course, &rests)).collect();
        added.extend(decided.iter().flat_map(|one| one.added.iter().copied()));
        tools.push(sum::tool(tool.number, &rests, &decided));
    }
    let woven = weave(text, added);
    verify(text, &woven)?;
    let usual = verify::outlines(text, &woven, machine);
    verify::in_time(&usual)?;
    let slow = verify::outlines(text, &woven, &margin::at_worst(machine, knows));
    Ok(Planned { text: woven, counted: sum::counted(tools, &usual, &slow) })
}

/// Checks a planned text against the original: stripping gives the original back, nothing but heat is added, and no set
/// point is above the file's own at any instant.
///
/// # Errors
/// What was found wrong first.
pub fn verify(original: &[u8], planned: &[u8]) -> Result<(), Unsound> {
    verify::same_but_cooler(original, planned)
}
