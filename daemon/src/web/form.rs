//! The forms that report an outcome and take one back. Owns what of them is taken: whatever they say beyond that is
//! refused, and nothing is guessed.

use super::Site;
use super::answer::{Refusal, blocking};
use super::posted;
use crate::entry::{Mode, Outcome, Severity, ToolNumber, Undo};
use crate::fitting;
use crate::stamp;
use crate::store::{PrintRow, StoreError};
use axum::Form;
use axum::extract::rejection::FormRejection;
use axum::extract::{Path, State};
use axum::response::Redirect;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::NOTE_MAX;
use std::sync::Arc;

/// The fields as they come in.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Fields {
    /// Tool and mode: `1:jam`, `all:clean`.
    #[serde(default)]
    what: String,
    severity: Option<String>,
    note: Option<String>,
    /// When what is taken back was said.
    said: Option<String>,
    /// `list`, or the print's page.
    back: Option<String>,
}

/// What a person speaks of.
#[derive(Clone, Copy, Debug)]
pub(super) struct What {
    tool: Option<ToolNumber>,
    mode: Mode,
}

/// What a person said, understood.
#[derive(Debug)]
pub(super) struct Said {
    what: What,
    severity: Option<Severity>,
    note: Option<String>,
}

type Came = Result<Form<Fields>, FormRejection>;

/// Takes an outcome, and leads back to where it was said.
pub(super) async fn report(
    State(site): State<Arc<Site>>,
    Path(id): Path<String>,
    fields: Came,
) -> Result<Redirect, Refusal> {
    let fields = posted::fields(fields)?;
    let id = super::prints::print_id(&id)?;
    let back = back(&fields, id, "reported")?;
    let (tool, mode) = parts(&fields.what)?;
    let said = understood(tool, mode, fields.severity.as_deref(), fields.note)?;
    blocking(site, move |site| record(site, id, said)).await?;
    Ok(Redirect::to(&back))
}

/// Takes an outcome back, and leads back to where that was asked.
pub(super) async fn undo(
    State(site): State<Arc<Site>>,
    Path(id): Path<String>,
    fields: Came,
) -> Result<Redirect, Refusal> {
    let fields = posted::fields(fields)?;
    let id = super::prints::print_id(&id)?;
    let back = back(&fields, id, "undone")?;
    let (tool, mode) = parts(&fields.what)?;
    let what = What::of(tool, mode)?;
    let said = when_said(&fields.said.unwrap_or_default())?;
    blocking(site, move |site| take_back(site, id, what, said)).await?;
    Ok(Redirect::to(&back))
}

/// The page that says what was done.
fn back(fields: &Fields, id: i64, done: &str) -> Result<String, Refusal> {
    match fields.back.as_deref() {
        None | Some("") => Ok(format!("/prints/{id}?done={done}#outcome")),
        Some("list") => Ok(format!("/prints?{done}={id}")),
        Some(other) => Err(Refusal::Bad(format!("The way back is {other:?}, not \"list\" or nothing."))),
    }
}

/// Puts what a person said of a print into the record; what stands already is not said again.
pub(super) fn record(site: &Site, id: i64, said: Said) -> Result<(), Refusal> {
    let print = print_of(site, id)?;
    let Said { what: What { tool, mode }, severity, note } = said;
    if let Some(tool) = tool {
        let number = tool.idx();
        let found = site.store.reader().and_then(|reader| fitting::tool_of_print(&reader, &print, number));
        found.map_err(refusal)?.map_err(|right| Refusal::Bad(format!("The tool is {number}: {right}.")))?;
    }
    let job = Arc::from(print.name.as_deref().unwrap_or(""));
    let outcome = Outcome { at: site.clock.now().at, job, started: print.started, tool, mode, severity, note };
    site.store.say(&print.printer, &outcome).map_err(refusal)
}

/// The time of a word, as it was sent.
pub(super) fn when_said(text: &str) -> Result<Timestamp, Refusal> {
    let wrong = || Refusal::Bad(format!("The time of the word is {text:?}, not like 2026-03-02T08:00:00Z."));
    stamp::parse(text).ok_or_else(wrong)
}

/// Takes back what was said of a print then.
pub(super) fn take_back(site: &Site, id: i64, what: What, said: Timestamp) -> Result<(), Refusal> {
    let print = print_of(site, id)?;
    let job = Arc::from(print.name.as_deref().unwrap_or(""));
    let What { tool, mode } = what;
    let undo = Undo { at: site.clock.now().at.max(said), job, started: print.started, said, tool, mode };
    site.store.undo(&print.printer, &undo).map_err(|error| match error {
        StoreError::NoSuchWord { .. } => Refusal::Absent(format!("Nothing to take back: {error}.")),
        other => refusal(other),
    })
}

fn print_of(site: &Site, id: i64) -> Result<PrintRow, Refusal> {
    let failed = |error: StoreError| Refusal::Failed(error.to_string());
    let reader = site.store.reader().map_err(failed)?;
    reader.print(id).map_err(failed)?.ok_or_else(|| super::prints::no_print(id))
}

#[expect(clippy::needless_pass_by_value, reason = "what `map_err` hands over")]
fn refusal(error: StoreError) -> Refusal {
    let cause = error.to_string();
    if error.is_transient() { Refusal::NotRecorded(cause) } else { Refusal::Failed(cause) }
}

/// What a person said of a print, by its words.
pub(super) fn understood(
    tool: &str,
    mode: &str,
    severity: Option<&str>,
    note: Option<String>,
) -> Result<Said, Refusal> {
    let what = What::of(tool, mode)?;
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
    Ok(Said { what, severity: severity.filter(|_| what.mode != Mode::Clean), note })
}

/// Tool and mode, as a button sends them.
fn parts(what: &str) -> Result<(&str, &str), Refusal> {
    what.split_once(':').ok_or_else(|| bad("word", what, "a tool and a mode such as \"1:jam\""))
}

impl What {
    /// By its words.
    pub(super) fn of(tool: &str, mode: &str) -> Result<Self, Refusal> {
        let tool = match tool {
            "all" => None,
            number => {
                let found = number.parse().ok().and_then(ToolNumber::new);
                Some(found.ok_or_else(|| bad("tool", number, "\"all\" or a tool's number from 0"))?)
            }
        };
        let mode = Mode::of_word(mode).ok_or_else(|| bad("mode", mode, "a failure mode or \"clean\""))?;
        Ok(Self { tool, mode })
    }
}

fn bad(what: &str, found: &str, right: &str) -> Refusal {
    Refusal::Bad(format!("The {what} is {found:?}, not {right}."))
}
