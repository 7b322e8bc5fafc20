//! The printer's host: asks it for its documents over HTTP GET and understands them.
//! Must not: send anything but GET, or invent a number that the host did not tell.

mod address;
mod backoff;
mod client;
mod explain;
mod field;
mod map;
mod poll;
mod selector;

pub use address::{Address, AddressFault, Document, HeaderFault, Headers, Source};
pub use backoff::{DELAY_MAX, delay};
pub use client::{BODY_BYTES_MAX, Client, ClientError, DEADLINE, FetchError};
pub use explain::{FieldReport, explain};
pub use field::{Field, Missing, Scale, ShareField, TemperatureField, TemperatureUnit};
pub use map::{HeaterMap, MapError, PrinterMap, StateField, ToolField, understand};
pub use poll::{Host, PollError};
pub use selector::{Selector, SelectorFault};

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
