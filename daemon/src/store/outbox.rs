//! The outbox: notices that were committed with their alarms and wait for delivery. A [`Notice`] can only be read
//! from here, so what was never committed is never sent.

use super::{Store, StoreError};
use dwell_analysis::time::Timestamp;
use rusqlite::OptionalExtension;

/// A notice on its way out.
#[derive(Clone, Debug)]
pub struct Notice {
    id: i64,
    body: String,
    attempts: u32,
    due: Timestamp,
}

impl Notice {
    /// Identifies it for ever: the receiver sees the same key when it is delivered twice.
    #[must_use]
    pub fn key(&self) -> i64 {
        self.id
    }

    /// The JSON body.
    #[must_use]
    pub fn body(&self) -> &str {
        &self.body
    }

    /// Deliveries tried so far.
    #[must_use]
    pub fn attempts(&self) -> u32 {
        self.attempts
    }

    /// When the next try is due.
    #[must_use]
    pub fn due(&self) -> Timestamp {
        self.due
    }
}

impl Store {
    /// The oldest notice that waits; they leave in order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub async fn next_notice(&self) -> Result<Option<Notice>, StoreError> {
        const SQL: &str =
            "SELECT id, body, attempts, next_ms FROM outbox WHERE delivered_ms IS NULL ORDER BY id LIMIT 1";
        self.call_async(|writer| {
            let notice = writer.db.prepare_cached(SQL)?.query_row([], |row| {
                let due = Timestamp::from_ms(row.get(3)?);
                Ok(Notice { id: row.get(0)?, body: row.get(1)?, attempts: row.get(2)?, due })
            });
            Ok(notice.optional()?)
        })
        .await
    }

    /// The notice has arrived.
    ///
    /// # Errors
    /// If the record can't be written; the notice will be sent again then.
    pub async fn delivered(&self, notice: &Notice, at: Timestamp) -> Result<(), StoreError> {
        const SQL: &str = "UPDATE outbox SET delivered_ms = ?2, attempts = attempts + 1 WHERE id = ?1";
        let row = (notice.id, at.as_ms());
        self.call_async(move |writer| Ok(writer.db.execute(SQL, row).map(|_| ())?)).await
    }

    /// The notice did not arrive; the next try is at `next`.
    ///
    /// # Errors
    /// If the record can't be written.
    pub async fn postponed(&self, notice: &Notice, next: Timestamp) -> Result<(), StoreError> {
        const SQL: &str = "UPDATE outbox SET next_ms = ?2, attempts = attempts + 1 WHERE id = ?1";
        let row = (notice.id, next.as_ms());
        self.call_async(move |writer| Ok(writer.db.execute(SQL, row).map(|_| ())?)).await
    }
}
