//! What is due, and doing it: the weekly report, the daily backup, the check of the record.

mod backups;
mod due;
mod keeper;
mod reporter;
mod restore;

pub use due::{day_of, latest, week_due};
pub use keeper::Keeper;
pub use reporter::Reporter;
