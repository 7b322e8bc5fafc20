//! What waits for a channel, by the table: its message under way, notices of which it has made none, what it sent lately.
//! Owns how many may wait.

use super::settle::{let_go, settle};
use super::{Carrier, Outbox, Past, Sent, Underway};
use crate::alarm::Priority;
use crate::notify::{Kind, Message, TOGETHER_MAX};
use crate::store::StoreError;
use crate::store::outbox::Notice;
use crate::store::read::word;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior};

/// Notices that may wait for one channel: two hours of alarms at the 10,000 an hour of a farm gone wild, 15 MB. Beyond it
/// the oldest of the lowest priority go, and the channel's next message says how many.
pub(in crate::store) const WAITING_MAX: usize = 20_000;
/// What was sent before is no longer lately.
const LATELY: Seconds = Seconds::minutes(30.0);
/// Notices that are looked back over for that. More in half an hour is a flood anyway.
const LATELY_MAX: i64 = 1000;

/// What a channel has to do, by the table; beyond the bound of what may wait, notices are dropped first. Up to the row
/// `done_to` nothing waits for it, and so many as `n_known` of what waits here are known elsewhere to be done with.
pub(in crate::store) fn outbox(
    db: &mut Connection,
    carrier: &Carrier,
    done_to: i64,
    n_known: usize,
    now: Timestamp,
) -> Result<Outbox, StoreError> {
    const NEWEST: &str = "SELECT ifnull(max(id), 0) FROM outbox";
    let newest: i64 = db.prepare_cached(NEWEST)?.query_row([], |row| row.get(0))?;
    let (mut n_pending, first) = count(db, carrier, done_to)?;
    if n_pending > WAITING_MAX {
        match drop_beyond(db, carrier, done_to, n_pending - WAITING_MAX, now) {
            Ok(n_dropped) => n_pending -= n_dropped,
            // A full disk keeps nothing in.
            Err(error) if error.is_transient() => {}
            Err(error) => return Err(error),
        }
    }
    let pending = pending(db, carrier, done_to, n_known)?;
    let (underway, sent) = (underway(db, carrier)?, sent(db, carrier, now)?);
    Ok(Outbox { underway, pending, n_pending, done_to: first.map_or(newest, |first| first - 1), sent })
}

/// How many wait, and the first of them.
fn count(db: &Connection, carrier: &Carrier, done_to: i64) -> Result<(usize, Option<i64>), StoreError> {
    const SQL: &str = "SELECT count(*), min(id) FROM outbox WHERE settled_ms IS NULL AND priority = ?3 AND id > ?2
        AND NOT EXISTS (SELECT 1 FROM delivery WHERE channel = ?1 AND notice = outbox.id)";
    let (mut n_pending, mut first) = (0, None);
    for priority in Priority::ALL {
        let (n, least): (i64, Option<i64>) = db
            .prepare_cached(SQL)?
            .query_row((&carrier.channel, done_to, priority.word()), |row| Ok((row.get(0)?, row.get(1)?)))?;
        n_pending += usize::try_from(n).unwrap_or(0);
        first = [first, least].into_iter().flatten().min();
    }
    Ok((n_pending, first))
}

/// The first of each priority, in order: more than go into one message, whatever quiet hours hold back.
fn pending(db: &Connection, carrier: &Carrier, done_to: i64, n_known: usize) -> Result<Vec<Notice>, StoreError> {
    const SQL: &str = "SELECT key, body, at_ms, priority, id FROM outbox
        WHERE settled_ms IS NULL AND priority = ?3 AND id > ?2
        AND NOT EXISTS (SELECT 1 FROM delivery WHERE channel = ?1 AND notice = outbox.id) ORDER BY id LIMIT ?4";
    let n_max = i64::try_from(n_known + TOGETHER_MAX + 1).unwrap_or(i64::MAX);
    let mut all: Vec<(i64, Notice)> = Vec::new();
    for priority in Priority::ALL {
        let mut statement = db.prepare_cached(SQL)?;
        let of = (&carrier.channel, done_to, priority.word(), n_max);
        let notices = statement.query_map(of, |row| Ok((row.get(4)?, Notice::from_row(row)?)))?;
        all.extend(notices.collect::<Result<Vec<_>, _>>()?);
    }
    all.sort_by_key(|(id, _)| *id);
    Ok(all.into_iter().map(|(_, notice)| notice).collect())
}

/// Lets so many go, the oldest of the lowest priority first: the channel is done with them, and its next message says how
/// many there were. Gives how many.
fn drop_beyond(
    db: &mut Connection,
    carrier: &Carrier,
    done_to: i64,
    n_over: usize,
    now: Timestamp,
) -> Result<usize, StoreError> {
    const DROP: &str = "INSERT INTO delivery (channel, notice, message) SELECT ?1, id, NULL FROM outbox
        WHERE settled_ms IS NULL AND priority = ?3 AND id > ?2
        AND NOT EXISTS (SELECT 1 FROM delivery WHERE channel = ?1 AND notice = outbox.id) ORDER BY id LIMIT ?4
        RETURNING notice";
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut dropped: Vec<i64> = Vec::new();
    for priority in Priority::ALL {
        let n_left = i64::try_from(n_over.saturating_sub(dropped.len())).unwrap_or(i64::MAX);
        let mut statement = step.prepare_cached(DROP)?;
        let of = (&carrier.channel, done_to, priority.word(), n_left);
        let notices = statement.query_map(of, |row| row.get::<_, i64>(0))?;
        dropped.extend(notices.collect::<Result<Vec<_>, _>>()?);
    }
    add_untold(&step, carrier, dropped.len())?;
    for notice in &dropped {
        settle(&step, carrier, "id = ?3", notice, now)?;
    }
    let_go(&step, now)?;
    step.commit()?;
    Ok(dropped.len())
}

/// So many more were dropped of which no message has told.
pub(super) fn add_untold(db: &Connection, carrier: &Carrier, n: usize) -> Result<(), StoreError> {
    const SQL: &str =
        "INSERT INTO untold (channel, n) VALUES (?1, ?2) ON CONFLICT (channel) DO UPDATE SET n = n + excluded.n";
    if n > 0 {
        db.prepare_cached(SQL)?.execute((&carrier.channel, i64::try_from(n).unwrap_or(i64::MAX)))?;
    }
    Ok(())
}

fn underway(db: &Connection, carrier: &Carrier) -> Result<Option<Underway>, StoreError> {
    const SQL: &str = "SELECT id, key, kind, made_ms, attempts, next_ms, n_dropped FROM message WHERE channel = ?1 AND delivered_ms IS NULL";
    const NOTICES: &str = "SELECT key, body, at_ms, priority FROM outbox JOIN delivery ON notice = id
        WHERE message = ?1 ORDER BY id";
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
    const LAST: &str = "SELECT made_ms, (SELECT count(*) FROM delivery WHERE message = message.id)
        FROM message WHERE channel = ?1 AND kind <> 'ahead' ORDER BY id DESC LIMIT 1";
    const AHEAD: &str = "SELECT made_ms FROM message WHERE channel = ?1 AND kind = 'ahead' AND made_ms > ?2";
    const NOTICES: &str = "SELECT outbox.key, body, at_ms, priority, made_ms FROM outbox
        JOIN delivery ON notice = outbox.id AND delivery.channel = ?1 JOIN message ON message.id = message
        WHERE outbox.id > (SELECT max(id) FROM outbox) - ?3 AND max(at_ms, made_ms) > ?2 ORDER BY outbox.id";
    let last = db.prepare_cached(LAST)?.query_row([&carrier.channel], |row| {
        Ok((Timestamp::from_ms(row.get(0)?), usize::try_from(row.get::<_, i64>(1)?).unwrap_or(0)))
    });
    let since = now + Seconds::new(-LATELY.get());
    let mut statement = db.prepare_cached(AHEAD)?;
    let made = |row: &Row<'_>| Ok(Timestamp::from_ms(row.get(0)?));
    let ahead = statement.query_map((&carrier.channel, since.as_ms()), made)?.collect::<Result<_, _>>()?;
    let mut statement = db.prepare_cached(NOTICES)?;
    let notices = statement.query_map((&carrier.channel, since.as_ms(), LATELY_MAX), |row| {
        Ok(Past::of(&Notice::from_row(row)?, Timestamp::from_ms(row.get(4)?)))
    })?;
    Ok(Sent { last: last.optional()?, ahead, notices: notices.collect::<Result<_, _>>()? })
}
