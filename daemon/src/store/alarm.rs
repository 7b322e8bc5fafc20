//! Alarms as they are kept: what the ledger found, and every change of an alarm's state with who and when. Owns how an
//! alarm's life gets into the record; which state follows from which is the alarm's own (`crate::alarm`).

mod act;
mod hold;
mod quiet;

pub use act::{Act, Acted, AlarmError, SHELVED_MAX};

pub(super) use quiet::Quiet;

use super::read::alarms;
use super::{AlarmRow, HoldKind, Reader, StoreError, outbox};
use crate::alarm::{AlarmEffect, Event, NotNow, State, Step, Subject, Suppressed};
use crate::entry::{PrinterName, ToolNumber};
use crate::points::{Point, pass};
use dwell_analysis::time::Timestamp;
use hold::{kind_at, state_of};
use rusqlite::{Connection, OptionalExtension};

/// Who changes an alarm where no person does.
const DWELLWATCH: &str = "dwellwatch";

const SET: &str = "UPDATE alarm SET state = ?2 WHERE id = ?1";

/// Who says something of an alarm, when, and in which words.
#[derive(Clone, Copy, Debug)]
struct Said<'a> {
    at: Timestamp,
    by: &'a str,
    why: Option<&'a str>,
}

impl Said<'_> {
    /// What follows by itself.
    const fn by_itself(at: Timestamp) -> Said<'static> {
        Said { at, by: DWELLWATCH, why: None }
    }
}

/// Alarms of a printer, or of the record itself.
pub(super) fn write(
    db: &Connection,
    printer: Option<(i64, &PrinterName)>,
    alarms: &[AlarmEffect],
    notices: bool,
) -> Result<(), StoreError> {
    for alarm in alarms {
        let tells = change(db, printer, alarm)?;
        if notices && tells && !is_over_at_once(alarm, alarms) {
            outbox::put(db, printer.map(|(_, name)| name), alarm)?;
        }
        pass(Point::AlarmWritten);
    }
    Ok(())
}

/// Whether an alarm is raised and returns within one commit: it was found when it had passed, and nobody need be called.
pub(super) fn is_over_at_once(alarm: &AlarmEffect, alarms: &[AlarmEffect]) -> bool {
    let has = |is_raise| alarms.iter().any(|other| other.key() == alarm.key() && other.is_raise() == is_raise);
    has(true) && has(false)
}

/// Writes what happened to an alarm's condition. True if those who want to hear of it are to be told.
fn change(db: &Connection, printer: Option<(i64, &PrinterName)>, alarm: &AlarmEffect) -> Result<bool, StoreError> {
    match alarm {
        AlarmEffect::Raised { .. } => raise(db, printer.map(|(id, _)| id), alarm),
        AlarmEffect::Returned { subject, raised, at, is_superseded } => {
            const FIND: &str = "SELECT id, state FROM alarm
                WHERE printer IS ?1 AND tool IS ?2 AND rule = ?3 AND raised_ms = ?4 AND returned_ms IS NULL";
            const SQL: &str = "UPDATE alarm SET returned_ms = ?2, state = ?3 WHERE id = ?1";
            let key = (printer.map(|(id, _)| id), number(subject.tool), subject.rule.word(), raised.as_ms());
            let row = |row: &rusqlite::Row<'_>| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?));
            let found = db.prepare_cached(FIND)?.query_row(key, row).optional()?;
            let Some((id, state)) = found else {
                let printer = printer.map_or_else(|| "the record".to_owned(), |(_, name)| name.to_string());
                return Err(StoreError::NoSuchRow { what: "alarm", printer, began: *raised });
            };
            let event = if *is_superseded { Event::Superseded } else { Event::Goes };
            let from = state_of(&state)?;
            let step = from.step(event, true).map_err(|refused| Refused::NotNow(refused).of_the_record())?;
            db.prepare_cached(SQL)?.execute((id, at.as_ms(), step.to.word()))?;
            note(db, id, (from, step.to), &Said::by_itself(*at))?;
            Ok(step.tells)
        }
    }
}

/// Writes an alarm that comes. Whether it is held is decided by when it was raised, however late it is written.
fn raise(db: &Connection, printer: Option<i64>, alarm: &AlarmEffect) -> Result<bool, StoreError> {
    const SQL: &str = "INSERT INTO alarm (printer, tool, rule, priority, raised_ms, state, cause, consequence, action)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9) RETURNING id";
    let AlarmEffect::Raised { subject, at, priority, suppressed, cause, consequence, action } = alarm else {
        return Ok(false);
    };
    let step = birth(db, printer, (*subject, *at), suppressed.is_some())?;
    let (tool, rule, words) = (number(subject.tool), subject.rule.word(), (cause, consequence, action));
    let row = (printer, tool, rule, priority.word(), at.as_ms(), step.to.word(), words.0, words.1, words.2);
    let id = db.prepare_cached(SQL)?.query_row(row, |row| row.get(0))?;
    let why = suppressed.map(Suppressed::word);
    note(db, id, (State::Normal, step.to), &Said { why, ..Said::by_itself(*at) })?;
    Ok(step.tells)
}

/// How an alarm begins, by what holds it.
fn birth(
    db: &Connection,
    printer: Option<i64>,
    (subject, raised): (Subject, Timestamp),
    is_suppressed: bool,
) -> Result<Step, StoreError> {
    let held = kind_at(db, printer, subject, raised)?.map(hold::begins);
    let held = if is_suppressed { Some(Event::Suppress) } else { held };
    let from = held.map_or(Ok(State::Normal), |event| State::Normal.step(event, false).map(|step| step.to));
    let begun = from.and_then(|from| from.step(Event::Comes, false));
    begun.map_err(|refused| Refused::NotNow(refused).of_the_record())
}

impl Reader {
    /// The state in which an alarm that is not in the record yet will begin: one that waits for the disk.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn birth(
        &self,
        printer: Option<&PrinterName>,
        subject: Subject,
        raised: Timestamp,
        is_suppressed: bool,
    ) -> Result<State, StoreError> {
        let id = printer.map(|name| self.printer_id(name)).transpose()?.flatten();
        // A printer that the record does not know has nothing that is held.
        let id = if printer.is_some() && id.is_none() { Some(-1) } else { id };
        Ok(birth(&self.db, id, (subject, raised), is_suppressed)?.to)
    }
}

/// Moves an alarm on by what is said of it, and tells of it if that is called for. Gives its state from then on.
fn move_on(db: &Connection, alarm: &AlarmRow, event: Event, said: &Said<'_>) -> Result<State, Refused> {
    let step = alarm.state.step(event, alarm.returned.is_none())?;
    let said = Said { at: not_before(db, alarm, said.at)?, ..*said };
    db.prepare_cached(SET)?.execute((alarm.id, step.to.word()))?;
    note(db, alarm.id, (alarm.state, step.to), &said)?;
    if step.tells {
        outbox::put_again(db, alarm, said.at)?;
    }
    Ok(step.to)
}

/// Moves an alarm that was suppressed by design on to what a person holds it in. Nobody is told.
fn hand_over(db: &Connection, alarm: &AlarmRow, kind: HoldKind, said: &Said<'_>) -> Result<(), Refused> {
    let free = alarm.state.step(Event::EndSuppression, alarm.returned.is_none())?;
    let to = free.to.step(hold::begins(kind), alarm.returned.is_none())?.to;
    let said = Said { at: not_before(db, alarm, said.at)?, ..*said };
    db.prepare_cached(SET)?.execute((alarm.id, to.word()))?;
    Ok(note(db, alarm.id, (alarm.state, to), &said)?)
}

/// Why an alarm was not moved on.
enum Refused {
    NotNow(NotNow),
    Store(StoreError),
}

impl From<NotNow> for Refused {
    fn from(refused: NotNow) -> Self {
        Self::NotNow(refused)
    }
}

impl From<StoreError> for Refused {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<rusqlite::Error> for Refused {
    fn from(error: rusqlite::Error) -> Self {
        Self::Store(error.into())
    }
}

impl Refused {
    /// What no record can hold was found, where nobody asked for anything.
    fn of_the_record(self) -> StoreError {
        match self {
            Self::NotNow(refused) => StoreError::Doubtful(format!("an alarm can't go on: {refused}")),
            Self::Store(error) => error,
        }
    }
}

/// Writes that an alarm's state has changed, if it has.
fn note(db: &Connection, id: i64, (from, to): (State, State), said: &Said<'_>) -> Result<(), StoreError> {
    if from == to { Ok(()) } else { note_word(db, id, (from, to), said) }
}

/// Writes what was said of an alarm, whatever that did to its state.
fn note_word(db: &Connection, id: i64, (from, to): (State, State), said: &Said<'_>) -> Result<(), StoreError> {
    const SQL: &str =
        "INSERT INTO alarm_change (alarm, at_ms, from_state, to_state, by, why) VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    db.prepare_cached(SQL)?.execute((id, said.at.as_ms(), from.word(), to.word(), said.by, said.why))?;
    Ok(())
}

/// That instant, or that of the newest change of the alarm if that is later: clocks differ, and what happened stays in order.
fn not_before(db: &Connection, alarm: &AlarmRow, at: Timestamp) -> Result<Timestamp, StoreError> {
    const SQL: &str = "SELECT max(at_ms) FROM alarm_change WHERE alarm = ?1";
    let newest: Option<i64> = db.prepare_cached(SQL)?.query_row([alarm.id], |row| row.get(0))?;
    Ok(at.max(alarm.raised).max(newest.map_or(at, Timestamp::from_ms)))
}

/// The alarms of a subject of which that is true.
fn of_subject(
    db: &Connection,
    printer: Option<&PrinterName>,
    subject: Subject,
    condition: &str,
) -> Result<Vec<AlarmRow>, StoreError> {
    let condition = format!("name IS ?1 AND tool IS ?2 AND rule = ?3 AND {condition}");
    let key = (printer.map(PrinterName::as_str), number(subject.tool), subject.rule.word());
    alarms(db, &condition, key)
}

fn number(tool: Option<ToolNumber>) -> Option<i64> {
    tool.and_then(|tool| i64::try_from(tool.idx()).ok())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
