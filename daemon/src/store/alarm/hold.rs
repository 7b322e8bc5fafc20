//! Times in which a rule calls nobody, because a person said so: shelved for a while, or out of service. Owns when one is
//! on, and what becomes of its alarms when it is over.

use super::{Refused, Said, hand_over, move_on, number, of_subject};
use crate::alarm::{Event, State, Subject, Suppressed};
use crate::entry::PrinterName;
use crate::points::{Point, pass};
use crate::store::read::{alarms, holds};
use crate::store::{AlarmRow, HoldKind, HoldRow, Store, StoreError};
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior};
use std::sync::Arc;

/// Alarms that are held by nothing any more: their hold was over before they were written.
const FREE: &str = "state <> 'normal' AND state IN ('shelved', 'out of service')
    AND NOT EXISTS (SELECT 1 FROM alarm_hold AS held WHERE held.printer IS alarm.printer AND held.tool IS alarm.tool
        AND held.rule = alarm.rule AND held.kind = alarm.state AND held.ended_ms IS NULL)";

/// Alarms that are suppressed because their printer was being set up, not for that reason.
const OF_COMMISSIONING: &str = "state <> 'normal' AND state = 'suppressed by design'
    AND ?1 IS NOT (SELECT why FROM alarm_change WHERE alarm_change.alarm = alarm.id ORDER BY id LIMIT 1)";

pub(super) fn begins(kind: HoldKind) -> Event {
    match kind {
        HoldKind::Shelved => Event::Shelve,
        HoldKind::OutOfService => Event::TakeOutOfService,
    }
}

pub(super) fn ends(kind: HoldKind) -> Event {
    match kind {
        HoldKind::Shelved => Event::Unshelve,
        HoldKind::OutOfService => Event::ReturnToService,
    }
}

pub(super) fn state_of(word: &str) -> Result<State, StoreError> {
    State::of_word(word).ok_or_else(|| StoreError::Doubtful(format!("an alarm's state is `{word}`")))
}

/// In which way a subject was held at that instant.
pub(super) fn kind_at(
    db: &Connection,
    printer: Option<i64>,
    subject: Subject,
    at: Timestamp,
) -> Result<Option<HoldKind>, StoreError> {
    const SQL: &str = "SELECT kind FROM alarm_hold WHERE printer IS ?1 AND tool IS ?2 AND rule = ?3 AND began_ms <= ?4
        AND (ended_ms IS NULL OR ended_ms > ?4) AND (until_ms IS NULL OR until_ms > ?4) ORDER BY id DESC LIMIT 1";
    let key = (printer, number(subject.tool), subject.rule.word(), at.as_ms());
    let found: Option<String> = db.prepare_cached(SQL)?.query_row(key, |row| row.get(0)).optional()?;
    Ok(found.as_deref().and_then(HoldKind::of_word))
}

/// Holds a subject from now on. What held it until now ends.
pub(super) fn begin(
    db: &Connection,
    (printer, subject): (Option<&PrinterName>, Subject),
    kind: HoldKind,
    until: Option<Timestamp>,
    said: &Said<'_>,
) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO alarm_hold (printer, tool, rule, kind, began_ms, until_ms, by, why)
        VALUES ((SELECT id FROM printer WHERE name = ?1), ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    finish(db, (printer, subject), said)?;
    let (tool, rule) = (number(subject.tool), subject.rule.word());
    let name = printer.map(PrinterName::as_str);
    let until = until.map(Timestamp::as_ms);
    db.prepare_cached(SQL)?.execute((name, tool, rule, kind.word(), said.at.as_ms(), until, said.by, said.why))?;
    Ok(())
}

/// Ends what holds a subject, and lets its alarms go where their condition calls for.
pub(super) fn end(
    db: &Connection,
    (printer, subject): (Option<&PrinterName>, Subject),
    kind: HoldKind,
    said: &Said<'_>,
) -> Result<(), StoreError> {
    finish(db, (printer, subject), said)?;
    let state = match kind {
        HoldKind::Shelved => "state = 'shelved' AND state <> 'normal'",
        HoldKind::OutOfService => "state = 'out of service' AND state <> 'normal'",
    };
    for alarm in of_subject(db, printer, subject, state)? {
        move_on(db, &alarm, ends(kind), said).map_err(Refused::of_the_record)?;
    }
    Ok(())
}

fn finish(
    db: &Connection,
    (printer, subject): (Option<&PrinterName>, Subject),
    said: &Said<'_>,
) -> Result<(), StoreError> {
    const SQL: &str = "UPDATE alarm_hold SET ended_ms = max(began_ms, ?4), ended_by = ?5
        WHERE printer IS (SELECT id FROM printer WHERE name = ?1) AND tool IS ?2 AND rule = ?3 AND ended_ms IS NULL";
    let name = printer.map(PrinterName::as_str);
    db.prepare_cached(SQL)?.execute((name, number(subject.tool), subject.rule.word(), said.at.as_ms(), said.by))?;
    Ok(())
}

impl Store {
    /// Ends shelving whose time is up: an alarm whose condition stands calls again, one whose condition is gone is normal.
    /// Gives whether anything has changed.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn end_holds(&self, now: Timestamp) -> Result<bool, StoreError> {
        let waiting = Arc::clone(&self.waiting);
        self.call(move |writer| {
            waiting.takes_words()?;
            // Looked at first: nearly always there is nothing to write.
            let is_due = is_due(&writer.db, now)?;
            if is_due {
                let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
                end_due(&step, now)?;
                pass(Point::HoldsEnded);
                step.commit()?;
                pass(Point::HoldsEndedCommitted);
                writer.board.moved();
            }
            waiting.note_quiet(&writer.db)?;
            Ok(is_due)
        })
    }

    /// Ends the suppression of these printers' alarms: nobody sets them up any more. What is suppressed since it was said
    /// lately stays so, and ends with its condition. Gives whether anything has changed.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn end_suppression(&self, printers: Vec<PrinterName>, now: Timestamp) -> Result<bool, StoreError> {
        let waiting = Arc::clone(&self.waiting);
        self.call(move |writer| {
            waiting.takes_words()?;
            let suppressed = alarms(&writer.db, OF_COMMISSIONING, [Suppressed::SaidLately.word()])?;
            let is_over = |name: &PrinterName| printers.contains(name);
            let freed: Vec<_> =
                suppressed.into_iter().filter(|alarm| alarm.printer.as_ref().is_some_and(is_over)).collect();
            if freed.is_empty() {
                return Ok(false);
            }
            let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            free(&step, &freed, now)?;
            step.commit()?;
            writer.board.moved();
            waiting.note_quiet(&writer.db)?;
            Ok(true)
        })
    }
}

/// Lets alarms go that were suppressed by design: to what a person holds them in, else where their condition calls for.
fn free(db: &Connection, suppressed: &[AlarmRow], now: Timestamp) -> Result<(), StoreError> {
    let held = holds(db)?;
    for alarm in suppressed {
        let is_of = |held: &&HoldRow| held.printer == alarm.printer && held.subject == alarm.subject;
        let freed = match held.iter().find(is_of) {
            Some(held) => hand_over(db, alarm, held.kind, &Said::by_itself(now)),
            None => move_on(db, alarm, Event::EndSuppression, &Said::by_itself(now)).map(drop),
        };
        freed.map_err(Refused::of_the_record)?;
    }
    Ok(())
}

fn is_due(db: &Connection, now: Timestamp) -> Result<bool, StoreError> {
    const SQL: &str = "SELECT EXISTS (SELECT 1 FROM alarm_hold WHERE ended_ms IS NULL AND until_ms <= ?1)";
    let is_up: bool = db.prepare_cached(SQL)?.query_row([now.as_ms()], |row| row.get(0))?;
    if is_up {
        return Ok(true);
    }
    let free = format!("SELECT EXISTS (SELECT 1 FROM alarm WHERE {FREE})");
    Ok(db.prepare_cached(&free)?.query_row([], |row| row.get(0))?)
}

fn end_due(db: &Connection, now: Timestamp) -> Result<(), StoreError> {
    let said = Said::by_itself(now);
    for held in holds(db)?.into_iter().filter(|held| held.until.is_some_and(|until| until <= now)) {
        end(db, (held.printer.as_ref(), held.subject), held.kind, &said)?;
    }
    for alarm in alarms(db, FREE, [])? {
        let event = if alarm.state == State::Shelved { Event::Unshelve } else { Event::ReturnToService };
        move_on(db, &alarm, event, &said).map_err(Refused::of_the_record)?;
    }
    Ok(())
}
