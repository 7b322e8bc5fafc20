//! Follows one printer: readings and silence in, effects out. Pure: no clock, no file, no network, no SQL.
//!
//! What holds between two readings is what the earlier one said; what changed is placed at the later one. Silence
//! longer than [`SILENCE_MAX`] is a gap: it belongs to no idle time, however the printer looks after it.
#![deny(clippy::wildcard_enum_match_arm)]

mod effect;
mod follow;
mod grain;
mod job;
mod plan;
mod tool;
mod warmth;
mod work;

pub use effect::{Context, Doing, Effect, RefusalReason, ToolNow, ToolSource};
pub use follow::Tracker;

use dwell_analysis::units::Seconds;

/// The longest time between two readings that still counts as contact: four polls at the slowest interval, 5 s.
/// One constant for live polls and journals, so that both give the same rows.
pub const SILENCE_MAX: Seconds = Seconds::new(20.0);

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
#[expect(clippy::wildcard_enum_match_arm, reason = "a test looks for one kind of effect")]
mod tests;
