//! The form that reports an outcome. Owns what of it is taken: whatever it says beyond that is refused, and nothing
//! is guessed.

use super::Site;
use super::answer::{Refusal, blocking};
use super::attempts::Attempt;
use crate::entry::{Mode, Outcome, Severity, ToolNumber};
use axum::Form;
use axum::extract::rejection::FormRejection;
use axum::extract::{Path, State};
use axum::response::Redirect;
use std::sync::Arc;

/// The longest note, in characters; the form's field says the same.
const NOTE_MAX: usize = 500;

/// The fields as they come in.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Fields {
    #[serde(default)]
    token: String,
    tool: String,
    mode: String,
    severity: Option<String>,
    note: Option<String>,
}

/// What a person said, understood.
#[derive(Debug)]
pub(super) struct Said {
    tool: Option<ToolNumber>,
    mode: Mode,
    severity: Option<Severity>,
    note: Option<String>,
}

/// Takes an outcome, and leads back to the print.
pub(super) async fn report(
    State(site): State<Arc<Site>>,
    Path(id): Path<String>,
    fields: Result<Form<Fields>, FormRejection>,
) -> Result<Redirect, Refusal> {
    let Form(fields) = fields.map_err(|error| Refusal::Bad(format!("The form can't be read: {error}.")))?;
    if fields.token != site.token {
        site.turned_away(Attempt::WrongToken);
        return Err(Refusal::Foreign);
    }
    let said = understood(&fields.tool, &fields.mode, fields.severity.as_deref(), fields.note)?;
    let id = super::prints::print_id(&id)?;
    blocking(site, move |site| record(site, id, said)).await?;
    Ok(Redirect::to(&format!("/prints/{id}")))
}

/// Puts what a person said of a print into the record.
pub(super) fn record(site: &Site, id: i64, said: Said) -> Result<(), Refusal> {
    let failed = |error: crate::store::StoreError| Refusal::Failed(error.to_string());
    let reader = site.store.reader().map_err(failed)?;
    let print = reader.print(id).map_err(failed)?.ok_or_else(|| super::prints::no_print(id))?;
    let Said { tool, mode, severity, note } = said;
    let job = Arc::from(print.name.as_deref().unwrap_or(""));
    let outcome = Outcome { at: site.clock.now().at, job, started: print.started, tool, mode, severity, note };
    site.store
        .record_outcome(&print.printer, &outcome)
        .map_err(|error| if error.is_transient() { Refusal::NotRecorded(error.to_string()) } else { failed(error) })
}

/// What a person said of a print, by its words.
pub(super) fn understood(
    tool: &str,
    mode: &str,
    severity: Option<&str>,
    note: Option<String>,
) -> Result<Said, Refusal> {
    let bad = |what: &str, found: &str, right: &str| Refusal::Bad(format!("The {what} is {found:?}, not {right}."));
    let tool = match tool {
        "all" => None,
        number => {
            let found = number.parse().ok().and_then(ToolNumber::new);
            Some(found.ok_or_else(|| bad("tool", number, "\"all\" or a tool's number from 0"))?)
        }
    };
    let mode = Mode::of_word(mode).ok_or_else(|| bad("mode", mode, "a failure mode or \"clean\""))?;
    let severity = match severity {
        None | Some("") => None,
        Some(number) => {
            let found = number.parse().ok().and_then(Severity::new);
            Some(found.ok_or_else(|| bad("severity", number, "1, 2 or 3"))?)
        }
    };
    let note = note.map(|note| note.trim().to_owned()).filter(|note| !note.is_empty());
    if note.as_ref().is_some_and(|note| note.chars().count() > NOTE_MAX) {
        return Err(Refusal::Bad(format!("The note is longer than {NOTE_MAX} characters.")));
    }
    // What went well has no severity.
    Ok(Said { tool, mode, severity: severity.filter(|_| mode != Mode::Clean), note })
}
