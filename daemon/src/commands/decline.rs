//! `decline ID`: a suggestion that a person does without.

use super::adopt::known;
use super::{Failure, output};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::store::{Reader, Store};

pub(super) fn run(place: &Place, id: &str, reason: Option<&str>) -> Result<(), Failure> {
    // No words are no reason.
    let reason = reason.map(str::trim).filter(|reason| !reason.is_empty());
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let reader = Reader::open(&database)?;
    known(reader.suggestions()?, id)?;
    let is_open = reader.trials()?.iter().any(|trial| trial.suggestion == id && trial.ended.is_none());
    let at = reader.newest()?.unwrap_or_else(wall_now);
    drop(reader);
    Store::open(&database)?.decline(id, reason, at)?;
    let given_up = if is_open { " Its trial is given up: set things as they were." } else { "" };
    output::text(&format!("{id}: declined; it is not advised again unless it comes to another value.{given_up}\n"))
}
