//! What is due, and doing it: the weekly report.

mod due;
mod reporter;

pub use due::{latest, week_due};
pub use reporter::Reporter;
