//! When what is seen of a printer, or a record that can't be written, becomes an alarm, and when it returns. Pure: readings,
//! tool states and silence in, alarm changes out.
#![deny(clippy::wildcard_enum_match_arm)]

mod contact;
mod effect;
mod gate;
mod heat;
mod heater;
mod ledger;
mod life;
mod liner;
mod printer;
mod record;
mod rule;
mod rulebook;
mod waiting;

pub use effect::{AlarmEffect, Subject, Suppressed};
pub(crate) use gate::{Gate, Turn};
pub use ledger::Ledger;
pub use life::{Event, NotNow, State, Step};
pub use record::{RECORD_FULL, record_full};
pub use rule::{Concern, Priority, Rule};
pub use rulebook::{Bound, Change, Override, Rulebook, Rules, Tuning};
pub use waiting::Called;

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
