//! What the writing thread does. Owns the writing connection, and what is written with which care.

use super::commit::Commit;
use super::handle::Known;
use super::latest::{Board, Latest};
use super::pending::{BATCH_MAX, Pending};
use super::{StoreError, commit, record, samples};
use crate::alarm::AlarmEffect;
use crate::entry::{HotEnd, PrinterName, Reading, ToolNumber};
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
        step.commit()?;
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
        self.printers.insert(name.clone(), Row { id, n_tools });
        Ok(id)
    }

    /// Events, with the readings before and among them.
    pub(super) fn commit(&mut self, commit: Commit) -> Result<(), StoreError> {
        let Commit { printer: name, effects, alarms, notices } = commit;
        let mut readings = self.pending.take(&name);
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
                    readings.push(reading.clone());
                    newest = Some(Latest { reading, tools });
                }
                event => events.push(event),
            }
        }
        let written = write_events(&mut self.db, (id, &name), &events, &alarms, notices, &readings);
        if let Err(error) = written {
            // The caller tries the whole step again, its readings included.
            readings.truncate(n_before);
            self.pending.put_back(&name, readings);
            return Err(error);
        }
        if let Some(newest) = newest {
            self.board.put(&name, newest);
        }
        self.board.moved();
        Ok(())
    }

    /// Alarms of the record itself.
    pub(super) fn commit_own(&mut self, alarms: &[AlarmEffect], notices: bool) -> Result<(), StoreError> {
        let transaction = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        commit::alarms(&transaction, None, alarms, notices)?;
        transaction.commit()?;
        self.board.moved();
        Ok(())
    }

    /// The batches of a printer that are full. What could not be written waits on.
    pub(super) fn write_due(&mut self, name: &PrinterName) -> Result<(), StoreError> {
        let readings = self.pending.take(name);
        let id = self.printer(name, widest(&readings));
        match id.and_then(|id| write_samples(&mut self.db, id, &readings, self.sync)) {
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
            write_batches(&transaction, id, readings, true)?;
        }
        Ok(transaction.commit()?)
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
) -> Result<(), StoreError> {
    // Taken for writing at once: a reader that turns writer is refused without a wait when another process writes.
    let transaction = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    commit::events(&transaction, id, name, events, alarms, notices)?;
    write_batches(&transaction, id, readings, true)?;
    Ok(transaction.commit()?)
}

/// Plain readings. A lost minute of them is allowed, a slow disk is not: no wait for the disk's cache here.
fn write_samples(db: &mut Connection, id: i64, pending: &[Reading], after: Sync) -> Result<usize, StoreError> {
    db.pragma_update(None, "synchronous", Sync::Normal.word())?;
    let written = db.transaction_with_behavior(TransactionBehavior::Immediate).map_err(StoreError::from).and_then(
        |transaction| {
            let n_written = write_batches(&transaction, id, pending, false)?;
            transaction.commit()?;
            Ok(n_written)
        },
    );
    db.pragma_update(None, "synchronous", after.word())?;
    written
}

fn tools_of(effect: &Effect) -> usize {
    match effect {
        Effect::Sample { tools, .. } => tools.len(),
        _ => 0,
    }
}

/// Writes the pending readings in batches of at most a minute. Unless `all`, the last, unfinished batch stays pending.
/// Returns how many were written.
fn write_batches(
    transaction: &Transaction<'_>,
    printer: i64,
    pending: &[Reading],
    all: bool,
) -> Result<usize, StoreError> {
    const INSERT: &str = "INSERT INTO sample_batch (printer, began_ms, ended_ms, body) VALUES (?1, ?2, ?3, ?4)";
    let mut insert = transaction.prepare_cached(INSERT)?;
    let mut from = 0;
    while let Some(first) = pending.get(from) {
        let rest = &pending[from..];
        let fits = |reading: &&Reading| reading.at - first.at < BATCH_MAX && samples::same_shape(first, reading);
        let batch = &rest[..rest.iter().take_while(fits).count()];
        let is_last = batch.len() == rest.len();
        let Some(last) = batch.last().filter(|_| all || !is_last) else { break };
        insert.execute((printer, first.at.as_ms(), last.at.as_ms(), samples::pack(batch)))?;
        from += batch.len();
    }
    Ok(from)
}
