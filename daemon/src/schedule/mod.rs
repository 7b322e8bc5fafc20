//! What is due, and doing it: the weekly report, the daily backup, the check of the record, letting old
//! readings go.

mod backups;
mod due;
mod keeper;
mod reporter;
mod restore;
mod retention;

pub use due::{day_of, latest, week_due};
pub use keeper::Keeper;
pub use reporter::Reporter;
pub use retention::Retention;
