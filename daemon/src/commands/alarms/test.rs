//! `alarms test`: a test message by every channel.

use crate::cli::Place;
use crate::commands::Failure;

pub(super) fn run(_place: &Place, channel: Option<&str>) -> Result<(), Failure> {
    Err(Failure::Work(format!("not built yet: {channel:?}")))
}
