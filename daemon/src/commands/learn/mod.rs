//! `learn`: what the record says about each failure mode, for people, as JSON, or as forward-only predictions.

mod predictions;

use super::{Failure, output};
use crate::cli::Place;
use crate::config::Config;
use crate::json::LearnedJson;
use crate::store::Reader;
use crate::study::{nozzles, overview, studied};
use dwell_dashboards::{render_heaters_text, render_learned_text};

pub(super) fn run(place: &Place, json: bool, predictions: bool) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let learning = config.as_ref().map(Config::learning);
    if predictions {
        return output::text(&predictions::lines(&studied(&reader, &materials, learning)?)?);
    }
    let view = overview(&reader, &materials, learning)?;
    if json {
        return output::json(&LearnedJson::from(&view));
    }
    output::text(&(render_learned_text(&view) + &render_heaters_text(&nozzles(&reader, &materials)?)))
}
