//! `decline ID`: a suggestion that a person does without.

use super::adopt::failure;
use super::{Failure, output};
use crate::adoption::{AdoptionError, decline, is_on_trial};
use crate::cli::Place;
use crate::store::{Reader, Store};

pub(super) fn run(place: &Place, id: &str, reason: Option<&str>) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let failed = |error: AdoptionError| failure(id, &error);
    let is_open = is_on_trial(&Reader::open(&database)?, id).map_err(failed)?;
    decline(&Store::open(&database)?, id, reason).map_err(failed)?;
    let given_up = if is_open { " Its trial is given up: set things as they were." } else { "" };
    output::text(&format!("{id}: declined; it is not advised again unless it comes to another value.{given_up}\n"))
}
