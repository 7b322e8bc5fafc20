//! What is due, and doing it: the weekly report, the daily backup, the check of the record, learning anew, finding out
//! about heaters, alarms that no reading raises, letting old readings go.

mod backups;
mod due;
mod duties;
mod heaters;
mod keeper;
mod learner;
mod reporter;
mod restore;
mod retention;

pub use backups::{BackupsKept, backups_kept};
pub use due::{day_of, latest, week_due};
pub use duties::Duties;
pub use heaters::{Heaters, HeatersShown};
pub use keeper::Keeper;
pub use learner::Learner;
pub use reporter::Reporter;
pub use retention::Retention;
