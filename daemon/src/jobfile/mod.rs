//! Reads a job file as motion: bytes in, what it will ask of each tool and when out. PURE: fed in chunks, bounded in
//! memory whatever the file; no clock, no file, no network. Comments are never read: they are some program's words.
//!
//! The way: `unpack` → `lines` (chunk → line) → `words` (line → letters and numbers) → `modes` (what is in force → acts) →
//! `planner` (how long each lasts) → `follow` (tools, filament, heat: `worked`, `drawn`, `warm`, `purge`) → `outline`.
#![deny(clippy::indexing_slicing, clippy::string_slice)]

mod act;
mod arc;
mod drawn;
mod fault;
mod follow;
mod groups;
mod limits;
mod lines;
mod machine;
mod modes;
mod number;
mod outline;
mod outliner;
mod parameters;
mod planner;
mod purge;
mod reader;
mod spread;
#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop")]
mod tests;
mod timed;
mod unpack;
mod unread;
mod warm;
mod words;
mod worked;

pub use act::{Act, Heated, Move, Patience, What};
pub use fault::LineFault;
pub use limits::MotionLimits;
pub use machine::{Machine, MachineTool};
pub use outline::{JobOutline, Purge, PurgePlace, Restart, Retractions, Spread, ToolOutline, Unread, Visit, Wait};
pub use outliner::{Outliner, outline_of};
pub use reader::{ReadEnd, Reader};
pub use timed::timed;
pub use unpack::{Packing, UnpackFault, Unpacked, text_of};
