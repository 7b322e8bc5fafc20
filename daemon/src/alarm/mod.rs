//! When a waiting tool, or a host that falls silent or refuses, becomes an alarm. Pure: readings, tool states and
//! silence in, alarm changes out.
#![deny(clippy::wildcard_enum_match_arm)]

mod contact;
mod effect;
mod ledger;

pub use effect::{AlarmEffect, Rule, Subject};
pub use ledger::{IdleHotRule, Ledger};
