//! The configuration: read from TOML, checked whole, and then a type that only the check can make.
//! Must not: let a raw, unchecked value out, or show a secret.

mod alarm;
mod checked;
mod fault;
mod fields;
mod material;
mod notify;
mod printer;
mod raw;
mod search;
mod secret;
mod web;

pub use checked::{BackupPlan, Config, ReportPlan};
pub use fault::{ConfigError, Fault};
pub use printer::{JobFilePlaces, Printer};
pub use search::default_file;
pub use secret::{Keep, KeyFault, KeyForm, Secret, Secrets, Surroundings};
pub use web::WebPlan;

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::panic, reason = "a test may stop")]
mod tests;
