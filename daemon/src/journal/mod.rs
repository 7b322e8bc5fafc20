//! The journal: NDJSON, one entry a line, as README documents it. Owns the wire form of entries; where lines come
//! from and go to is the commands' business.

mod job_file;
mod read;
mod write;

pub use read::{FUTURE_MAX, Fault, parse_line};
pub use write::write_line;
