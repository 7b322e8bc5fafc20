//! Ways to reach people that have not delivered for several tries, by the table of messages.

use super::{Reader, StoreError};
use dwell_analysis::time::Timestamp;

/// Tries after which a way counts as stuck: one or two failures pass by themselves.
const TRIES: u32 = 3;

/// A way that does not deliver.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StuckRow {
    /// Its name.
    pub channel: String,
    /// Tries of the message under way so far.
    pub n_tries: u32,
    /// When the next one is due.
    pub next: Timestamp,
    /// When the oldest change that waits came about.
    pub since: Timestamp,
    /// How many changes wait: those of the message under way.
    pub n_in_message: u32,
    /// And those after it, whether the way carries them or not: that is looked at when their turn comes.
    pub n_behind: u32,
}

impl Reader {
    /// The ways whose message under way has been tried in vain at least three times, by name. One that is no longer
    /// configured counts until all others have delivered what it has not.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn stuck(&self) -> Result<Vec<StuckRow>, StoreError> {
        const SQL: &str = "SELECT channel, attempts, next_ms, min(at_ms), count(*),
            (SELECT count(*) FROM outbox AS later WHERE later.settled_ms IS NULL AND NOT EXISTS (
                SELECT 1 FROM delivery AS done WHERE done.channel = way.channel AND done.notice = later.id))
            FROM (SELECT message.id, message.channel, attempts, next_ms, at_ms FROM message
                JOIN delivery ON delivery.message = message.id
                JOIN outbox ON outbox.id = notice AND settled_ms IS NULL
                WHERE delivered_ms IS NULL AND attempts >= ?1) AS way
            GROUP BY id ORDER BY channel";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([TRIES], |row| {
            Ok(StuckRow {
                channel: row.get(0)?,
                n_tries: row.get(1)?,
                next: Timestamp::from_ms(row.get(2)?),
                since: Timestamp::from_ms(row.get(3)?),
                n_in_message: row.get(4)?,
                n_behind: row.get(5)?,
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}
