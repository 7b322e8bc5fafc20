//! `advise`: changes worth a try, for people or as JSON. What is said is kept, so that it can be taken up by its name.

mod json;

use super::{Failure, output};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::config::Config;
use crate::entry::{PrinterName, ToolNumber};
use crate::store::{Reader, SaidSuggestion, Standing, Store, StoreError};
use crate::study::advice;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::render_advice_text;
use dwell_dashboards::view::{AdviceView, SuggestionView};
use json::SuggestionJson;
use std::path::Path;

pub(super) fn run(place: &Place, json: bool) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let reader = Reader::open(&database)?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let learning = config.as_ref().map(Config::learning);
    let liners = config.as_ref().map(Config::liners).unwrap_or_default();
    let mut view = advice(&reader, &materials, learning, &liners)?;
    drop(reader);
    let kept = said(&view)?;
    if let Err(error) = keep(&database, kept, view.as_of.unwrap_or_else(wall_now)) {
        output::aside(&format!(
            "{}: what is advised is not kept ({error}), so that `adopt` does not know it",
            database.display()
        ));
    }
    settle(&mut view, &Reader::open(&database)?)?;
    if json {
        return output::json(&view.suggestions.iter().map(SuggestionJson::from).collect::<Vec<_>>());
    }
    output::text(&render_advice_text(&view))
}

/// What is kept of each.
fn said(view: &AdviceView) -> Result<Vec<SaidSuggestion>, Failure> {
    let one = |of: &SuggestionView| {
        let (printer, tool) = PrinterName::new(&of.printer).zip(ToolNumber::new(of.tool))?;
        let body = serde_json::to_string(&SuggestionJson::from(of));
        let (material, change) = (of.material.clone(), of.suggestion.change);
        Some(body.map(|body| SaidSuggestion { printer, tool, material, change, body }))
    };
    let said: Result<Vec<_>, _> = view.suggestions.iter().filter_map(one).collect();
    said.map_err(|error| Failure::Work(error.to_string()))
}

fn keep(database: &Path, said: Vec<SaidSuggestion>, at: Timestamp) -> Result<(), StoreError> {
    Store::open(database)?.keep_suggestions(said, at)
}

/// Leaves out what a person does without and what a trial spoke against, and marks what was taken up.
fn settle(view: &mut AdviceView, reader: &Reader) -> Result<(), StoreError> {
    let rows = reader.suggestions()?;
    let standing = |of: &SuggestionView| rows.iter().find(|row| row.id == of.id).map(|row| row.standing);
    // What is said again and stays withdrawn is what a trial spoke against.
    let is_closed = |of: &SuggestionView| matches!(standing(of), Some(Standing::Declined | Standing::Withdrawn));
    view.suggestions.retain(|of| !is_closed(of));
    for of in &mut view.suggestions {
        of.is_adopted = standing(of) == Some(Standing::Adopted);
    }
    Ok(())
}
