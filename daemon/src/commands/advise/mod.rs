//! `advise`: changes worth a try, for people or as JSON.

mod json;

use super::{Failure, output};
use crate::cli::Place;
use crate::config::Config;
use crate::store::Reader;
use crate::study::advice;
use dwell_dashboards::render_advice_text;

pub(super) fn run(place: &Place, json: bool) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let learning = config.as_ref().map(Config::learning);
    let liners = config.as_ref().map(Config::liners).unwrap_or_default();
    let view = advice(&reader, &materials, learning, &liners)?;
    if json {
        return output::json(&view.suggestions.iter().map(json::SuggestionJson::from).collect::<Vec<_>>());
    }
    output::text(&render_advice_text(&view))
}
