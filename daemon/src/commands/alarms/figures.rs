//! `alarms figures`: how the alarms did.

use crate::cli::Place;
use crate::commands::Failure;

pub(super) fn run(_place: &Place, days: u32, json: bool) -> Result<(), Failure> {
    Err(Failure::Work(format!("not built yet: {days} {json}")))
}
