//! Trying again: how what waits in memory gets to the disk once it takes something. Runs on the writing thread alone;
//! owns the pace and the order of it.

use super::StoreError;
use super::backlog::{Count, Dropped, Due};
use super::carried::Carried;
use super::post::write_carried;
use super::waiting::Waiting;
use super::writer::Writer;
use std::time::{Duration, Instant};

/// How long after a try the disk is tried again: soon after there is room, and no load for a disk that fails.
const TRY_EVERY: Duration = Duration::from_secs(1);

/// Commits of what waited that are written in a row; other callers have their turn in between.
const AT_ONCE_MAX: usize = 8;

impl Waiting {
    /// How long the writing thread may rest; `None` is until it is called.
    pub(super) fn rest(&self) -> Option<Duration> {
        let held = self.held();
        let trouble = held.trouble.as_ref()?;
        Some(if trouble.goes_on { Duration::ZERO } else { TRY_EVERY.saturating_sub(trouble.tried.elapsed()) })
    }

    /// Tries to write some of what waits, if it is time.
    pub(super) fn try_again(&self, writer: &mut Writer) {
        if self.rest() != Some(Duration::ZERO) {
            return;
        }
        match self.write_some(writer, AT_ONCE_MAX) {
            Ok(goes_on) => {
                if let Some(trouble) = &mut self.held().trouble {
                    trouble.goes_on = goes_on;
                }
            }
            // It has been noted; the page tells it.
            Err(error) if error.is_transient() => {}
            Err(error) => {
                tracing::error!(%error, "what waits in memory can't be written");
                let mut held = self.held();
                if let Some(trouble) = &mut held.trouble {
                    (trouble.tried, trouble.goes_on) = (Instant::now(), false);
                }
                held.fault = Some(error);
            }
        }
    }

    /// Writes all that waits and the batches under way, now.
    ///
    /// # Errors
    /// If the record can't be written; what could not be waits on.
    pub(super) fn flush(&self, writer: &mut Writer) -> Result<(), StoreError> {
        while self.write_some(writer, AT_ONCE_MAX)? {}
        self.noted(writer.flush())
    }

    /// The last try, when the store closes.
    pub(super) fn close(&self, writer: &mut Writer) {
        if let Err(error) = self.flush(writer) {
            let n_pending = self.pending.extent().0;
            let Count { steps, events, alarms } = self.held().backlog.count();
            tracing::error!(%error, n_lost = steps + n_pending, events, alarms, "steps that the disk never took are lost");
        }
    }

    /// Writes up to so many commits of what waits. True if there may be more.
    fn write_some(&self, writer: &mut Writer, n_max: usize) -> Result<bool, StoreError> {
        for _ in 0..n_max {
            let written = self.write_next(writer);
            if !self.noted(written)? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Takes note of a failure that may pass, and leaves it one.
    fn noted<T>(&self, result: Result<T, StoreError>) -> Result<T, StoreError> {
        result.or_else(|error| self.failed(error.clone()).and(Err(error)))
    }

    /// Writes the next of what waits. False once nothing does.
    fn write_next(&self, writer: &mut Writer) -> Result<bool, StoreError> {
        let held = self.held();
        if held.trouble.is_none() {
            return Ok(false);
        }
        let (known, due) = (held.known.clone(), held.backlog.due());
        drop(held);
        if !known.is_empty() {
            writer.take_up(&known)?;
            self.held().known.clear();
        }
        match due {
            Some(Due::Printer { mut commit, last }) => {
                self.write(writer, &mut commit)?;
                self.held().backlog.written(Some(&commit.printer), last);
                Ok(true)
            }
            Some(Due::Own { alarms, notices, last }) => {
                writer.commit_own(&alarms, notices)?;
                self.held().backlog.written(None, last);
                Ok(true)
            }
            None => self.recover(writer),
        }
    }

    /// Writes what is left when no step waits, and ends the trouble unless one has come meanwhile.
    fn recover(&self, writer: &mut Writer) -> Result<bool, StoreError> {
        writer.flush()?;
        let carried = self.held().carried.clone();
        if !carried.is_empty() {
            write_carried(&mut writer.db, &carried)?;
        }
        let mut held = self.held();
        held.carried = Carried::default();
        if !held.backlog.is_empty() {
            return Ok(true);
        }
        held.trouble = None;
        let Dropped { readings, events } = std::mem::take(&mut held.backlog.n_dropped);
        drop(held);
        if let Some(reserve) = &self.reserve {
            reserve.refill();
        }
        tracing::info!(readings_dropped = readings, events_dropped = events, "the record is written again");
        self.failing.send_replace(false);
        self.board.moved();
        Ok(false)
    }
}
