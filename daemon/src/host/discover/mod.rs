//! From a host's address to a printer's section of the configuration: what the host announces by open standards, what
//! its documents show while it is watched, and which of their values is which field.
//! Must not: send anything but GET, leave the host, or call sure what is not.

mod crawl;
mod description;
mod follow;
mod found;
mod link;
mod openapi;
mod schema;
mod thing;
mod unit;

pub use crawl::{BYTES_MAX, DEPTH_MAX, REQUESTS_MAX, TIME_MAX, search};
pub use found::{Found, FoundDocument, Hint, HintForm, Secret, SecretPlace, Snapshot};
