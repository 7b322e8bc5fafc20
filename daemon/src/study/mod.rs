//! From the record to what it says: tool-runs for the learner, the weekly report's view. Owns how rows become
//! numbers that `analysis` takes; stores nothing and shows nothing.

mod learned;
mod outcomes;
mod report;
mod runs;
mod settings;

pub use learned::{Lesson, Study, study};
pub use outcomes::{in_force, is_failure};
pub use report::week_report;
pub use runs::{Run, runs};
pub use settings::{settings_view, typed_at};
