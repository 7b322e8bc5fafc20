//! `review`: what became of what was adopted, for people or as JSON. Keeps the verdict of a trial that is over.

use super::{Failure, output};
use crate::cli::Place;
use crate::config::Config;
use crate::json::TrialsJson;
use crate::store::{Reader, Store};
use crate::study::{review, settle};
use dwell_dashboards::render_review_text;

pub(super) fn run(place: &Place, json: bool) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let learning = config.as_ref().map(Config::learning);
    let has_open = Reader::open(&database)?.trials()?.iter().any(|trial| trial.ended.is_none());
    let view = if has_open {
        settle(&Store::open(&database)?, &materials, learning)?.0
    } else {
        review(&Reader::open(&database)?, &materials, learning)?
    };
    if json {
        return output::json(&TrialsJson::from(&view));
    }
    output::text(&render_review_text(&view))
}
