//! The dashboard: a small HTTP server on loopback. Owns routes, the forms and how pages' views are filled;
//! draws nothing itself (`dwell_dashboards` does) and never touches the tracker: pages show what the store holds.

mod alarms;
mod answer;
mod attempts;
mod form;
mod guard;
mod link;
mod live;
mod preflight;
mod server;
mod views;

pub use attempts::{Attempt, Attempts, MANY, WITHIN};
pub use server::{Site, serve};

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
