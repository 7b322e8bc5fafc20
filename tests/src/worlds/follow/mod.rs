//! The closed loop: a person who has recorded for weeks follows the program's advice for some more, beside the same
//! person who goes on as before, and one whom somebody advises who knows the law. Judges by the law's own
//! probabilities. Must not: look into what advises, or make a law that advice could know.

mod adviser;
mod figures;
mod oracle;
mod suggested;
mod taken;
mod weeks;

pub use adviser::Adviser;
pub use figures::{Figures, by_family, loop_table};
pub use oracle::answer_of_the_law;
pub use suggested::{Setting, Suggested};
pub(super) use taken::Taken;
pub use weeks::{Closed, LoopTask, Rhythm, Weeks, closed_loops};
