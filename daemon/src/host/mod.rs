//! The printer's host: asks it for its documents over HTTP GET and understands them.
//! Must not: send anything but GET, or invent a number that the host did not tell.

mod address;
mod backoff;
mod choice;
mod client;
pub mod discover;
mod document;
mod explain;
mod field;
mod map;
mod memory;
mod number;
mod poll;
mod selector;
mod skew;
mod template;

pub use address::{Address, AddressFault, Authority, Credentials, Document, HeaderFault, Headers, Query, Source};
pub use backoff::{DELAY_MAX, delay};
pub use choice::{StateField, StatePlace, ToolField, ToolPlace};
pub(crate) use client::use_ring;
pub use client::{
    Answer, BODY_BYTES_MAX, Client, ClientError, Clients, DEADLINE, Download, FetchError, Question, RETRY_AFTER_MAX,
};
pub use document::{Body, BodyFault, DEPTH_MAX};
pub use explain::{FieldReport, explain};
pub use field::{Field, Missing, NameField, TimeField, TimeForm};
pub use map::{HeaterMap, MapError, PrinterMap, understand};
pub use number::{NumberField, Scale, ShareField, TemperatureField, TemperatureUnit, WHOLE_MAX};
pub use poll::{BodyReadingError, Host, PollError, Polled, body_to_reading};
pub use selector::{Paths, Selector, SelectorFault};
pub use skew::{ClockStep, Skew, SkewMeter};
pub use template::{AddressTemplate, NameFault, TemplateFault};

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod loopback;
#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
