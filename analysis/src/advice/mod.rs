//! What to change: candidates, what each would do to the risks and what it costs, trials of it, and their verdicts.
//! Owns which changes are worth a try; how they are worded is the dashboards'. Nothing here goes beyond the limits of
//! the material or the part, and no change heats more to cure strings.
//!
//! A suggestion's way: `situation` (what is known of a tool and a material) → `candidates` (what might be changed, by
//! practice and by what was tried, within `limits`) → `course` (a run as it would have gone) → `effect` (risks and
//! minutes, before and after) → `advise` (what is worth it, best first).
//! A trial's way: `trial` (which prints have the change, and how many) → `belief` (what they say of the ratio of risks) →
//! `verdict` (whether it helped); `compare` needs no model.

mod advise;
mod belief;
mod candidates;
mod change;
mod compare;
mod course;
mod effect;
mod judge;
mod limits;
mod minutes;
mod order;
mod practice;
mod situation;
mod suggestion;
mod sums;
mod trial;
mod values;
mod verdict;
mod wait;
mod waiting;

pub use advise::advise;
pub use candidates::{Candidate, candidates};
pub use change::{Change, PartKind, Step};
pub use compare::{Compared, rates, shares};
pub use course::under;
pub use effect::{AsIs, Effect, ModeDraws};
pub use limits::{Beyond, may_cure, within};
pub use situation::{Ages, Course, Held, Lesson, LinerKnown, Neighbour, Situation, Times, Wait};
pub use suggestion::{Basis, ModeEffect, RiskMove, Rule, Suggestion};
pub use trial::{Arm, Design, PRINTS_MAX, Plan, can_alternate, draw, plan};
pub use verdict::{Outcome, Tried, Verdict, WhyStop, verdict};
