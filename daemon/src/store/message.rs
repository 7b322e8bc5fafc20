//! Messages in the table. Owns making one, which is there before it is sent and says the same at each try, and how far it
//! has got; what waits for a channel is `waits`', when a notice is done with `settle`'s, and when a message is made
//! `notify::compose`'s.

mod settle;
mod waits;

use super::StoreError;
use super::outbox::Notice;
use crate::notify::{Kind, Message};
use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine};
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior};
use settle::{let_go, settle};
use std::sync::Arc;

pub(super) use settle::settle_all;
use waits::add_untold;
pub(super) use waits::outbox;

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
    /// When its last message was made that overtook no other, and of how many notices.
    pub last: Option<(Timestamp, usize)>,
    /// When those of the last half hour were made that overtook others.
    pub ahead: Vec<Timestamp>,
}

/// What a channel has to do.
#[derive(Clone, Debug, Default)]
pub struct Outbox {
    /// The message that it is at.
    pub underway: Option<Underway>,
    /// Notices of which it has made no message, in order: of each priority the first, more than one message takes.
    pub pending: Vec<Notice>,
    /// How many there are of them in all.
    pub n_pending: usize,
    /// The row of the table up to which nothing waits for it.
    pub done_to: i64,
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
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    skip(&step, carrier, draft.skipped.iter().map(Notice::key), now)?;
    let made = match &draft.message {
        Some((kind, notices)) => {
            let n_dropped = take_untold(&step, carrier)?;
            let message = Message { key: key(notices), kind: *kind, made: now, n_dropped, notices: notices.clone() };
            let underway = Underway { message, attempts: 0, due: now };
            if write(&step, carrier, &underway, None)?.is_none() {
                add_untold(&step, carrier, usize::try_from(n_dropped).unwrap_or(usize::MAX))?;
            }
            Some(underway)
        }
        None => None,
    };
    step.commit()?;
    Ok(made)
}

/// How many were dropped of which no message has told; the next one does.
fn take_untold(db: &Connection, carrier: &Carrier) -> Result<u32, StoreError> {
    const SQL: &str = "DELETE FROM untold WHERE channel = ?1 RETURNING n";
    let taken = db.prepare_cached(SQL)?.query_row([&carrier.channel], |row| row.get::<_, i64>(0)).optional()?;
    Ok(taken.map_or(0, |n| u32::try_from(n).unwrap_or(u32::MAX)))
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
    const PUT: &str = "INSERT INTO message (channel, key, kind, made_ms, attempts, next_ms, delivered_ms, n_dropped)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT (channel, key) DO UPDATE
        SET attempts = excluded.attempts, next_ms = excluded.next_ms, delivered_ms = excluded.delivered_ms RETURNING id";
    const CARRY: &str = "INSERT INTO delivery (channel, notice, message) SELECT ?1, id, ?2 FROM outbox WHERE key = ?3
        ON CONFLICT DO NOTHING";
    let Underway { message, attempts, due } = underway;
    let (channel, delivered) = (&carrier.channel, delivered.map(Timestamp::as_ms));
    if delivered.is_none() && db.prepare_cached(OTHER)?.query_row((channel, &message.key), |row| row.get(0))? {
        return Ok(None);
    }
    let Message { key, kind, made, n_dropped, .. } = message;
    let row = (channel, key, kind.word(), made.as_ms(), attempts, due.as_ms(), delivered, n_dropped);
    let id: i64 = db.prepare_cached(PUT)?.query_row(row, |row| row.get(0))?;
    for notice in &message.notices {
        db.prepare_cached(CARRY)?.execute((channel, id, notice.key()))?;
    }
    Ok(Some(id))
}

/// Takes a message back that has not arrived: its notices wait again, and those that were dropped are to be told of.
pub(super) fn unmake(db: &mut Connection, carrier: &Carrier, key: &str) -> Result<(), StoreError> {
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    unmake_within(&step, carrier, key)?;
    step.commit()?;
    Ok(())
}

pub(super) fn unmake_within(db: &Connection, carrier: &Carrier, key: &str) -> Result<(), StoreError> {
    const FIND: &str = "SELECT id, n_dropped FROM message WHERE channel = ?1 AND key = ?2 AND delivered_ms IS NULL";
    let found = db.prepare_cached(FIND)?.query_row((&carrier.channel, key), |row| Ok((row.get(0)?, row.get(1)?)));
    let Some((id, n_dropped)) = found.optional()? else { return Ok(()) };
    let (id, n_dropped): (i64, i64) = (id, n_dropped);
    db.prepare_cached("DELETE FROM delivery WHERE message = ?1")?.execute([id])?;
    db.prepare_cached("DELETE FROM message WHERE id = ?1")?.execute([id])?;
    add_untold(db, carrier, usize::try_from(n_dropped).unwrap_or(0))
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

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
