//! The outbox: notices of alarms on their way out. They stand in the table from the commit of their alarm on, or in
//! memory while the disk takes nothing; a [`Notice`] can only be read from here, so what was never handed to the record
//! is never sent. Owns what a notice says and its key, which is the same in memory and in the table.

use super::waiting::Waiting;
use super::writer::Writer;
use super::{AlarmRow, Store, StoreError};
use crate::alarm::AlarmEffect;
use crate::entry::PrinterName;
use crate::stamp;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::SAFETY_WORDS;
use rusqlite::Connection;
use std::sync::Arc;

/// A notice on its way out.
#[derive(Clone, Debug, PartialEq)]
pub struct Notice {
    key: String,
    body: String,
    fate: Fate,
}

/// What has become of a notice so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fate {
    pub(super) attempts: u32,
    /// When the next try is due.
    pub(super) due: Timestamp,
    pub(super) delivered: Option<Timestamp>,
}

impl Notice {
    /// The notice of an alarm's change, by the word of the record that it is of.
    pub(super) fn of(record: &str, printer: Option<&PrinterName>, alarm: &AlarmEffect) -> Self {
        let key = format!("{record}-{}", key(printer, alarm));
        let fate = Fate { attempts: 0, due: alarm.at(), delivered: None };
        Self { key, body: body(printer, alarm).to_string(), fate }
    }

    pub(super) fn with(self, fate: Fate) -> Self {
        Self { fate, ..self }
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

    /// Deliveries tried so far.
    #[must_use]
    pub fn attempts(&self) -> u32 {
        self.fate.attempts
    }

    /// When the next try is due.
    #[must_use]
    pub fn due(&self) -> Timestamp {
        self.fate.due
    }
}

impl Store {
    /// The oldest notice that waits; they leave in order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub async fn next_notice(&self) -> Result<Option<Notice>, StoreError> {
        let waiting = Arc::clone(&self.waiting);
        self.call_async(move |writer| match oldest(writer, &waiting) {
            Ok(Some(notice)) => Ok(Some(notice)),
            Ok(None) => Ok(waiting.next_notice()),
            // A record that can't even be read does not keep an alarm in.
            Err(error) if error.is_transient() => waiting.next_notice().map(Some).ok_or(error),
            Err(error) => Err(error),
        })
        .await
    }

    /// The notice has arrived.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass; the notice will be sent again then.
    pub async fn delivered(&self, notice: &Notice, at: Timestamp) -> Result<(), StoreError> {
        let attempts = notice.fate.attempts.saturating_add(1);
        self.settle(notice, Fate { attempts, due: notice.fate.due, delivered: Some(at) }).await
    }

    /// The notice did not arrive; the next try is at `next`.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass.
    pub async fn postponed(&self, notice: &Notice, next: Timestamp) -> Result<(), StoreError> {
        let attempts = notice.fate.attempts.saturating_add(1);
        self.settle(notice, Fate { attempts, due: next, delivered: None }).await
    }

    async fn settle(&self, notice: &Notice, fate: Fate) -> Result<(), StoreError> {
        let (waiting, key) = (Arc::clone(&self.waiting), notice.key.clone());
        self.call_async(move |writer| waiting.settle(writer, key, fate)).await
    }
}

/// The oldest notice of the table that has not arrived, by what is known in memory too.
fn oldest(writer: &Writer, waiting: &Waiting) -> Result<Option<Notice>, StoreError> {
    const SQL: &str = "SELECT key, body, at_ms FROM outbox WHERE settled_ms IS NULL ORDER BY id";
    let mut statement = writer.db.prepare_cached(SQL)?;
    let rows = statement.query_map([], |row| {
        let fate = Fate { attempts: 0, due: Timestamp::from_ms(row.get(2)?), delivered: None };
        Ok(Notice { key: row.get(0)?, body: row.get(1)?, fate })
    })?;
    for notice in rows {
        let notice = notice?;
        match waiting.fate(&notice.key) {
            Some(fate) if fate.delivered.is_some() => {}
            Some(fate) => return Ok(Some(notice.with(fate))),
            None => return Ok(Some(notice)),
        }
    }
    Ok(None)
}

/// The word that tells this record from any other.
pub(super) fn identity(db: &Connection) -> Result<String, StoreError> {
    Ok(db.query_row("SELECT word FROM identity", [], |row| row.get(0))?)
}

/// Puts an alarm's notice into the table.
pub(super) fn put(db: &Connection, printer: Option<&PrinterName>, alarm: &AlarmEffect) -> Result<(), StoreError> {
    const SQL: &str =
        "INSERT INTO outbox (key, body, at_ms, priority) SELECT word || '-' || ?1, ?2, ?3, 'high' FROM identity
        WHERE true ON CONFLICT (key) DO NOTHING";
    let row = (key(printer, alarm), body(printer, alarm).to_string(), alarm.at().as_ms());
    db.prepare_cached(SQL)?.execute(row)?;
    Ok(())
}

/// Puts the notice into the table that an alarm which nobody was to hear of stands, now that this is over.
pub(super) fn put_again(db: &Connection, alarm: &AlarmRow, at: Timestamp) -> Result<(), StoreError> {
    const SQL: &str =
        "INSERT INTO outbox (key, body, at_ms, priority) SELECT word || '-' || ?1, ?2, ?3, ?4 FROM identity
        WHERE true ON CONFLICT (key) DO NOTHING";
    let raised = AlarmEffect::Raised {
        subject: alarm.subject,
        at: alarm.raised,
        priority: alarm.priority,
        is_suppressed: false,
        cause: alarm.cause.clone(),
        consequence: alarm.consequence.clone(),
        action: alarm.action.clone(),
    };
    let printer = alarm.printer.as_ref();
    let key = format!("{}-again-{}", key(printer, &raised), at.as_ms());
    let mut body = body(printer, &raised);
    body["raised"] = stamp::write(alarm.raised).into();
    body["at"] = stamp::write(at).into();
    body["was"] = alarm.state.word().into();
    db.prepare_cached(SQL)?.execute((key, body.to_string(), at.as_ms(), alarm.priority.word()))?;
    Ok(())
}

/// Writes what has become of notices.
pub(super) fn write_fates<'a>(
    db: &Connection,
    fates: impl IntoIterator<Item = (&'a String, &'a Fate)>,
) -> Result<(), StoreError> {
    const SQL: &str = "UPDATE outbox SET settled_ms = ?2 WHERE key = ?1";
    for (key, fate) in fates {
        let delivered = fate.delivered.map(Timestamp::as_ms);
        db.prepare_cached(SQL)?.execute((key, delivered))?;
    }
    Ok(())
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
fn body(printer: Option<&PrinterName>, alarm: &AlarmEffect) -> serde_json::Value {
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
    use crate::entry::ToolNumber;

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
                        priority: crate::alarm::Priority::Low,
                        is_suppressed: false,
                        cause,
                        consequence,
                        action,
                    },
                    gone(at),
                    gone(Timestamp::from_ms(at.as_ms() + 1)),
                ] {
                    let notice = Notice::of("0123456789abcdef", printer, &alarm);
                    assert!(notice.key().bytes().all(|byte| byte.is_ascii_graphic()), "{}", notice.key());
                    assert!(keys.insert(notice.key().to_owned()), "twice: {}", notice.key());
                }
            }
        }
        assert_eq!(keys.len(), 7 * 2 * 3);
    }

    /// A receiver may have seen it before the program was renewed.
    #[tokio::test]
    async fn a_notice_of_before_keys_were_words_keeps_its_number() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("third.db");
        let db = Connection::open(&path).unwrap();
        for schema in [include_str!("schema.sql"), include_str!("schema_2.sql"), include_str!("schema_3.sql")] {
            db.execute_batch(schema).unwrap();
        }
        db.execute_batch("PRAGMA user_version = 3; INSERT INTO outbox VALUES (17, '{}', 2, 5000, NULL)").unwrap();
        drop(db);
        let store = Store::open(&path).unwrap();
        let notice = store.next_notice().await.unwrap().unwrap();
        assert_eq!((notice.key(), notice.attempts(), notice.due()), ("17", 2, Timestamp::from_ms(5000)));
        store.delivered(&notice, Timestamp::from_ms(6000)).await.unwrap();
        assert_eq!(store.next_notice().await.unwrap(), None);
    }
}
