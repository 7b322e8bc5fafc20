//! Suggestions as they are kept: when each was said first and last, and what became of it. Owns when one opens and
//! closes; what is suggested is the study's.

mod names;

use super::read::tool;
use super::{Reader, Store, StoreError, read};
use crate::change::{self, Value};
use crate::entry::{PrinterName, ToolNumber, words};
use crate::points::{Point, pass};
use dwell_analysis::advice::Change;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::format::moment;
use jiff::tz::TimeZone;
use rusqlite::types::Type;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior};

pub use names::SuggestionNames;

/// A suggestion, as it is said now.
#[derive(Clone, Debug, PartialEq)]
pub struct SaidSuggestion {
    /// Its name, as [`SuggestionNames`] gives it.
    pub id: String,
    /// The printer.
    pub printer: PrinterName,
    /// The tool.
    pub tool: ToolNumber,
    /// The material, as it is called; `None` is any, or not known.
    pub material: Option<String>,
    /// What to change.
    pub change: Change,
    /// The JSON object that scripts are given of it.
    pub body: String,
}

/// What has become of a suggestion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It is advised.
    Open,
    /// A person does not want it.
    Declined,
    /// A person took it up.
    Adopted,
    /// It is advised no more.
    Withdrawn,
}
words!(Standing { Open = "open", Declined = "declined", Adopted = "adopted", Withdrawn = "withdrawn" });

/// A suggestion of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct SuggestionRow {
    /// Its name.
    pub id: String,
    /// The printer.
    pub printer: PrinterName,
    /// The tool.
    pub tool: ToolNumber,
    /// The material; `None` is any, or not known.
    pub material: Option<String>,
    /// What to change: as it was said last while it was open.
    pub change: Change,
    /// The JSON object that scripts are given of it.
    pub body: String,
    /// When it was said first.
    pub first: Timestamp,
    /// When it was said last.
    pub last: Timestamp,
    /// What has become of it.
    pub standing: Standing,
    /// Since when.
    pub since: Timestamp,
    /// Why, if anybody said, or it was withdrawn.
    pub why: Option<String>,
}

impl Store {
    /// Takes over all that is suggested now. What was open and is said no more is withdrawn; what a person declined or
    /// took up stays so. One that was declined, or whose trial has ended, is open again once it comes to another value.
    ///
    /// # Errors
    /// If the record can't be written, or a printer is not known; nothing has changed then.
    pub fn keep_suggestions(&self, said: Vec<SaidSuggestion>, at: Timestamp) -> Result<(), StoreError> {
        self.call(move |writer| {
            let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            for suggestion in &said {
                keep(&step, suggestion, at)?;
            }
            withdraw_unsaid(&step, &said, at)?;
            pass(Point::WordRecorded);
            step.commit()?;
            writer.board.moved();
            Ok(())
        })
    }

    /// A person does not want a suggestion; a trial of it that is open is given up. `false` if there is no such one.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn decline(&self, id: &str, why: Option<&str>, at: Timestamp) -> Result<bool, StoreError> {
        let (id, why) = (id.to_owned(), why.map(str::to_owned));
        self.call(move |writer| {
            let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            super::trial::give_up(&step, &id, why.as_deref(), at)?;
            let is_known = stand(&step, &id, Standing::Declined, why.as_deref(), at)?;
            pass(Point::WordRecorded);
            step.commit()?;
            writer.board.moved();
            Ok(is_known)
        })
    }
}

impl Reader {
    /// Every suggestion that was ever made, by name.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn suggestions(&self) -> Result<Vec<SuggestionRow>, StoreError> {
        const SQL: &str = "SELECT name, tool, material, setting, from_value, to_value, suggestion.id, body, first_ms, last_ms,
            state, since_ms, why FROM suggestion JOIN printer ON printer.id = suggestion.printer ORDER BY suggestion.id";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([], |row| {
            Ok(SuggestionRow {
                printer: read::word(PrinterName::new(&row.get::<_, String>(0)?), "name")?,
                tool: tool(row, 1)?,
                material: row.get(2)?,
                change: change_of(row, 3)?,
                id: row.get(6)?,
                body: row.get(7)?,
                first: Timestamp::from_ms(row.get(8)?),
                last: Timestamp::from_ms(row.get(9)?),
                standing: read::word(Standing::of_word(&row.get::<_, String>(10)?), "state")?,
                since: Timestamp::from_ms(row.get(11)?),
                why: row.get(12)?,
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

/// A change from its three columns, the first at `from`.
pub(super) fn change_of(row: &Row<'_>, from: usize) -> rusqlite::Result<Change> {
    let setting: String = row.get(from)?;
    let before = row.get::<_, Option<String>>(from + 1)?.map(|text| value(from + 1, &text)).transpose()?;
    let after = value(from + 2, &row.get::<_, String>(from + 2)?)?;
    read::word(change::of_words(&setting, before.as_ref(), &after), "setting")
}

fn value(column: usize, text: &str) -> rusqlite::Result<Value> {
    let parsed = serde_json::from_str(text);
    parsed.map_err(|error| rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(error)))
}

/// The columns of a change.
fn columns(change: &Change) -> (&'static str, Option<String>, String) {
    let text = |value: Value| serde_json::json!(value).to_string();
    (change::setting(change), change::from(change).map(text), text(change::to(change)))
}

/// Sets what became of a suggestion. `false` if there is no such one.
pub(super) fn stand(
    db: &Connection,
    id: &str,
    standing: Standing,
    why: Option<&str>,
    at: Timestamp,
) -> Result<bool, StoreError> {
    const SQL: &str = "UPDATE suggestion SET state = ?2, since_ms = ?3, why = ?4 WHERE id = ?1";
    Ok(db.prepare_cached(SQL)?.execute((id, standing.word(), at.as_ms(), why))? == 1)
}

/// What is kept of a suggestion that is said again.
struct Before {
    standing: Standing,
    change: Change,
    /// Whether its last trial spoke against it.
    is_refuted: bool,
    is_on_trial: bool,
}

fn before(db: &Connection, id: &str) -> Result<Option<Before>, StoreError> {
    const SQL: &str =
        "SELECT setting, from_value, to_value, state, ifnull((SELECT verdict IN ('did_not_help', 'harmed')
        FROM trial WHERE suggestion = ?1 AND ended_ms IS NOT NULL ORDER BY ended_ms DESC, trial.id DESC LIMIT 1), 0),
        EXISTS (SELECT 1 FROM trial WHERE suggestion = ?1 AND ended_ms IS NULL)
        FROM suggestion WHERE id = ?1";
    let row = |row: &Row<'_>| {
        Ok(Before {
            change: change_of(row, 0)?,
            standing: read::word(Standing::of_word(&row.get::<_, String>(3)?), "state")?,
            is_refuted: row.get(4)?,
            is_on_trial: row.get(5)?,
        })
    };
    Ok(db.prepare_cached(SQL)?.query_row([id], row).optional()?)
}

fn keep(db: &Connection, said: &SaidSuggestion, at: Timestamp) -> Result<(), StoreError> {
    const AGAIN: &str = "UPDATE suggestion SET last_ms = max(last_ms, ?2) WHERE id = ?1";
    let Some(before) = before(db, &said.id)? else { return open(db, said, at) };
    let has_moved = !change::is_alike(&before.change, &said.change);
    match before.standing {
        // What helped stands; a further step of the same setting is another change.
        Standing::Adopted if before.is_on_trial || !has_moved => {}
        Standing::Declined | Standing::Withdrawn
            if !has_moved && (before.standing == Standing::Declined || before.is_refuted) => {}
        Standing::Open | Standing::Adopted | Standing::Declined | Standing::Withdrawn => {
            return open(db, said, at);
        }
    }
    db.prepare_cached(AGAIN)?.execute((&said.id, at.as_ms()))?;
    Ok(())
}

/// Opens a suggestion, or brings an open one up to date.
fn open(db: &Connection, said: &SaidSuggestion, at: Timestamp) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO suggestion
        (id, printer, tool, material, setting, from_value, to_value, body, first_ms, last_ms, state, since_ms, why)
        SELECT ?1, printer.id, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?9, 'open', ?9, NULL FROM printer WHERE name = ?2
        ON CONFLICT (id) DO UPDATE SET material = excluded.material, from_value = excluded.from_value,
        to_value = excluded.to_value, body = excluded.body, last_ms = max(last_ms, excluded.last_ms),
        since_ms = CASE state WHEN 'open' THEN since_ms ELSE excluded.since_ms END, state = 'open', why = NULL";
    let (setting, from, to) = columns(&said.change);
    let number = i64::try_from(said.tool.idx()).unwrap_or(i64::MAX);
    let n = db.prepare_cached(SQL)?.execute((
        &said.id,
        said.printer.as_str(),
        number,
        said.material.as_deref(),
        setting,
        from,
        to,
        &said.body,
        at.as_ms(),
    ))?;
    let missing = || StoreError::NoSuchRow { what: "printer", printer: said.printer.to_string(), began: at };
    if n == 1 { Ok(()) } else { Err(missing()) }
}

fn withdraw_unsaid(db: &Connection, said: &[SaidSuggestion], at: Timestamp) -> Result<(), StoreError> {
    let mut statement = db.prepare_cached("SELECT id FROM suggestion WHERE state = 'open' ORDER BY id")?;
    let open = statement.query_map([], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
    let day = moment(at, &TimeZone::UTC);
    for id in open.iter().filter(|id| said.iter().all(|said| said.id != **id)) {
        let why = format!("it is not said any more by the record as of {day} UTC");
        stand(db, id, Standing::Withdrawn, Some(&why), at)?;
    }
    Ok(())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
