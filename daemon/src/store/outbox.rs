//! The outbox: notices of alarms on their way out. They stand in the table from the commit of their alarm on, or in
//! memory while the disk takes nothing; a [`Notice`] can only be read from here, so what was never handed to the record
//! is never sent. Owns what a notice says and its key, which is the same in memory and in the table; which channel sends
//! it when is `message`'s.

use super::read::word;
use super::{AlarmRow, StoreError};
use crate::alarm::{AlarmEffect, Priority, Tuning};
use crate::entry::{PrinterName, ToolNumber};
use crate::stamp;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::SAFETY_WORDS;
use rusqlite::{Connection, OptionalExtension, Row};
use serde::Deserialize;
use std::sync::Arc;

/// A notice on its way out.
#[derive(Clone, Debug, PartialEq)]
pub struct Notice {
    key: Arc<str>,
    body: Arc<str>,
    at: Timestamp,
    priority: Priority,
    subject: Arc<str>,
    is_raise: bool,
}

/// What is read of a notice's body to tell alarms apart.
#[derive(Deserialize)]
struct Told<'a> {
    alarm: &'a str,
    #[serde(default)]
    printer: Option<String>,
    #[serde(default)]
    tool: Option<usize>,
    rule: String,
}

impl Notice {
    /// The notice of an alarm's change, by the word of the record that it is of.
    pub(super) fn of(record: &str, printer: Option<&PrinterName>, alarm: &AlarmEffect, priority: Priority) -> Self {
        let key = format!("{record}-{}", key(printer, alarm));
        let body = body(printer, alarm, priority, &key).to_string();
        Self::read(key, body, alarm.at(), priority)
    }

    /// A notice as it stands in the table.
    pub(crate) fn read(key: String, body: String, at: Timestamp, priority: Priority) -> Self {
        let (subject, is_raise) = match serde_json::from_str::<Told<'_>>(&body) {
            Ok(Told { alarm, printer, tool, rule }) => {
                let tool = tool.map_or_else(String::new, |tool| tool.to_string());
                (format!("{}\n{tool}\n{rule}", printer.unwrap_or_default()).into(), alarm == "raised")
            }
            // One of an early record, which said nothing of these: it is like no other.
            Err(_) => (Arc::from(key.as_str()), true),
        };
        Self { key: key.into(), body: body.into(), at, priority, subject, is_raise }
    }

    /// From columns `key, body, at_ms, priority`.
    pub(super) fn from_row(row: &Row<'_>) -> rusqlite::Result<Self> {
        let priority = word(Priority::of_word(row.get_ref(3)?.as_str()?), "priority")?;
        Ok(Self::read(row.get(0)?, row.get(1)?, Timestamp::from_ms(row.get(2)?), priority))
    }

    /// Identifies it for ever: the receiver sees the same key when it is delivered twice.
    #[must_use]
    pub fn key(&self) -> &str {
        &self.key
    }

    /// The JSON body.
    #[must_use]
    pub fn body(&self) -> &str {
        &self.body
    }

    /// When the alarm was raised, or returned.
    #[must_use]
    pub fn at(&self) -> Timestamp {
        self.at
    }

    /// How soon a person has to act.
    #[must_use]
    pub fn priority(&self) -> Priority {
        self.priority
    }

    /// What it is about: the same for every notice of one rule on one tool or printer.
    #[must_use]
    pub fn subject(&self) -> &str {
        &self.subject
    }

    /// Whether the alarm comes; else it goes.
    #[must_use]
    pub fn is_raise(&self) -> bool {
        self.is_raise
    }
}

/// The word that tells this record from any other.
pub(super) fn identity(db: &Connection) -> Result<String, StoreError> {
    Ok(db.query_row("SELECT word FROM identity", [], |row| row.get(0))?)
}

/// Puts an alarm's notice into the table, where the alarm is already.
pub(super) fn put(db: &Connection, printer: Option<&PrinterName>, alarm: &AlarmEffect) -> Result<(), StoreError> {
    let priority = match alarm {
        AlarmEffect::Raised { priority, .. } => *priority,
        AlarmEffect::Returned { .. } => priority_of(db, printer, alarm)?,
    };
    insert(db, &Notice::of(&identity(db)?, printer, alarm, priority))
}

fn insert(db: &Connection, notice: &Notice) -> Result<(), StoreError> {
    const SQL: &str =
        "INSERT INTO outbox (key, body, at_ms, priority) VALUES (?1, ?2, ?3, ?4) ON CONFLICT (key) DO NOTHING";
    db.prepare_cached(SQL)?.execute((notice.key(), notice.body(), notice.at.as_ms(), notice.priority.word()))?;
    Ok(())
}

/// Puts the notice into the table that an alarm which nobody was to hear of stands, now that this is over.
pub(super) fn put_again(db: &Connection, alarm: &AlarmRow, at: Timestamp) -> Result<(), StoreError> {
    let raised = AlarmEffect::Raised {
        subject: alarm.subject,
        at: alarm.raised,
        priority: alarm.priority,
        suppressed: None,
        cause: alarm.cause.clone(),
        consequence: alarm.consequence.clone(),
        action: alarm.action.clone(),
    };
    let printer = alarm.printer.as_ref();
    let key = format!("{}-{}-again-{}", identity(db)?, key(printer, &raised), at.as_ms());
    let mut body = body(printer, &raised, alarm.priority, &key);
    body["raised"] = stamp::write(alarm.raised).into();
    body["at"] = stamp::write(at).into();
    body["was"] = alarm.state.word().into();
    insert(db, &Notice::read(key, body.to_string(), at, alarm.priority))
}

/// How urgent an alarm of the table is; of one that is not there, its rule's usual priority.
pub(super) fn priority_of(
    db: &Connection,
    printer: Option<&PrinterName>,
    alarm: &AlarmEffect,
) -> Result<Priority, StoreError> {
    const SQL: &str = "SELECT priority FROM alarm WHERE ifnull(printer, -1) = ?1 AND ifnull(tool, -1) = ?2
        AND rule = ?3 AND raised_ms = ?4";
    let (subject, raised) = alarm.key();
    let printer = printer_id(db, printer)?.unwrap_or(-1);
    let key = (printer, subject.tool.map_or(-1, number), subject.rule.word(), raised.as_ms());
    let read = |row: &Row<'_>| word(Priority::of_word(row.get_ref(0)?.as_str()?), "priority");
    let found = db.prepare_cached(SQL)?.query_row(key, read).optional()?;
    Ok(found.unwrap_or_else(|| Tuning::usual(subject.rule).priority))
}

fn printer_id(db: &Connection, printer: Option<&PrinterName>) -> Result<Option<i64>, StoreError> {
    const SQL: &str = "SELECT id FROM printer WHERE name = ?1";
    let Some(name) = printer else { return Ok(None) };
    Ok(db.prepare_cached(SQL)?.query_row([name.as_str()], |row| row.get(0)).optional()?)
}

fn number(tool: ToolNumber) -> i64 {
    // A tool's number is below 16.
    i64::try_from(tool.idx()).unwrap_or(i64::MAX)
}

/// What identifies a notice within its record: whose alarm, which, when it was raised, and whether it comes or goes.
fn key(printer: Option<&PrinterName>, alarm: &AlarmEffect) -> String {
    let (subject, raised) = alarm.key();
    let whose = printer.map_or_else(|| "record".to_owned(), |printer| header_safe(printer.as_str()) + ".");
    let tool = subject.tool.map_or_else(String::new, |tool| tool.to_string());
    let way = if alarm.is_raise() { "raised" } else { "returned" };
    format!("{whose}{tool}-{}-{}-{way}", subject.rule.word(), raised.as_ms())
}

/// A name as a header may carry it: what is no letter, digit or underscore of ASCII stands as its bytes, `%` and hex.
fn header_safe(name: &str) -> String {
    let is_plain = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_';
    let safe = |byte: u8| if is_plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02x}") };
    name.bytes().map(safe).collect()
}

/// What is told of an alarm's change.
fn body(printer: Option<&PrinterName>, alarm: &AlarmEffect, priority: Priority, key: &str) -> serde_json::Value {
    let mut notice = match alarm {
        AlarmEffect::Raised { cause, consequence, action, .. } => serde_json::json!({
            "alarm": "raised", "cause": cause, "consequence": consequence, "action": action,
            "safety": SAFETY_WORDS,
        }),
        AlarmEffect::Returned { raised, .. } => {
            serde_json::json!({ "alarm": "returned", "raised": stamp::write(*raised) })
        }
    };
    let (subject, _) = alarm.key();
    notice["key"] = key.into();
    notice["priority"] = priority.word().into();
    notice["rule"] = subject.rule.word().into();
    notice["at"] = stamp::write(alarm.at()).into();
    if let Some(printer) = printer {
        notice["printer"] = printer.as_str().into();
    }
    if let Some(tool) = subject.tool {
        notice["tool"] = tool.idx().into();
    }
    notice
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::alarm::{Rule, Subject};

    #[test]
    fn a_key_tells_every_change_of_every_alarm_apart_and_fits_a_header() {
        let at = Timestamp::from_ms(1_772_438_400_000);
        let mut keys = std::collections::BTreeSet::new();
        let names = ["bench", "bench.T0", "bénch", "b%c3", "record", "a-b"].map(|name| PrinterName::new(name).unwrap());
        for printer in names.iter().map(Some).chain([None]) {
            for tool in [None, Some(ToolNumber::FIRST)] {
                let subject = Subject { rule: Rule::IdleHot, tool };
                let gone = |at| AlarmEffect::Returned { subject, raised: at, at, is_superseded: false };
                let [cause, consequence, action] = ["", "", ""].map(str::to_owned);
                for alarm in [
                    AlarmEffect::Raised {
                        subject,
                        at,
                        priority: Priority::Low,
                        suppressed: None,
                        cause,
                        consequence,
                        action,
                    },
                    gone(at),
                    gone(Timestamp::from_ms(at.as_ms() + 1)),
                ] {
                    let notice = Notice::of("0123456789abcdef", printer, &alarm, Priority::Low);
                    assert!(notice.key().bytes().all(|byte| byte.is_ascii_graphic()), "{}", notice.key());
                    assert!(keys.insert(notice.key().to_owned()), "twice: {}", notice.key());
                }
            }
        }
        assert_eq!(keys.len(), 7 * 2 * 3);
    }
}
