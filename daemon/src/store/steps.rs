//! What the daemon's tasks hand to the record step by step, and what they can ask of steps that are not in it yet. Owns
//! which steps need the writing thread at once.

use super::commit::Commit;
use super::latest::Latest;
use super::waiting::{Committed, Unwritten};
use super::{Store, StoreError};
use crate::alarm::AlarmEffect;
use crate::entry::PrinterName;
use crate::tracker::Effect;
use dwell_analysis::time::Timestamp;
use std::sync::Arc;
use tokio::sync::watch;

/// What a commit still needs of the writing thread.
enum Next {
    Nothing(Committed),
    /// The printer's batch is due.
    Batch(PrinterName),
    Events(Commit),
}

impl Store {
    /// Commits what a step found. Events are durable when this says so, plain readings within a minute; while the disk
    /// takes nothing, steps wait in memory.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass; nothing of the step's events has been then. A
    /// store for bulk keeps nothing, whatever the reason.
    pub fn commit(&self, commit: Commit) -> Result<Committed, StoreError> {
        let waiting = Arc::clone(&self.waiting);
        match self.set_down(commit)? {
            Next::Nothing(committed) => Ok(committed),
            Next::Batch(printer) => self.call(move |writer| waiting.write_due(writer, &printer)),
            Next::Events(commit) => self.call(move |writer| waiting.commit(writer, commit)),
        }
    }

    /// [`Self::commit`], without holding up the runtime.
    ///
    /// # Errors
    /// As [`Self::commit`].
    pub async fn commit_async(&self, commit: Commit) -> Result<Committed, StoreError> {
        let waiting = Arc::clone(&self.waiting);
        match self.set_down(commit)? {
            Next::Nothing(committed) => Ok(committed),
            Next::Batch(printer) => self.call_async(move |writer| waiting.write_due(writer, &printer)).await,
            Next::Events(commit) => self.call_async(move |writer| waiting.commit(writer, commit)).await,
        }
    }

    /// Sets plain readings down where they wait for their batch, and all steps where they wait for the disk while it
    /// takes nothing; what is left is the writing thread's.
    fn set_down(&self, commit: Commit) -> Result<Next, StoreError> {
        let commit = match self.waiting.offer(commit) {
            Ok(kept) => return Ok(Next::Nothing(kept)),
            Err(commit) => commit?,
        };
        if commit.has_events() {
            return Ok(Next::Events(commit));
        }
        let Commit { printer, effects, .. } = commit;
        let (mut newest, mut is_due) = (None, false);
        for effect in effects {
            if let Effect::Sample { reading, tools } = effect {
                is_due = self.pending.add(&printer, reading.clone());
                newest = Some(Latest { reading, tools });
            }
        }
        if let Some(newest) = newest {
            self.board.put(&printer, newest);
            self.board.moved();
        }
        Ok(if is_due { Next::Batch(printer) } else { Next::Nothing(Committed::Durable) })
    }

    /// What the disk has not taken, and why; `None` while all goes well.
    #[must_use]
    pub fn unwritten(&self) -> Option<Unwritten> {
        self.waiting.unwritten()
    }

    /// Alarms raised and returned in what the disk has not taken, in order; `None` as printer is the record itself.
    #[must_use]
    pub fn unwritten_alarms(&self) -> Vec<(Option<PrinterName>, AlarmEffect)> {
        self.waiting.alarms()
    }

    /// Whether the disk takes nothing.
    #[must_use]
    pub fn failing(&self) -> watch::Receiver<bool> {
        self.waiting.failing()
    }

    /// From now on the disk takes nothing, or does again.
    #[cfg(test)]
    pub(crate) fn takes_nothing(&self, nothing: bool) -> Result<(), StoreError> {
        self.call(move |writer| Ok(writer.db.pragma_update(None, "query_only", nothing)?))
    }

    /// Whether what began then may lack its row, since the memory was full before the disk took anything.
    #[must_use]
    pub fn has_lost(&self, printer: &PrinterName, began: Timestamp) -> bool {
        self.waiting.has_lost(printer, began)
    }

    /// Commits alarms of the record itself, as [`Self::commit`] does those of a printer.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass.
    pub fn commit_own(&self, alarms: Vec<AlarmEffect>, notices: bool) -> Result<Committed, StoreError> {
        let waiting = Arc::clone(&self.waiting);
        self.call(move |writer| waiting.commit_own(writer, alarms, notices))
    }

    /// [`Self::commit_own`], without holding up the runtime.
    ///
    /// # Errors
    /// As [`Self::commit_own`].
    pub async fn commit_own_async(&self, alarms: Vec<AlarmEffect>, notices: bool) -> Result<Committed, StoreError> {
        let waiting = Arc::clone(&self.waiting);
        self.call_async(move |writer| waiting.commit_own(writer, alarms, notices)).await
    }
}
