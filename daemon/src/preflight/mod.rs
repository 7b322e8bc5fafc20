//! What a job file will ask of the tools, judged before it is printed. Owns what stands out, how grave that is and its
//! words. PURE: an outline and what is known of the printer go in, figures and findings come out; reads nothing itself.

mod features;
mod finding;
mod json;
mod judge;
mod known;
#[cfg(test)]
pub(crate) mod sample;
mod view;
mod words;

pub use features::features;
pub use finding::{Counted, Finding, Gravity, Matter, Path, Place, WorstWait};
pub use json::document;
pub use judge::{Preflight, ToolBudget, judge};
pub use known::{Habit, HeaterKnown, Known, LINER_REFERENCE, Liner, RiskKnown, ToolKnown};
pub use view::view;
