//! What is advised on its way into the record, where it stands until it is advised no more. Owns what is kept of each
//! suggestion, and what of it is shown after people spoke; what becomes of one that was said before is the store's.

use crate::change::is_alike;
use crate::entry::{PrinterName, ToolNumber};
use crate::json::SuggestionJson;
use crate::store::{Reader, SaidSuggestion, Standing, Store, StoreError, SuggestionRow};
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{AdviceView, SuggestionView};

/// Keeps all that is advised as of the record's newest reading, `now` if it has none; what was advised before and is not
/// any more is withdrawn. Gives how many are advised.
///
/// # Errors
/// If the record can't be written; what it said before stands then.
pub fn keep_advice(store: &Store, view: &AdviceView, now: Timestamp) -> Result<usize, StoreError> {
    let said: Vec<SaidSuggestion> =
        view.suggestions.iter().filter_map(|of| said(of).transpose()).collect::<Result<_, _>>()?;
    let n = said.len();
    store.keep_suggestions(said, view.as_of.unwrap_or(now))?;
    Ok(n)
}

/// What is kept of a suggestion.
fn said(of: &SuggestionView) -> Result<Option<SaidSuggestion>, StoreError> {
    let Some((printer, tool)) = PrinterName::new(&of.printer).zip(ToolNumber::new(of.tool)) else { return Ok(None) };
    let body =
        serde_json::to_string(&SuggestionJson::from(of)).map_err(|error| StoreError::Other(error.to_string()))?;
    let id = of.id.clone();
    Ok(Some(SaidSuggestion { id, printer, tool, material: of.material.clone(), change: of.suggestion.change, body }))
}

/// Leaves out what a person does without and what a trial spoke against, and marks what was taken up.
///
/// # Errors
/// If the record can't be read.
pub fn settle_advice(view: &mut AdviceView, reader: &Reader) -> Result<(), StoreError> {
    let rows = reader.suggestions()?;
    let standing = |of: &SuggestionView| rows.iter().find(|row| row.id == of.id).map(|row| row.standing);
    // What is said again and stays withdrawn is what a trial spoke against.
    let is_closed = |of: &SuggestionView| matches!(standing(of), Some(Standing::Declined | Standing::Withdrawn));
    view.suggestions.retain(|of| !is_closed(of));
    for of in &mut view.suggestions {
        // At another value it is another change.
        let is_it = |row: &&SuggestionRow| row.id == of.id && is_alike(&row.change, &of.suggestion.change);
        of.is_adopted = rows.iter().find(is_it).is_some_and(|row| row.standing == Standing::Adopted);
    }
    Ok(())
}
