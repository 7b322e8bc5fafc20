//! `alarms acknowledge` and the like: what a person does about one alarm.

use crate::cli::{AlarmAct, Place};
use crate::commands::Failure;

pub(super) fn run(_place: &Place, act: &AlarmAct) -> Result<(), Failure> {
    Err(Failure::Work(format!("not built yet: {act:?}")))
}
