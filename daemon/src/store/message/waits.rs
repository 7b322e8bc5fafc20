//! What waits for a channel, by the table: its message under way, notices of which it has made none, what it sent lately.
//! Owns how many may wait.

use super::{Carrier, Outbox, Past, Sent, Underway};
use crate::notify::{Kind, Message};
use crate::store::StoreError;
use crate::store::outbox::Notice;
use crate::store::read::word;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rusqlite::{Connection, OptionalExtension};

/// Notices that may wait for one channel: two hours of alarms at the 10,000 an hour of a farm gone wild, 15 MB. Beyond it
/// the oldest of the lowest priority go, and the channel's next message says how many.
pub(in crate::store) const WAITING_MAX: usize = 20_000;
/// What was sent before is no longer lately.
const LATELY: Seconds = Seconds::minutes(30.0);
/// Notices that are looked back over for that. More in half an hour is a flood anyway.
const LATELY_MAX: i64 = 1000;

/// What a channel has to do, by the table; beyond the bound of what may wait, notices are dropped first.
pub(in crate::store) fn outbox(db: &mut Connection, carrier: &Carrier, now: Timestamp) -> Result<Outbox, StoreError> {
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
