//! What people do about alarms: from a page, the command line or a link, beside a running daemon too. Owns what is refused
//! and why; each word is durable when it is taken.

use super::hold::{begin, begins, end};
use super::{Refused, Said, alarms, move_on, not_before, note_word, of_subject};
use crate::alarm::{Event, NotNow, State};
use crate::points::{Point, pass};
use crate::store::read::holds;
use crate::store::{AlarmRow, HoldKind, HoldRow, Store, StoreError};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior};
use std::sync::Arc;

/// The longest that an alarm can be shelved.
pub const SHELVED_MAX: Seconds = Seconds::new(7.0 * 86_400.0);

/// Alarms that are acknowledged in one commit, since the record's writer does nothing else meanwhile.
const AT_ONCE_MAX: usize = 1000;

/// What came of a person's word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Acted {
    /// The alarm's state from then on.
    pub state: State,
    /// Whether anything has changed: somebody may have said the same before.
    pub is_new: bool,
}

/// Why a person's word was not taken.
#[derive(Clone, Debug, thiserror::Error)]
pub enum AlarmError {
    /// There is no such alarm.
    #[error("alarm {0}: no such alarm in the record; `dwellwatch alarms` lists them")]
    NoSuchAlarm(i64),
    /// The alarm's state does not allow it.
    #[error("alarm {id}: {refused}")]
    NotNow {
        /// The alarm.
        id: i64,
        /// Why.
        refused: NotNow,
    },
    /// Shelving lasts for some time.
    #[error("shelving for {:.0} min is none; 1 min to 7 days would be right", .0.as_minutes())]
    Length(Seconds),
    /// Nobody said it.
    #[error("nobody said who does this; a name would be right")]
    Nobody,
    /// The record can't be written.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What a person says of an alarm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// That they have seen it.
    Acknowledge,
    /// That its rule, on the same tool or printer, is to call nobody for so long.
    Shelve(Seconds),
    /// That shelving ends now.
    Unshelve,
    /// That its rule calls nobody until a person brings it back.
    OutOfService,
    /// That it is brought back.
    ReturnToService,
    /// Whether it was rightly raised.
    Mark(bool),
}

impl Store {
    /// Notes that a person has seen an alarm. Said twice, it is said once.
    ///
    /// # Errors
    /// If there is no such alarm, nothing to acknowledge, or the record can't be written.
    pub fn acknowledge(&self, id: i64, by: &str, why: Option<&str>, at: Timestamp) -> Result<Acted, AlarmError> {
        self.act(id, Act::Acknowledge, by, why, at)
    }

    /// Lets an alarm's rule, on the same tool or printer, call nobody for so long from `at` on. Said again while it is
    /// shelved, the new time counts.
    ///
    /// # Errors
    /// As [`Self::acknowledge`]; if the time is none or over [`SHELVED_MAX`].
    pub fn shelve(
        &self,
        id: i64,
        lasting: Seconds,
        by: &str,
        why: Option<&str>,
        at: Timestamp,
    ) -> Result<Acted, AlarmError> {
        self.act(id, Act::Shelve(lasting), by, why, at)
    }

    /// Ends shelving early: an alarm whose condition stands calls again.
    ///
    /// # Errors
    /// As [`Self::acknowledge`].
    pub fn unshelve(&self, id: i64, by: &str, why: Option<&str>, at: Timestamp) -> Result<Acted, AlarmError> {
        self.act(id, Act::Unshelve, by, why, at)
    }

    /// Lets an alarm's rule, on the same tool or printer, call nobody until a person brings it back.
    ///
    /// # Errors
    /// As [`Self::acknowledge`].
    pub fn out_of_service(&self, id: i64, by: &str, why: Option<&str>, at: Timestamp) -> Result<Acted, AlarmError> {
        self.act(id, Act::OutOfService, by, why, at)
    }

    /// Brings an alarm's rule back into service: an alarm whose condition stands calls again.
    ///
    /// # Errors
    /// As [`Self::acknowledge`].
    pub fn return_to_service(&self, id: i64, by: &str, why: Option<&str>, at: Timestamp) -> Result<Acted, AlarmError> {
        self.act(id, Act::ReturnToService, by, why, at)
    }

    /// Notes whether an alarm was rightly raised. The last word counts.
    ///
    /// # Errors
    /// If there is no such alarm, or the record can't be written.
    pub fn mark(&self, id: i64, is_right: bool, by: &str, at: Timestamp) -> Result<Acted, AlarmError> {
        self.act(id, Act::Mark(is_right), by, None, at)
    }

    /// Notes that a person has seen all alarms that had come and gone by then, the oldest [`AT_ONCE_MAX`] of them; each
    /// has that as a change of its own. Gives their number.
    ///
    /// # Errors
    /// If nobody says it, or the record can't be written.
    pub fn acknowledge_returned(
        &self,
        before: Timestamp,
        by: &str,
        why: Option<&str>,
        at: Timestamp,
    ) -> Result<usize, AlarmError> {
        const WHERE: &str = "state = 'returned unacknowledged' AND returned_ms <= ?1";
        self.said(by, why, move |db, by, why| {
            let mut returned = alarms(db, WHERE, [before.as_ms()])?;
            returned.truncate(AT_ONCE_MAX);
            for alarm in &returned {
                take(db, alarm.id, Act::Acknowledge, &Said { at, by, why })?;
            }
            Ok(returned.len())
        })
    }

    /// Any of these. A mark has no reason.
    ///
    /// # Errors
    /// As each of them.
    pub fn act(&self, id: i64, act: Act, by: &str, why: Option<&str>, at: Timestamp) -> Result<Acted, AlarmError> {
        match act {
            Act::Shelve(lasting) if !(Seconds::minutes(1.0)..=SHELVED_MAX).contains(&lasting) => {
                return Err(AlarmError::Length(lasting));
            }
            _ => {}
        }
        self.said(by, why, move |db, by, why| take(db, id, act, &Said { at, by, why }))
    }

    /// Takes what somebody says in one commit.
    fn said<T: Send + 'static>(
        &self,
        by: &str,
        why: Option<&str>,
        take: impl FnOnce(&Connection, &str, Option<&str>) -> Result<T, AlarmError> + Send + 'static,
    ) -> Result<T, AlarmError> {
        if by.trim().is_empty() {
            return Err(AlarmError::Nobody);
        }
        let (by, why, waiting) = (by.to_owned(), why.map(str::to_owned), Arc::clone(&self.waiting));
        self.call(move |writer| {
            waiting.takes_words()?;
            let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let acted = match take(&step, &by, why.as_deref()) {
                Ok(acted) => acted,
                Err(AlarmError::Store(error)) => return Err(error),
                Err(refused) => return Ok(Err(refused)),
            };
            pass(Point::AlarmSaid);
            step.commit()?;
            pass(Point::AlarmSaidCommitted);
            writer.board.moved();
            waiting.note_quiet(&writer.db)?;
            Ok(Ok(acted))
        })?
    }
}

fn take(db: &Connection, id: i64, act: Act, said: &Said<'_>) -> Result<Acted, AlarmError> {
    let alarm = alarms(db, "alarm.id = ?1", [id])?.pop().ok_or(AlarmError::NoSuchAlarm(id))?;
    let said = Said { at: not_before(db, &alarm, said.at)?, ..*said };
    let taken = match act {
        Act::Mark(is_right) => mark(db, &alarm, is_right, &said).map_err(Refused::Store),
        Act::Acknowledge => acknowledge(db, &alarm, &said),
        Act::Shelve(lasting) => hold(db, &alarm, HoldKind::Shelved, Some(said.at + lasting), &said),
        Act::OutOfService => hold(db, &alarm, HoldKind::OutOfService, None, &said),
        Act::Unshelve => release(db, &alarm, HoldKind::Shelved, &said),
        Act::ReturnToService => release(db, &alarm, HoldKind::OutOfService, &said),
    };
    taken.map_err(|refused| match refused {
        Refused::NotNow(refused) => AlarmError::NotNow { id, refused },
        Refused::Store(error) => AlarmError::Store(error),
    })
}

fn acknowledge(db: &Connection, alarm: &AlarmRow, said: &Said<'_>) -> Result<Acted, Refused> {
    const SQL: &str = "UPDATE alarm SET acknowledged_ms = ifnull(acknowledged_ms, ?2) WHERE id = ?1";
    let is_again = alarm.state == State::Acknowledged || alarm.state == State::Normal && alarm.acknowledged.is_some();
    if is_again {
        return Ok(Acted { state: alarm.state, is_new: false });
    }
    let state = move_on(db, alarm, Event::Acknowledge, said)?;
    db.prepare_cached(SQL)?.execute((alarm.id, said.at.as_ms()))?;
    Ok(Acted { state, is_new: true })
}

/// Holds the alarm's subject. What stands of it is held too, and what went by unseen before stays to be seen.
fn hold(
    db: &Connection,
    alarm: &AlarmRow,
    kind: HoldKind,
    until: Option<Timestamp>,
    said: &Said<'_>,
) -> Result<Acted, Refused> {
    let subject = (alarm.printer.as_ref(), alarm.subject);
    if alarm.state == State::OutOfService && kind == HoldKind::OutOfService {
        return Ok(Acted { state: alarm.state, is_new: false });
    }
    let is_out = |held: &HoldRow| {
        held.kind == HoldKind::OutOfService && held.printer == alarm.printer && held.subject == alarm.subject
    };
    // An older alarm of the subject does not tell that.
    if kind == HoldKind::Shelved && holds(db)?.iter().any(is_out) {
        return Err(NotNow::OutOfService.into());
    }
    let state = move_on(db, alarm, begins(kind), said)?;
    for standing in of_subject(db, subject.0, subject.1, "state <> 'normal' AND returned_ms IS NULL")? {
        if standing.id != alarm.id && standing.state != State::SuppressedByDesign {
            move_on(db, &standing, begins(kind), said)?;
        }
    }
    begin(db, subject, kind, until, said)?;
    Ok(Acted { state, is_new: true })
}

/// Ends what holds the alarm's subject.
fn release(db: &Connection, alarm: &AlarmRow, kind: HoldKind, said: &Said<'_>) -> Result<Acted, Refused> {
    let event = super::hold::ends(kind);
    if let Err(refused) = alarm.state.step(event, alarm.returned.is_none()) {
        // Who clicks twice has done it once.
        let is_again = was_before(db, alarm)? == Some(kind.word().to_owned());
        return if is_again { Ok(Acted { state: alarm.state, is_new: false }) } else { Err(refused.into()) };
    }
    end(db, (alarm.printer.as_ref(), alarm.subject), kind, said)?;
    let state = alarms(db, "alarm.id = ?1", [alarm.id])?.pop().map_or(alarm.state, |after| after.state);
    Ok(Acted { state, is_new: true })
}

/// The state that an alarm was in before its newest change.
fn was_before(db: &Connection, alarm: &AlarmRow) -> Result<Option<String>, StoreError> {
    const SQL: &str =
        "SELECT from_state FROM alarm_change WHERE alarm = ?1 AND from_state <> to_state ORDER BY id DESC LIMIT 1";
    Ok(db.prepare_cached(SQL)?.query_row([alarm.id], |row| row.get(0)).optional()?)
}

fn mark(db: &Connection, alarm: &AlarmRow, is_right: bool, said: &Said<'_>) -> Result<Acted, StoreError> {
    const SQL: &str = "UPDATE alarm SET marked = ?2 WHERE id = ?1";
    let state = alarm.state;
    if alarm.is_right == Some(is_right) {
        return Ok(Acted { state, is_new: false });
    }
    let word = if is_right { "right" } else { "false" };
    db.prepare_cached(SQL)?.execute((alarm.id, word))?;
    note_word(db, alarm.id, (state, state), &Said { why: Some(&format!("marked as {word}")), ..*said })?;
    Ok(Acted { state, is_new: true })
}
