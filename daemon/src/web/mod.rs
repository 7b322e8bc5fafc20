//! The dashboard: a small HTTP server. Owns routes, the forms and how pages' views are filled;
//! draws nothing itself (`dwell_dashboards` does) and never touches the tracker: pages show what the store holds.

mod alarms;
mod answer;
mod api;
mod attempts;
mod came;
mod causes;
mod changes;
mod feed;
mod form;
mod gate;
mod guard;
mod link;
mod listen;
mod live;
mod metrics;
mod names;
mod parts;
mod posted;
mod preflight;
mod prints;
mod reports;
mod server;
mod setup;
mod sign_in;
mod views;

pub use attempts::{Attempt, Attempts, MANY, WITHIN};
pub use server::{Site, serve};

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
