//! What the writing thread does. Owns the writing connection, and what is written with which care.

use super::commit::Commit;
use super::handle::Known;
use super::latest::{Board, Latest};
use super::pending::Pending;
use super::samples::Rows;
use super::{StoreError, alarm, commit, record, samples};
use crate::alarm::AlarmEffect;
use crate::entry::{HotEnd, PrinterName, Reading, ToolNumber};
use crate::points::{Point, pass};
use crate::tracker::Effect;
use rusqlite::{Connection, Transaction, TransactionBehavior};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) struct Writer {
    pub(super) db: Connection,
    printers: HashMap<PrinterName, Row>,
    pending: Arc<Pending>,
    pub(super) board: Arc<Board>,
    sync: Sync,
}

/// When a commit of events is on the disk, in SQLite's words.
#[derive(Clone, Copy)]
pub(super) enum Sync {
    /// When it returns.
    Full,
    /// Some time later, in order.
    Normal,
}

impl Sync {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Full => "FULL",
            Self::Normal => "NORMAL",
        }
    }

    /// What is replayed comes an hour at a time; what is seen, a minute at a time.
    const fn rows(self) -> Rows {
        match self {
            Self::Full => Rows::Minutes,
            Self::Normal => Rows::Hours,
        }
    }
}

/// A printer's row, and how many tools it is known to have.
#[derive(Clone, Copy)]
struct Row {
    id: i64,
    n_tools: usize,
}

impl Writer {
    pub(super) fn new(db: Connection, pending: Arc<Pending>, board: Arc<Board>, sync: Sync) -> Self {
        Self { db, printers: HashMap::new(), pending, board, sync }
    }

    /// Makes printers known, in one commit.
    pub(super) fn take_up(&mut self, printers: &[Known]) -> Result<(), StoreError> {
        let step = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut rows = Vec::with_capacity(printers.len());
        for known in printers {
            let n_tools = known.n_tools.min(ToolNumber::COUNT_MAX);
            let id = record::printer(&step, &known.printer, Some(known.hot_end), n_tools)?;
            for change in &known.changes {
                record::settings(&step, id, change)?;
            }
            rows.push((known.printer.clone(), Row { id, n_tools }));
        }
        pass(Point::TakeUpWritten);
        step.commit()?;
        pass(Point::TakeUpCommitted);
        self.printers.extend(rows);
        Ok(())
    }

    /// The printer's row, made if it is not there.
    pub(super) fn printer(&mut self, name: &PrinterName, n_tools: usize) -> Result<i64, StoreError> {
        match self.printers.get(name) {
            Some(known) if known.n_tools >= n_tools => Ok(known.id),
            Some(_) | None => self.know_printer(name, None, n_tools),
        }
    }

    pub(super) fn know_printer(
        &mut self,
        name: &PrinterName,
        hot_end: Option<HotEnd>,
        n_tools: usize,
    ) -> Result<i64, StoreError> {
        let n_tools = n_tools.min(ToolNumber::COUNT_MAX);
        let id = record::printer(&self.db, name, hot_end, n_tools)?;
        pass(Point::PrinterKnown);
        self.printers.insert(name.clone(), Row { id, n_tools });
        Ok(id)
    }

    /// Events, with the readings before and among them.
    pub(super) fn commit(&mut self, commit: Commit) -> Result<(), StoreError> {
        let Commit { printer: name, effects, alarms, notices } = commit;
        let mut readings = self.pending.take(&name);
        pass(Point::ReadingsTaken);
        let n_tools = effects.iter().map(tools_of).max().unwrap_or(0).max(widest(&readings));
        let id = match self.printer(&name, n_tools) {
            Ok(id) => id,
            Err(error) => {
                self.pending.put_back(&name, readings);
                return Err(error);
            }
        };
        let n_before = readings.len();
        let mut newest = None;
        let mut events = Vec::new();
        for effect in effects {
            match effect {
                Effect::Sample { reading, tools } => {
                    readings.push(reading);
                    newest = Some(tools);
                }
                event => events.push(event),
            }
        }
        let written = write_events(&mut self.db, (id, &name), &events, &alarms, notices, &readings, self.sync.rows());
        if let Err(error) = written {
            // The caller tries the whole step again, its readings included.
            readings.truncate(n_before);
            self.pending.put_back(&name, readings);
            return Err(error);
        }
        pass(Point::EventsCommitted);
        if let (Some(tools), Some(reading)) = (newest, readings.pop()) {
            self.board.put(&name, Latest { reading, tools });
        }
        self.board.moved();
        pass(Point::BoardMoved);
        Ok(())
    }

    /// Alarms of the record itself.
    pub(super) fn commit_own(&mut self, alarms: &[AlarmEffect], notices: bool) -> Result<(), StoreError> {
        let transaction = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        alarm::write(&transaction, None, alarms, notices)?;
        transaction.commit()?;
        self.board.moved();
        Ok(())
    }

    /// The batches of a printer that are full. What could not be written waits on.
    pub(super) fn write_due(&mut self, name: &PrinterName) -> Result<(), StoreError> {
        let readings = self.pending.take(name);
        let id = self.printer(name, widest(&readings));
        let rows = self.sync.rows();
        // A replay leaves nothing lying: its rows are an hour's as they come.
        let all = rows == Rows::Hours;
        match id.and_then(|id| self.relaxed(|step| write_rows(step, id, &readings, rows, all))) {
            Ok(n_written) => {
                self.pending.put_back(name, readings.into_iter().skip(n_written).collect());
                Ok(())
            }
            Err(error) => {
                self.pending.put_back(name, readings);
                Err(error)
            }
        }
    }

    /// Work that may be lost with the power, but not by halves: it does not wait for the disk's cache.
    pub(super) fn relaxed<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.db.pragma_update(None, "synchronous", Sync::Normal.word())?;
        let begun = self.db.transaction_with_behavior(TransactionBehavior::Immediate).map_err(StoreError::from);
        let done = begun.and_then(|transaction| {
            pass(Point::SamplesBegun);
            let done = work(&transaction)?;
            pass(Point::SamplesWritten);
            transaction.commit()?;
            pass(Point::SamplesCommitted);
            Ok(done)
        });
        self.db.pragma_update(None, "synchronous", self.sync.word())?;
        done
    }

    pub(super) fn flush(&mut self) -> Result<(), StoreError> {
        let names = self.pending.printers();
        let taken: Vec<_> = names.into_iter().map(|name| (self.pending.take(&name), name)).collect();
        let written = self.write_all(&taken);
        if written.is_err() {
            for (readings, name) in taken {
                self.pending.put_back(&name, readings);
            }
        }
        written
    }

    fn write_all(&mut self, taken: &[(Vec<Reading>, PrinterName)]) -> Result<(), StoreError> {
        let mut ids = Vec::with_capacity(taken.len());
        for (readings, name) in taken {
            ids.push(self.printer(name, widest(readings))?);
        }
        let transaction = self.db.transaction()?;
        for ((readings, _), id) in taken.iter().zip(ids) {
            write_rows(&transaction, id, readings, self.sync.rows(), true)?;
        }
        pass(Point::FlushWritten);
        transaction.commit()?;
        pass(Point::FlushCommitted);
        Ok(())
    }
}

/// The most tools that any of the readings tells of.
fn widest(readings: &[Reading]) -> usize {
    readings.iter().map(|reading| reading.tools.len()).max().unwrap_or(0)
}

/// Events and the readings up to them, durable when it returns.
fn write_events(
    db: &mut Connection,
    (id, name): (i64, &PrinterName),
    events: &[Effect],
    alarms: &[AlarmEffect],
    notices: bool,
    readings: &[Reading],
    rows: Rows,
) -> Result<(), StoreError> {
    // Taken for writing at once: a reader that turns writer is refused without a wait when another process writes.
    let transaction = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    pass(Point::EventsBegun);
    commit::events(&transaction, id, name, events, alarms, notices)?;
    pass(Point::EventsWritten);
    write_rows(&transaction, id, readings, rows, true)?;
    pass(Point::CommitDue);
    Ok(transaction.commit()?)
}

fn tools_of(effect: &Effect) -> usize {
    match effect {
        Effect::Sample { tools, .. } => tools.len(),
        _ => 0,
    }
}

/// Writes rows of readings, and closes the hour that is over with them. Gives how many readings were written.
fn write_rows(
    transaction: &Transaction<'_>,
    printer: i64,
    pending: &[Reading],
    rows: Rows,
    all: bool,
) -> Result<usize, StoreError> {
    let n = samples::write(transaction, printer, pending, rows, all)?;
    if let Some(last) = pending[..n].last() {
        samples::close_hour(transaction, printer, last.at)?;
    }
    Ok(n)
}
