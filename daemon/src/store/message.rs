//! What each channel has to send, by the table: notices that wait for it, the message under way, what it sent lately.
//! Owns making a message, which is there before it is sent and says the same at each try, when a notice is done with, how
//! many may wait, and how long those that are done with are kept. When a message is made is `notify::compose`'s.

use super::StoreError;
use super::outbox::Notice;
use super::read::word;
use crate::notify::{Kind, Message};
use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior};
use std::sync::Arc;

/// Notices that may wait for one channel: two hours of alarms at the 10,000 an hour of a farm gone wild, 15 MB. Beyond it
/// the oldest of the lowest priority go, and the channel's next message says how many.
pub(super) const WAITING_MAX: usize = 20_000;
/// How long a notice is kept that no channel has anything left to do with.
const KEPT_FOR: Seconds = Seconds::minutes(30.0 * 24.0 * 60.0);
/// How many of those are kept at most.
const KEPT_MAX: i64 = 20_000;
/// Rows that are looked at for letting them go, each time something has arrived: more than one message brings.
const LET_GO_MAX: i64 = 1000;
/// What was sent before is no longer lately.
const LATELY: Seconds = Seconds::minutes(30.0);
/// Notices that are looked back over for that. More in half an hour is a flood anyway.
const LATELY_MAX: i64 = 1000;

/// A channel, and all that there are: a notice is done with when each of them is.
#[derive(Clone, Debug)]
pub struct Carrier {
    /// The channel's name.
    pub channel: Arc<str>,
    /// The names of all channels.
    pub all: Arc<[String]>,
}

/// A message on its way, and how far it has got.
#[derive(Clone, Debug)]
pub struct Underway {
    /// What it says.
    pub message: Message,
    /// Tries so far.
    pub attempts: u32,
    /// When the next one is due.
    pub due: Timestamp,
}

/// A notice that has gone into a message lately.
#[derive(Clone, Debug)]
pub struct Past {
    /// As [`Notice::subject`].
    pub subject: Arc<str>,
    /// When the alarm was raised, or returned.
    pub at: Timestamp,
    /// Whether the alarm came.
    pub is_raise: bool,
    /// When its message was made.
    pub made: Timestamp,
}

/// What a channel sent lately.
#[derive(Clone, Debug, Default)]
pub struct Sent {
    /// The notices of the last half hour.
    pub notices: Vec<Past>,
    /// When its last message was made, and of how many notices.
    pub last: Option<(Timestamp, usize)>,
}

/// What a channel has to do.
#[derive(Clone, Debug, Default)]
pub struct Outbox {
    /// The message that it is at.
    pub underway: Option<Underway>,
    /// Notices of which it has made no message, in order.
    pub pending: Vec<Notice>,
    /// What it sent lately.
    pub sent: Sent,
}

/// What a channel does next.
#[derive(Clone, Debug, Default)]
pub struct Draft {
    /// The message to make.
    pub message: Option<(Kind, Vec<Notice>)>,
    /// What it does not carry.
    pub skipped: Vec<Notice>,
}

/// What a channel has to do, by the table; beyond the bound of what may wait, notices are dropped first.
pub(super) fn outbox(db: &mut Connection, carrier: &Carrier, now: Timestamp) -> Result<Outbox, StoreError> {
    let mut pending = pending(db, carrier)?;
    if pending.len() > WAITING_MAX && drop_beyond(db, carrier, pending.len())? > 0 {
        pending = self::pending(db, carrier)?;
    }
    Ok(Outbox { underway: underway(db, carrier)?, pending, sent: sent(db, carrier, now)? })
}

fn pending(db: &Connection, carrier: &Carrier) -> Result<Vec<Notice>, StoreError> {
    const SQL: &str = "SELECT key, body, at_ms, priority FROM outbox WHERE settled_ms IS NULL
        AND NOT EXISTS (SELECT 1 FROM delivery WHERE channel = ?1 AND notice = outbox.id) ORDER BY id";
    let mut statement = db.prepare_cached(SQL)?;
    let notices = statement.query_map([&carrier.channel], Notice::from_row)?;
    Ok(notices.collect::<Result<_, _>>()?)
}

/// Lets the oldest of the lowest priority go, down to the bound. Gives how many.
fn drop_beyond(db: &Connection, carrier: &Carrier, n_pending: usize) -> Result<usize, StoreError> {
    const SQL: &str = "INSERT INTO delivery (channel, notice, message, is_dropped) SELECT ?1, id, NULL, 1 FROM outbox
        WHERE settled_ms IS NULL AND NOT EXISTS (SELECT 1 FROM delivery WHERE channel = ?1 AND notice = outbox.id)
        ORDER BY CASE priority WHEN 'low' THEN 0 WHEN 'medium' THEN 1 ELSE 2 END, id LIMIT ?2";
    let n_over = i64::try_from(n_pending.saturating_sub(WAITING_MAX)).unwrap_or(i64::MAX);
    Ok(db.prepare_cached(SQL)?.execute((&carrier.channel, n_over))?)
}

fn underway(db: &Connection, carrier: &Carrier) -> Result<Option<Underway>, StoreError> {
    const SQL: &str = "SELECT id, key, kind, made_ms, attempts, next_ms,
        (SELECT count(*) FROM delivery WHERE message = message.id AND is_dropped = 1)
        FROM message WHERE channel = ?1 AND delivered_ms IS NULL";
    const NOTICES: &str = "SELECT key, body, at_ms, priority FROM outbox JOIN delivery ON notice = id
        WHERE message = ?1 AND is_dropped = 0 ORDER BY id";
    let found = db.prepare_cached(SQL)?.query_row([&carrier.channel], |row| {
        let kind = word(Kind::of_word(row.get_ref(2)?.as_str()?), "kind")?;
        let made = Timestamp::from_ms(row.get(3)?);
        let message = Message { key: row.get(1)?, kind, made, n_dropped: row.get(6)?, notices: Vec::new() };
        let due = Timestamp::from_ms(row.get(5)?);
        Ok((row.get::<_, i64>(0)?, Underway { message, attempts: row.get(4)?, due }))
    });
    let Some((id, mut underway)) = found.optional()? else { return Ok(None) };
    let mut statement = db.prepare_cached(NOTICES)?;
    let notices = statement.query_map([id], Notice::from_row)?;
    underway.message.notices = notices.collect::<Result<_, _>>()?;
    Ok(Some(underway))
}

fn sent(db: &Connection, carrier: &Carrier, now: Timestamp) -> Result<Sent, StoreError> {
    const LAST: &str = "SELECT made_ms, (SELECT count(*) FROM delivery WHERE message = message.id AND is_dropped = 0)
        FROM message WHERE channel = ?1 ORDER BY id DESC LIMIT 1";
    const NOTICES: &str = "SELECT outbox.key, body, at_ms, priority, made_ms FROM outbox
        JOIN delivery ON notice = outbox.id AND delivery.channel = ?1 JOIN message ON message.id = message
        WHERE outbox.id > (SELECT max(id) FROM outbox) - ?3 AND is_dropped = 0 AND max(at_ms, made_ms) > ?2 ORDER BY outbox.id";
    let last = db.prepare_cached(LAST)?.query_row([&carrier.channel], |row| {
        Ok((Timestamp::from_ms(row.get(0)?), usize::try_from(row.get::<_, i64>(1)?).unwrap_or(0)))
    });
    let mut statement = db.prepare_cached(NOTICES)?;
    let since = now + Seconds::new(-LATELY.get());
    let notices = statement.query_map((&carrier.channel, since.as_ms(), LATELY_MAX), |row| {
        Ok(Past::of(&Notice::from_row(row)?, Timestamp::from_ms(row.get(4)?)))
    })?;
    Ok(Sent { last: last.optional()?, notices: notices.collect::<Result<_, _>>()? })
}

impl Past {
    pub(super) fn of(notice: &Notice, made: Timestamp) -> Self {
        let subject = Arc::from(notice.subject());
        Self { subject, at: notice.at(), is_raise: notice.is_raise(), made }
    }
}

/// What a message of a single notice, or of several, is known by: made again of the same, it is the same.
pub(super) fn key(notices: &[Notice]) -> String {
    if let [notice] = notices {
        return notice.key().to_owned();
    }
    let mut of_all = ring::digest::Context::new(&ring::digest::SHA256);
    for notice in notices {
        of_all.update(notice.key().as_bytes());
        of_all.update(b"\n");
    }
    BASE64_URL_SAFE_NO_PAD.encode(of_all.finish())
}

/// Makes the message of a draft, and notes what is not carried, in one commit.
pub(super) fn make(
    db: &mut Connection,
    carrier: &Carrier,
    draft: &Draft,
    now: Timestamp,
) -> Result<Option<Underway>, StoreError> {
    const UNTOLD: &str = "UPDATE delivery SET message = ?2 WHERE channel = ?1 AND is_dropped = 1 AND message IS NULL";
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    skip(&step, carrier, draft.skipped.iter().map(Notice::key), now)?;
    let made = match &draft.message {
        Some((kind, notices)) => {
            let message = Message { key: key(notices), kind: *kind, made: now, n_dropped: 0, notices: notices.clone() };
            let mut underway = Underway { message, attempts: 0, due: now };
            if let Some(id) = write(&step, carrier, &underway, None)? {
                let n_dropped = step.prepare_cached(UNTOLD)?.execute((&carrier.channel, id))?;
                underway.message.n_dropped = u32::try_from(n_dropped).unwrap_or(u32::MAX);
            }
            Some(underway)
        }
        None => None,
    };
    step.commit()?;
    Ok(made)
}

/// Writes a message as it stands, made here or while the disk took nothing. Gives its row; `None` if the channel has
/// another one under way, so that this one's notices wait on.
pub(super) fn write(
    db: &Connection,
    carrier: &Carrier,
    underway: &Underway,
    delivered: Option<Timestamp>,
) -> Result<Option<i64>, StoreError> {
    const OTHER: &str =
        "SELECT EXISTS (SELECT 1 FROM message WHERE channel = ?1 AND key <> ?2 AND delivered_ms IS NULL)";
    const PUT: &str = "INSERT INTO message (channel, key, kind, made_ms, attempts, next_ms, delivered_ms)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT (channel, key) DO UPDATE
        SET attempts = excluded.attempts, next_ms = excluded.next_ms, delivered_ms = excluded.delivered_ms RETURNING id";
    const CARRY: &str = "INSERT INTO delivery (channel, notice, message) SELECT ?1, id, ?2 FROM outbox WHERE key = ?3
        ON CONFLICT DO NOTHING";
    let Underway { message, attempts, due } = underway;
    let (channel, delivered) = (&carrier.channel, delivered.map(Timestamp::as_ms));
    if delivered.is_none() && db.prepare_cached(OTHER)?.query_row((channel, &message.key), |row| row.get(0))? {
        return Ok(None);
    }
    let row = (channel, &message.key, message.kind.word(), message.made.as_ms(), attempts, due.as_ms(), delivered);
    let id: i64 = db.prepare_cached(PUT)?.query_row(row, |row| row.get(0))?;
    for notice in &message.notices {
        db.prepare_cached(CARRY)?.execute((channel, id, notice.key()))?;
    }
    Ok(Some(id))
}

/// Notes that a channel does not carry these.
pub(super) fn skip<'a>(
    db: &Connection,
    carrier: &Carrier,
    keys: impl IntoIterator<Item = &'a str>,
    at: Timestamp,
) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO delivery (channel, notice, message) SELECT ?1, id, NULL FROM outbox WHERE key = ?2
        ON CONFLICT DO NOTHING";
    for key in keys {
        db.prepare_cached(SQL)?.execute((&carrier.channel, key))?;
        settle(db, carrier, "key = ?3", key, at)?;
    }
    Ok(())
}

/// Notes how far a message has got; what has arrived may be the last that its notices waited for.
pub(super) fn note(
    db: &mut Connection,
    carrier: &Carrier,
    underway: &Underway,
    delivered: Option<Timestamp>,
) -> Result<(), StoreError> {
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    note_within(&step, carrier, underway, delivered)?;
    step.commit()?;
    Ok(())
}

pub(super) fn note_within(
    db: &Connection,
    carrier: &Carrier,
    underway: &Underway,
    delivered: Option<Timestamp>,
) -> Result<(), StoreError> {
    if let (Some(id), Some(at)) = (write(db, carrier, underway, delivered)?, delivered) {
        settle(db, carrier, "id IN (SELECT notice FROM delivery WHERE message = ?3)", id, at)?;
        let_go(db, at)?;
    }
    Ok(())
}

/// Notices that no channel has anything left to do with are done with; of all that wait, as the channels now are.
pub(super) fn settle_all(db: &Connection, carrier: &Carrier, at: Timestamp) -> Result<(), StoreError> {
    settle(db, carrier, "?3", 1, at)
}

fn settle(
    db: &Connection,
    carrier: &Carrier,
    which: &str,
    of: impl rusqlite::ToSql,
    at: Timestamp,
) -> Result<(), StoreError> {
    let sql = format!(
        "UPDATE outbox SET settled_ms = ?1 WHERE settled_ms IS NULL AND {which} AND NOT EXISTS (
        SELECT 1 FROM json_each(?2) AS channel WHERE NOT EXISTS (
        SELECT 1 FROM delivery LEFT JOIN message ON message.id = message
        WHERE notice = outbox.id AND delivery.channel = channel.value
        AND (delivered_ms IS NOT NULL OR message IS NULL AND is_dropped = 0)))"
    );
    let all = serde_json::Value::from(carrier.all.to_vec()).to_string();
    db.prepare_cached(&sql)?.execute((at.as_ms(), all, of))?;
    Ok(())
}

/// Lets notices go that were done with long ago, or before many others, and their messages with them.
fn let_go(db: &Connection, now: Timestamp) -> Result<(), StoreError> {
    const DUE: &str = "SELECT id FROM outbox WHERE id < (SELECT min(id) FROM outbox) + ?3
        AND settled_ms IS NOT NULL AND (settled_ms < ?1 OR id <= (SELECT max(id) FROM outbox) - ?2)";
    let before = now + Seconds::new(-KEPT_FOR.get());
    let mut statement = db.prepare_cached(DUE)?;
    let due = statement.query_map((before.as_ms(), KEPT_MAX, LET_GO_MAX), |row| row.get::<_, i64>(0))?;
    let due = due.collect::<Result<Vec<_>, _>>()?;
    for notice in due {
        const MESSAGES: &str = "SELECT message FROM delivery WHERE notice = ?1 AND message IS NOT NULL";
        const ALONE: &str =
            "DELETE FROM message WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM delivery WHERE message = ?1)";
        let mut messages = db.prepare_cached(MESSAGES)?;
        let messages = messages.query_map([notice], |row| row.get::<_, i64>(0))?.collect::<Result<Vec<_>, _>>()?;
        db.prepare_cached("DELETE FROM delivery WHERE notice = ?1")?.execute([notice])?;
        db.prepare_cached("DELETE FROM outbox WHERE id = ?1")?.execute([notice])?;
        for message in messages {
            db.prepare_cached(ALONE)?.execute([message])?;
        }
    }
    Ok(())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
