//! Reads a job file as motion: bytes in, what it will ask of each tool and when out. PURE: fed in chunks, bounded in
//! memory whatever the file; no clock, no file, no network. Comments are never read: they are some program's words.
//!
//! The way: `lines` (chunk → line) → `words` (line → letters and numbers) → `reader` (modal state → acts) → `planner`
//! (acts placed in time) → `timeline` and `tally` (what that comes to) → `outline`.
#![deny(clippy::indexing_slicing, clippy::string_slice)]

mod act;
mod arc;
mod fault;
mod groups;
mod lines;
mod machine;
mod number;
mod outline;
mod parameters;
mod reader;
mod unpack;
mod unread;
mod words;

pub use act::{Act, Heated, Move, Patience, What};
pub use fault::LineFault;
pub use outline::{JobOutline, Purge, PurgePlace, Restart, Retractions, Spread, ToolOutline, Unread, Visit, Wait};
pub use reader::{ReadEnd, Reader};
pub use unpack::{Packing, UnpackFault, Unpacked, text_of};
