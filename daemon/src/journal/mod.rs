//! The journal: NDJSON, one entry a line, as README documents it. Owns the wire form of entries; where lines come
//! from and go to is the commands' business.

mod fault;
mod heater;
mod job_file;
mod lines;
mod read;
mod write;

pub use fault::{Fault, LineFault};
pub use lines::{Line, Lines};
pub use read::{FUTURE_MAX, Parser};
pub use write::write_line;
