//! From the record to what it says: tool-runs for the learner, the weekly report's view. Owns how rows become
//! numbers that `analysis` takes; stores nothing and shows nothing.

mod advice;
mod alarms;
mod foreseen;
mod habits;
mod heaters;
mod kept;
mod learned;
mod learning;
mod nozzles;
mod outcomes;
mod outlook;
mod overview;
mod pace;
mod parts;
mod report;
mod runs;
mod settings;
#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
mod trials;
mod worked;

pub use crate::store::{in_force, is_failure};
pub use advice::{Liners, advice, keep_advice, settle_advice};
pub use alarms::{alarm_figures, alarm_view, called_alarms, told_in_memory};
pub use foreseen::foreseen;
pub use habits::{Habit, Spread, habits};
pub use heaters::{heater_fits, placed_heater};
pub use kept::{SILENT_AFTER, fitted, source, studied};
pub use learned::{Known, Lesson, Study};
pub use learning::Learning;
pub use nozzles::nozzles;
pub use outlook::{Ahead, risks};
pub use overview::overview;
pub use pace::pace;
pub use parts::{in_use, lives, parts};
pub use report::{Asked, archive, report};
pub use runs::{Run, runs};
pub use settings::{Typed, settings_view, typed_at, typed_history};
pub use trials::{on_trial, review, settle};
pub use worked::Worked;
