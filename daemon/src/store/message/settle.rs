//! When a notice is done with, and how long those that are done with are kept.

use super::Carrier;
use crate::store::StoreError;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rusqlite::Connection;

/// How long a notice is kept that no channel has anything left to do with.
const KEPT_FOR: Seconds = Seconds::minutes(30.0 * 24.0 * 60.0);
/// How many of those are kept at most.
const KEPT_MAX: i64 = 20_000;
/// As many of them go at a time, whenever something has arrived or was dropped: more than one message brings.
const LET_GO_MAX: i64 = 1000;
/// Notices that no channel has anything left to do with are done with; of all that wait, as the channels now are.
pub(in crate::store) fn settle_all(db: &Connection, carrier: &Carrier, at: Timestamp) -> Result<(), StoreError> {
    settle(db, carrier, "?3", 1, at)
}

pub(super) fn settle(
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
        AND (delivered_ms IS NOT NULL OR message IS NULL)))"
    );
    let all = serde_json::Value::from(carrier.all.to_vec()).to_string();
    db.prepare_cached(&sql)?.execute((at.as_ms(), all, of))?;
    Ok(())
}

/// Lets notices go that were done with long ago, or before many others, and their messages with them.
pub(super) fn let_go(db: &Connection, now: Timestamp) -> Result<(), StoreError> {
    const DUE: &str = "SELECT id FROM (SELECT id FROM outbox WHERE settled_ms < ?1 ORDER BY settled_ms LIMIT ?3)
        UNION SELECT id FROM (SELECT id FROM outbox WHERE settled_ms IS NOT NULL
        ORDER BY settled_ms DESC, id DESC LIMIT ?3 OFFSET ?2)";
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
