//! When a waiting tool becomes an alarm. Pure: tool states in, alarm changes out.
#![deny(clippy::wildcard_enum_match_arm)]

mod effect;
mod ledger;

pub use effect::{AlarmEffect, Rule};
pub use ledger::{IdleHotRule, Ledger};
