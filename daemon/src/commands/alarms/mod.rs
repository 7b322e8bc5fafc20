//! `alarms`: the list of alarms, and what a person does about them.

mod act;
mod figures;
mod list;
mod test;

use super::Failure;
use crate::cli::{AlarmAct, Alarms, Place};

pub(super) fn run(place: &Place, asked: &Alarms) -> Result<(), Failure> {
    match &asked.act {
        None => list::run(place, &asked.listing),
        Some(AlarmAct::Test { channel }) => test::run(place, channel.as_deref()),
        Some(AlarmAct::Figures { days, json }) => figures::run(place, *days, *json),
        Some(AlarmAct::Word(word)) => act::run(place, word),
    }
}
