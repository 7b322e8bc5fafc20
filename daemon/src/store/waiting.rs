//! What happens when the disk takes nothing: steps are kept in memory, in order, their alarms are shown and sent from
//! there, and all is written when there is room again. The one place that decides between the disk and memory; shared
//! by the writing thread, which tries, and the tasks and pages, which ask.

use super::StoreError;
use super::alarm::Quiet;
use super::backlog::{BOUNDS, Backlog, Count, Dropped};
use super::carried::Carried;
use super::commit::Commit;
use super::handle::Known;
use super::latest::{Board, Latest};
use super::pending::Pending;
use super::reserve::Reserve;
use super::writer::Writer;
use crate::alarm::AlarmEffect;
use crate::entry::PrinterName;
use crate::tracker::Effect;
use dwell_analysis::time::Timestamp;
use rusqlite::Connection;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use tokio::sync::watch;

/// Where a commit is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Committed {
    /// In the record: events on the disk, plain readings within a minute.
    Durable,
    /// In memory, in order, until the disk takes it.
    Waiting,
}

/// What the disk has not taken, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Unwritten {
    /// The oldest instant that may be missing from the record.
    pub since: Option<Timestamp>,
    /// Why, in words.
    pub cause: String,
    /// Steps that wait: readings, alone or with events.
    pub n_steps: usize,
    /// Those with events.
    pub n_events: usize,
    /// Alarms of printers raised or returned in them.
    pub n_alarms: usize,
    /// What the bound has cost so far.
    pub dropped: Dropped,
    /// When the first reading will have to be dropped, as steps have come so far; `None` while that can't be told.
    pub lasts_until: Option<Timestamp>,
}

#[derive(Debug)]
pub(super) struct Waiting {
    held: Mutex<Held>,
    pub(super) failing: watch::Sender<bool>,
    /// The record's own word, in the keys of its notices.
    pub(super) record: String,
    pub(super) pending: Arc<Pending>,
    pub(super) board: Arc<Board>,
    /// Filled again once all is written. Without one nothing is kept: a replay can be made again.
    pub(super) reserve: Option<Reserve>,
}

#[derive(Debug)]
pub(super) struct Held {
    pub(super) trouble: Option<Trouble>,
    /// Printers that were taken up and are not in the record yet.
    pub(super) known: Vec<Known>,
    pub(super) backlog: Backlog,
    /// What channels have done with notices and is not in the record yet.
    pub(super) carried: Carried,
    /// Why a step that waits can never be written; told to the next caller.
    pub(super) fault: Option<StoreError>,
}

#[derive(Debug)]
pub(super) struct Trouble {
    pub(super) since: Option<Timestamp>,
    pub(super) cause: String,
    pub(super) tried: Instant,
    /// The last try wrote something, and there is more.
    pub(super) goes_on: bool,
}

impl Waiting {
    pub(super) fn new(record: String, pending: Arc<Pending>, board: Arc<Board>, reserve: Option<Reserve>) -> Self {
        let backlog = Backlog::new(BOUNDS);
        let held = Held { trouble: None, known: Vec::new(), backlog, carried: Carried::default(), fault: None };
        Self { held: Mutex::new(held), failing: watch::Sender::new(false), record, pending, board, reserve }
    }

    /// Keeps a step if the disk is known to take nothing; else gives it back.
    pub(super) fn offer(&self, commit: Commit) -> Result<Committed, Result<Commit, StoreError>> {
        let mut held = self.held();
        if let Some(fault) = held.fault.take() {
            return Err(Err(fault));
        }
        if held.trouble.is_none() {
            return Err(Ok(commit));
        }
        self.keep(&mut held, commit);
        drop(held);
        self.board.moved();
        Ok(Committed::Waiting)
    }

    /// Commits a step's events, or keeps the step.
    pub(super) fn commit(&self, writer: &mut Writer, commit: Commit) -> Result<Committed, StoreError> {
        if self.reserve.is_none() {
            return writer.commit(commit).map(|()| Committed::Durable);
        }
        // Another printer's step may have failed meanwhile.
        let mut commit = match self.offer(commit) {
            Ok(kept) => return Ok(kept),
            Err(commit) => commit?,
        };
        match self.write(writer, &mut commit) {
            Ok(()) => Ok(Committed::Durable),
            Err(error) => {
                self.failed(error)?;
                self.keep(&mut self.held(), commit);
                self.board.moved();
                Ok(Committed::Waiting)
            }
        }
    }

    /// Writes a printer's full batches, or leaves them where they wait.
    pub(super) fn write_due(&self, writer: &mut Writer, printer: &PrinterName) -> Result<Committed, StoreError> {
        match writer.write_due(printer) {
            Ok(()) => Ok(Committed::Durable),
            Err(error) => self.failed(error).map(|()| Committed::Waiting),
        }
    }

    /// Commits alarms of the record itself, or keeps them.
    pub(super) fn commit_own(
        &self,
        writer: &mut Writer,
        alarms: Vec<AlarmEffect>,
        notices: bool,
    ) -> Result<Committed, StoreError> {
        if self.held().trouble.is_none() {
            match writer.commit_own(&alarms, notices) {
                Ok(()) => return Ok(Committed::Durable),
                Err(error) => self.failed(error)?,
            }
        }
        self.held().backlog.push_own(alarms, notices);
        self.board.moved();
        Ok(Committed::Waiting)
    }

    /// Takes printers up, or keeps what the record is to be told of them.
    pub(super) fn take_up(&self, writer: &mut Writer, known: Vec<Known>) -> Result<(), StoreError> {
        if self.held().trouble.is_none() {
            match writer.take_up(&known) {
                Ok(()) => return Ok(()),
                Err(error) => self.failed(error)?,
            }
        }
        self.held().known = known;
        Ok(())
    }

    /// Takes note that the disk takes nothing; gives the error back if it is not one that may pass.
    pub(super) fn failed(&self, error: StoreError) -> Result<(), StoreError> {
        if self.reserve.is_none() || !error.is_transient() {
            return Err(error);
        }
        let since = self.pending.extent().1;
        let mut held = self.held();
        let tried = Instant::now();
        let cause = error.to_string();
        if let Some(trouble) = &mut held.trouble {
            (trouble.cause, trouble.tried, trouble.goes_on) = (cause, tried, false);
            return Ok(());
        }
        tracing::error!(%error, "the record can't be written: what is seen is kept in memory");
        held.trouble = Some(Trouble { since, cause, tried, goes_on: false });
        drop(held);
        self.failing.send_replace(true);
        self.board.moved();
        Ok(())
    }

    fn keep(&self, held: &mut Held, commit: Commit) {
        let newest = commit.effects.iter().rev().find_map(|effect| match effect {
            Effect::Sample { reading, tools } => Some(Latest { reading: reading.clone(), tools: tools.clone() }),
            _ => None,
        });
        if let Some(newest) = newest {
            if let Some(trouble) = &mut held.trouble {
                trouble.since.get_or_insert(newest.reading.at);
            }
            self.board.put(&commit.printer, newest);
        }
        held.backlog.push(commit);
    }

    /// Writes a step; of one whose beginning was dropped, what can be written.
    pub(super) fn write(&self, writer: &mut Writer, commit: &mut Commit) -> Result<(), StoreError> {
        loop {
            let written = writer.commit(commit.clone());
            let Err(StoreError::NoSuchRow { what, began, .. }) = &written else { return written };
            let (what, began) = (*what, *began);
            if !self.has_lost(&commit.printer, began) {
                return written;
            }
            let Some(cut_short) = commit.leave_out(what, began) else { return written };
            let printer = &commit.printer;
            tracing::warn!(%printer, what, began = began.as_ms(), "not recorded: its beginning was dropped");
            let mut held = self.held();
            for at in cut_short {
                held.backlog.lose(printer, at);
            }
        }
    }

    /// Whether what began then may have been dropped before it was written.
    pub(super) fn has_lost(&self, printer: &PrinterName, began: Timestamp) -> bool {
        self.held().backlog.has_lost(printer, began)
    }

    /// Whether the record takes what people say: while the disk takes nothing, that is refused.
    pub(super) fn takes_words(&self) -> Result<(), StoreError> {
        match &self.held().trouble {
            None => Ok(()),
            Some(trouble) => Err(StoreError::NotNow(trouble.cause.clone())),
        }
    }

    /// Takes note of what nobody is to hear of, for notices that leave from memory.
    pub(super) fn note_quiet(&self, db: &Connection) -> Result<(), StoreError> {
        let quiet = Quiet::read(db)?;
        self.held().backlog.quiet = quiet;
        Ok(())
    }

    pub(super) fn unwritten(&self) -> Option<Unwritten> {
        let n_pending = self.pending.extent().0;
        let held = self.held();
        let trouble = held.trouble.as_ref()?;
        let Count { steps, events, alarms } = held.backlog.count();
        Some(Unwritten {
            since: trouble.since,
            cause: trouble.cause.clone(),
            n_steps: steps + n_pending,
            n_events: events,
            n_alarms: alarms,
            dropped: held.backlog.n_dropped,
            lasts_until: held.backlog.lasts_until(),
        })
    }

    pub(super) fn alarms(&self) -> Vec<(Option<PrinterName>, AlarmEffect)> {
        self.held().backlog.alarms()
    }

    pub(super) fn failing(&self) -> watch::Receiver<bool> {
        self.failing.subscribe()
    }

    pub(super) fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
