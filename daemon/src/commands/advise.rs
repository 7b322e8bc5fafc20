//! `advise`: changes worth a try, for people or as JSON. What is said is kept, so that it can be taken up by its name.

use super::{Failure, output};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::config::Config;
use crate::json::SuggestionJson;
use crate::store::{Reader, Store, StoreError};
use crate::study::{Known, advice, keep_advice, settle_advice};
use dwell_dashboards::render_advice_text;
use dwell_dashboards::view::AdviceView;
use std::path::Path;

pub(super) fn run(place: &Place, json: bool) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let reader = Reader::open(&database)?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let learning = config.as_ref().map(Config::learning);
    let liners = config.as_ref().map(Config::liners).unwrap_or_default();
    let mut view = advice(&reader, &materials, &Known::of(&reader, &materials, learning)?, &liners)?;
    drop(reader);
    if let Err(error) = keep(&database, &view) {
        output::aside(&format!(
            "{}: what is advised is not kept ({error}), so that `adopt` does not know it",
            database.display()
        ));
    }
    settle_advice(&mut view, &Reader::open(&database)?)?;
    if json {
        return output::json(&view.suggestions.iter().map(SuggestionJson::from).collect::<Vec<_>>());
    }
    output::text(&render_advice_text(&view))
}

fn keep(database: &Path, view: &AdviceView) -> Result<usize, StoreError> {
    keep_advice(&Store::open(database)?, view, wall_now())
}
