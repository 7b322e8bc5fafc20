//! When a waiting tool, a host that falls silent or refuses, or a record that can't be written becomes an alarm. Pure: readings, tool states and
//! silence in, alarm changes out.
#![deny(clippy::wildcard_enum_match_arm)]

mod contact;
mod effect;
mod ledger;
mod record;

pub use effect::{AlarmEffect, Rule, Subject};
pub use ledger::{IdleHotRule, Ledger};
pub use record::{RECORD_FULL, RECORD_FULL_AFTER, record_full};
