//! What channels ask of the outbox, whether the disk takes anything or not: what there is to do, a message made, how far
//! it has got. Owns that an alarm reaches people from memory too; what stands in the table is `message`'s.

use super::carried::Carried;
use super::message::{self, Carrier, Draft, Outbox, Underway};
use super::outbox::priority_of;
use super::waiting::Waiting;
use super::writer::Writer;
use super::{Store, StoreError};
use crate::alarm::Tuning;
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, TransactionBehavior};
use std::sync::Arc;

impl Store {
    /// Moves with every notice, this process's and others': whoever has looked need not look again before it has.
    ///
    /// # Errors
    /// If the store is gone. A record that can't be read moves with what waits in memory alone.
    pub async fn outbox_mark(&self) -> Result<(i64, u64), StoreError> {
        const SQL: &str = "SELECT ifnull(max(id), 0) FROM outbox";
        let waiting = Arc::clone(&self.waiting);
        self.call_async(move |writer| {
            let newest = match writer.db.prepare_cached(SQL).and_then(|mut sql| sql.query_row([], |row| row.get(0))) {
                Ok(newest) => newest,
                Err(error) => transient(StoreError::from(error)).map(|()| 0)?,
            };
            Ok((newest, waiting.held().backlog.n_told()))
        })
        .await
    }

    /// What a channel has to do, that has nothing to do with rows of the table up to `done_to`.
    ///
    /// # Errors
    /// If the record can't be read, for a reason that does not pass.
    pub async fn outbox(&self, carrier: &Carrier, done_to: i64, now: Timestamp) -> Result<Outbox, StoreError> {
        let (waiting, carrier) = (Arc::clone(&self.waiting), carrier.clone());
        self.call_async(move |writer| {
            let n_known = waiting.held().carried.n_known(&carrier);
            let table = match message::outbox(&mut writer.db, &carrier, done_to, n_known, now) {
                Ok(table) => table,
                // A record that can't even be read does not keep an alarm in.
                Err(error) => transient(error).map(|()| Outbox { done_to, ..Outbox::default() })?,
            };
            Ok(waiting.outbox(writer, &carrier, table))
        })
        .await
    }

    /// Makes a channel's next message, so that it is there before it is sent, and notes what is not carried.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass.
    pub async fn make_message(
        &self,
        carrier: &Carrier,
        draft: Draft,
        now: Timestamp,
    ) -> Result<Option<Underway>, StoreError> {
        let (waiting, carrier) = (Arc::clone(&self.waiting), carrier.clone());
        self.call_async(move |writer| {
            waiting.on_disk_or(
                writer,
                |db| message::make(db, &carrier, &draft, now),
                |carried| carried.make(&carrier, &draft, now),
            )
        })
        .await
    }

    /// The message has arrived.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass; the message will be sent again then.
    pub async fn delivered(&self, carrier: &Carrier, mut underway: Underway, at: Timestamp) -> Result<(), StoreError> {
        underway.attempts = underway.attempts.saturating_add(1);
        self.note_message(carrier, underway, Some(at)).await
    }

    /// The message did not arrive; the next try is at `next`.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass.
    pub async fn postponed(
        &self,
        carrier: &Carrier,
        mut underway: Underway,
        next: Timestamp,
    ) -> Result<(), StoreError> {
        (underway.attempts, underway.due) = (underway.attempts.saturating_add(1), next);
        self.note_message(carrier, underway, None).await
    }

    /// Takes a message back that has not arrived: its notices wait again.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass.
    pub async fn unmake_message(&self, carrier: &Carrier, underway: Underway) -> Result<(), StoreError> {
        let (waiting, carrier) = (Arc::clone(&self.waiting), carrier.clone());
        self.call_async(move |writer| {
            waiting.on_disk_or(
                writer,
                |db| message::unmake(db, &carrier, &underway.message.key),
                |carried| carried.unmake(&carrier, &underway),
            )
        })
        .await
    }

    async fn note_message(
        &self,
        carrier: &Carrier,
        underway: Underway,
        delivered: Option<Timestamp>,
    ) -> Result<(), StoreError> {
        let (waiting, carrier) = (Arc::clone(&self.waiting), carrier.clone());
        self.call_async(move |writer| {
            waiting.on_disk_or(
                writer,
                |db| message::note(db, &carrier, &underway, delivered),
                |carried| carried.note(&carrier, &underway, delivered),
            )
        })
        .await
    }

    /// Looks through all notices that wait for those that no channel has anything left to do with, as when one was taken
    /// out of the configuration.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass.
    pub async fn settle_notices(&self, carrier: &Carrier, now: Timestamp) -> Result<(), StoreError> {
        let carrier = carrier.clone();
        let settled = self.call_async(move |writer| message::settle_all(&writer.db, &carrier, now)).await;
        settled.or_else(transient)
    }
}

impl Waiting {
    fn outbox(&self, writer: &Writer, carrier: &Carrier, table: Outbox) -> Outbox {
        let mut held = self.held();
        held.backlog.compose(&self.record, |printer, alarm| {
            // A record that can't even be read keeps no alarm in.
            let found = priority_of(&writer.db, printer, alarm);
            found.unwrap_or_else(|_| Tuning::usual(alarm.key().0.rule).priority)
        });
        held.carried.lay_over(carrier, table, held.backlog.notices())
    }

    /// Does it on the disk, or in memory while that takes nothing.
    fn on_disk_or<T>(
        &self,
        writer: &mut Writer,
        on_disk: impl FnOnce(&mut Connection) -> Result<T, StoreError>,
        in_memory: impl FnOnce(&mut Carried) -> T,
    ) -> Result<T, StoreError> {
        if self.held().trouble.is_none() {
            match on_disk(&mut writer.db) {
                Ok(done) => return Ok(done),
                Err(error) => self.failed(error)?,
            }
        }
        Ok(in_memory(&mut self.held().carried))
    }
}

/// Writes what channels did while the disk took nothing.
pub(super) fn write_carried(db: &mut Connection, carried: &Carried) -> Result<(), StoreError> {
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    for (carrier, notice) in &carried.skipped {
        message::skip(&step, carrier, [notice.key()], notice.at())?;
    }
    for (carrier, key) in &carried.unmade {
        message::unmake_within(&step, carrier, key)?;
    }
    for kept in &carried.messages {
        message::note_within(&step, &kept.carrier, &kept.underway, kept.delivered)?;
    }
    step.commit()?;
    Ok(())
}

fn transient(error: StoreError) -> Result<(), StoreError> {
    if error.is_transient() { Ok(()) } else { Err(error) }
}
