//! When a waiting tool becomes an alarm. Pure: tool states in, alarm changes out.

mod effect;

pub use effect::{AlarmEffect, Rule};
