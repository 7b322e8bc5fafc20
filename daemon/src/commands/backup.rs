//! `backup FILE`: a consistent copy of the database.

use super::Failure;
use crate::cli::Place;
use std::path::Path;

pub(super) fn run(place: &Place, to: &Path) -> Result<(), Failure> {
    Ok(place.reader()?.backup(to)?)
}
