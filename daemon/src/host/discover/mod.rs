//! From a host's address to a printer's section of the configuration: what the host announces by open standards, what
//! its documents show while it is watched, and which of their values is which field.
//! Must not: send anything but GET, leave the host, or call sure what is not.

mod answers;
mod at_work;
mod certainty;
mod crawl;
mod custom;
mod description;
mod doings;
mod duty;
mod each;
mod flags;
mod follow;
mod found;
mod heat;
mod inlets;
mod instant;
mod job;
mod kin;
mod leaf;
mod link;
mod meaning;
mod mute;
mod naming;
mod openapi;
mod order;
mod pair;
mod part;
mod path;
mod proposal;
mod propose;
mod question;
mod schema;
mod series;
mod state;
mod thing;
mod tongues;
mod tool;
mod unit;
mod watch;
mod words;
mod write;
mod writing;

pub use answers::{AnswerFault, Answers};
pub use certainty::Certainty;
pub use crawl::{BYTES_MAX, DEPTH_MAX, REQUESTS_MAX, TIME_MAX, search};
pub use found::{Found, FoundDocument, Hint, HintForm, Secret, SecretPlace, Snapshot};
pub use proposal::{Given, Kind, Place, Proposal, Proposed, SecretSource};
pub use propose::propose;
pub use question::{Choice, Question, questions};
pub use watch::{WATCH_BYTES_MAX, Watched, watch};

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::panic, reason = "a test may stop")]
mod tests;
