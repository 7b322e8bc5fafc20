//! The risk of each failure mode: what a tool-run was like, how often it failed, and which factors went with it.
//! Owns the learner and its scores. Must not say what to change; that is advice, and rests on what stands here.
//!
//! A run's way: `measure` (run → numbers) → `term` (a factor's shapes) → `posterior` (one regression) → `mixture` (every
//! explanation, weighted) → `forward` (who knows what when) → `learn` (the verdict).

mod alike;
mod alone;
mod baseline;
mod calibration;
mod draws;
mod effects;
#[cfg(feature = "fits")]
mod fits;
mod forward;
mod habits;
mod learn;
mod levels;
mod measure;
mod mixture;
mod mode;
mod outlook;
mod patterns;
mod plain;
mod posterior;
mod rank;
mod response;
mod run;
mod score;
mod settle;
mod term;
#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;
mod trial;
mod trust;

pub use calibration::{BrierParts, Calibration, Reliability, calibration, reliability};
pub use draws::Draws;
#[cfg(feature = "fits")]
pub use fits::{Fit, fits_of};
pub use forward::running_rate;
pub use habits::{Habit, Habits, habits};
pub use learn::{Carries, Factor, Inseparable, Learned, Learner, State, learn, learn_told};
pub use levels::{counts_by_doubling, levels_of, response_to};
pub use measure::factor_named;
pub use mode::FailureMode;
pub use patterns::{Bound, Condition, Pattern, Patterns, Quantity, patterns, patterns_in};
pub use response::{Direction, Response, Step, response};
pub use run::{Features, Group, HOT_OVER, Restarts, Told, ToolRun};
pub use score::{Skill, area_under_curve, brier, calibration_error, log_loss};
pub use settle::Settling;
pub use trial::{Trial, trial};
