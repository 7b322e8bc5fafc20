//! The writing thread, and the handle to it. Owns the writing connection and when it is needed.

use super::commit::Commit;
use super::latest::{Board, Latest, Polls};
use super::pending::{BATCH_MAX, Pending};
use super::{Reader, StoreError, commit, record, samples, schema};
use crate::alarm::AlarmEffect;
use crate::entry::{HotEnd, Outcome, PartChange, PrinterName, Reading, SettingsChange, ToolNumber};
use crate::host::Skew;
use crate::tracker::Effect;
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, Transaction, TransactionBehavior};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread::JoinHandle;
use tokio::sync::{oneshot, watch};

/// How many calls may wait for the writing thread; a caller waits when it is full.
const QUEUE_MAX: usize = 64;

type Task = Box<dyn FnOnce(&mut Writer) + Send>;

/// The record, open for writing. Cheap to clone; the last clone's end closes it.
#[derive(Clone, Debug)]
pub struct Store {
    path: PathBuf,
    board: Arc<Board>,
    pending: Arc<Pending>,
    thread: Arc<Thread>,
}

#[derive(Debug)]
struct Thread {
    tasks: Option<mpsc::SyncSender<Task>>,
    handle: Mutex<Option<JoinHandle<()>>>,
}

impl Drop for Thread {
    /// Closing the queue ends the thread, which writes what is pending first.
    fn drop(&mut self) {
        self.tasks = None;
        let handle = self.handle.lock().unwrap_or_else(PoisonError::into_inner).take();
        if handle.is_some_and(|handle| handle.join().is_err()) {
            tracing::error!("the store's writing thread ended badly");
        }
    }
}

pub(super) struct Writer {
    pub(super) db: Connection,
    printers: HashMap<PrinterName, Row>,
    pending: Arc<Pending>,
    board: Arc<Board>,
    n_dropped: usize,
    sync: Sync,
}

/// When a commit of events is on the disk, in SQLite's words.
#[derive(Clone, Copy)]
enum Sync {
    /// When it returns.
    Full,
    /// Some time later, in order.
    Normal,
}

impl Sync {
    const fn word(self) -> &'static str {
        match self {
            Self::Full => "FULL",
            Self::Normal => "NORMAL",
        }
    }
}

/// What the record is told of a printer before it is watched.
#[derive(Clone, Debug)]
pub struct Known {
    /// The printer.
    pub printer: PrinterName,
    /// How its hot ends are built.
    pub hot_end: HotEnd,
    /// How many tools it has.
    pub n_tools: usize,
    /// Settings that the configuration changes.
    pub changes: Vec<SettingsChange>,
}

/// What a commit still needs of the writing thread.
enum Next {
    Nothing,
    /// The printer's batch is due.
    Batch(PrinterName),
    Events(Commit),
}

/// A printer's row, and how many tools it is known to have.
#[derive(Clone, Copy)]
struct Row {
    id: i64,
    n_tools: usize,
}

impl Store {
    /// Opens the record for writing; creates and migrates it as needed.
    ///
    /// # Errors
    /// If it can't be opened, is of a newer program, or may not be written.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        Self::start(path, Sync::Full)
    }

    /// Opens the record for replaying journals into it: nothing waits for the disk's cache, since a replay that the
    /// power cuts short can be made again. The file stays whole.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_bulk(path: &Path) -> Result<Self, StoreError> {
        Self::start(path, Sync::Normal)
    }

    fn start(path: &Path, sync: Sync) -> Result<Self, StoreError> {
        let db = schema::open_write(path)?;
        db.pragma_update(None, "synchronous", sync.word())?;
        let board = Arc::new(Board::new());
        let pending = Arc::new(Pending::default());
        let (tasks, queue) = mpsc::sync_channel::<Task>(QUEUE_MAX);
        let mut writer = Writer {
            db,
            printers: HashMap::new(),
            pending: Arc::clone(&pending),
            board: Arc::clone(&board),
            n_dropped: 0,
            sync,
        };
        let run = move || {
            for task in queue {
                task(&mut writer);
            }
            if let Err(error) = writer.flush() {
                tracing::error!(%error, "readings of the last minute were not written");
            }
        };
        let handle = std::thread::Builder::new().name("store".to_owned()).spawn(run);
        let handle = handle.map_err(|error| StoreError::Other(error.to_string()))?;
        let thread = Thread { tasks: Some(tasks), handle: Mutex::new(Some(handle)) };
        Ok(Self { path: path.to_owned(), board, pending, thread: Arc::new(thread) })
    }

    /// The database file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// A connection of its own for reading.
    ///
    /// # Errors
    /// If the file can't be read.
    pub fn reader(&self) -> Result<Reader, StoreError> {
        Reader::open(&self.path)
    }

    /// The newest reading of a printer since the store was opened.
    #[must_use]
    pub fn latest(&self, printer: &PrinterName) -> Option<Latest> {
        self.board.of(printer)
    }

    /// Moves after every commit.
    #[must_use]
    pub fn revisions(&self) -> watch::Receiver<u64> {
        self.board.watch()
    }

    /// Makes a printer known, or brings what is known of it up to date.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn ensure_printer(&self, name: &PrinterName, hot_end: HotEnd, n_tools: usize) -> Result<(), StoreError> {
        let name = name.clone();
        self.call(move |writer| writer.know_printer(&name, Some(hot_end), n_tools).map(|_| ()))
    }

    /// Makes printers known, or brings what is known of them up to date, in one commit.
    ///
    /// # Errors
    /// If the record can't be written; nothing has been then.
    pub fn take_up(&self, printers: Vec<Known>) -> Result<(), StoreError> {
        self.call(move |writer| {
            let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            for known in &printers {
                let id = record::printer(&step, &known.printer, Some(known.hot_end), known.n_tools)?;
                for change in &known.changes {
                    record::settings(&step, id, change)?;
                }
            }
            Ok(step.commit()?)
        })
    }

    /// Commits what a step found. Events are durable when this returns; plain readings within a minute.
    ///
    /// # Errors
    /// If the record can't be written; nothing of the step's events has been then, and it may be tried again.
    pub fn commit(&self, commit: Commit) -> Result<(), StoreError> {
        match self.set_down(commit) {
            Next::Nothing => Ok(()),
            Next::Batch(printer) => self.call(move |writer| {
                writer.write_due(&printer);
                Ok(())
            }),
            Next::Events(commit) => self.call(move |writer| writer.commit(commit)),
        }
    }

    /// [`Self::commit`], without holding up the runtime.
    ///
    /// # Errors
    /// As [`Self::commit`].
    pub async fn commit_async(&self, commit: Commit) -> Result<(), StoreError> {
        match self.set_down(commit) {
            Next::Nothing => Ok(()),
            Next::Batch(printer) => {
                let work = move |writer: &mut Writer| {
                    writer.write_due(&printer);
                    Ok(())
                };
                self.call_async(work).await
            }
            Next::Events(commit) => self.call_async(move |writer| writer.commit(commit)).await,
        }
    }

    /// Sets plain readings down where they wait for their batch; all else is the writing thread's.
    fn set_down(&self, commit: Commit) -> Next {
        if commit.has_events() {
            return Next::Events(commit);
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
        if is_due { Next::Batch(printer) } else { Next::Nothing }
    }

    /// Records settings in force from their time on. The same change twice is one.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn record_settings(&self, printer: &PrinterName, change: &SettingsChange) -> Result<(), StoreError> {
        let (printer, change) = (printer.clone(), change.clone());
        self.call(move |writer| {
            let id = writer.printer(&printer, change.tool.idx() + 1)?;
            record::settings(&writer.db, id, &change).map(|()| writer.board.moved())
        })
    }

    /// Records a part change. The same change twice is one.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn record_part(&self, printer: &PrinterName, change: &PartChange) -> Result<(), StoreError> {
        let (printer, change) = (printer.clone(), change.clone());
        self.call(move |writer| {
            let id = writer.printer(&printer, change.tool.idx() + 1)?;
            record::part(&writer.db, id, &change).map(|()| writer.board.moved())
        })
    }

    /// Records an outcome of the print that began nearest to its start. The same words twice are one outcome.
    ///
    /// # Errors
    /// If there is no such print, or the record can't be written.
    pub fn record_outcome(&self, printer: &PrinterName, outcome: &Outcome) -> Result<(), StoreError> {
        let (printer, outcome) = (printer.clone(), outcome.clone());
        self.call(move |writer| record::outcome(&writer.db, &printer, &outcome).map(|()| writer.board.moved()))
    }

    /// Takes over how a printer's polls go: what is wrong with them, and how far the host's clock is off.
    pub fn note_polls(&self, printer: &PrinterName, at: Timestamp, causes: &[String], skew: Option<Skew>) {
        self.board.put_polls(printer, at, causes, skew);
        self.board.moved();
    }

    /// How a printer's polls go.
    #[must_use]
    pub fn polls(&self, printer: &PrinterName) -> Polls {
        self.board.polls_of(printer)
    }

    /// Notes that a week's report was written.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn note_report(&self, week: &str, at: Timestamp) -> Result<(), StoreError> {
        let week = week.to_owned();
        self.call(move |writer| record::report_written(&writer.db, &week, at))
    }

    /// Writes the batches under way.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn flush(&self) -> Result<(), StoreError> {
        self.call(Writer::flush)
    }

    pub(super) fn call<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Writer) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, StoreError> {
        let (answer, wait) = mpsc::sync_channel(1);
        self.send(Box::new(move |writer| drop(answer.send(work(writer)))))?;
        wait.recv().map_err(|_| StoreError::Closed)?
    }

    pub(super) async fn call_async<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Writer) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, StoreError> {
        let (answer, wait) = oneshot::channel();
        let task: Task = Box::new(move |writer| drop(answer.send(work(writer))));
        let tasks = self.thread.tasks.as_ref().ok_or(StoreError::Closed)?;
        match tasks.try_send(task) {
            Ok(()) => {}
            Err(mpsc::TrySendError::Disconnected(_)) => return Err(StoreError::Closed),
            // The queue is bounded and full: waiting for room must not hold up the runtime.
            Err(mpsc::TrySendError::Full(task)) => {
                let tasks = tasks.clone();
                let sent = tokio::task::spawn_blocking(move || tasks.send(task)).await;
                sent.map_err(|_| StoreError::Closed)?.map_err(|_| StoreError::Closed)?;
            }
        }
        wait.await.map_err(|_| StoreError::Closed)?
    }

    fn send(&self, task: Task) -> Result<(), StoreError> {
        let tasks = self.thread.tasks.as_ref().ok_or(StoreError::Closed)?;
        tasks.send(task).map_err(|_| StoreError::Closed)
    }
}

impl Writer {
    /// The printer's row, made if it is not there.
    pub(super) fn printer(&mut self, name: &PrinterName, n_tools: usize) -> Result<i64, StoreError> {
        match self.printers.get(name) {
            Some(known) if known.n_tools >= n_tools => Ok(known.id),
            Some(_) | None => self.know_printer(name, None, n_tools),
        }
    }

    fn know_printer(&mut self, name: &PrinterName, hot_end: Option<HotEnd>, n_tools: usize) -> Result<i64, StoreError> {
        let n_tools = n_tools.min(ToolNumber::COUNT_MAX);
        let id = record::printer(&self.db, name, hot_end, n_tools)?;
        self.printers.insert(name.clone(), Row { id, n_tools });
        Ok(id)
    }

    /// Events, with the readings before and among them.
    fn commit(&mut self, commit: Commit) -> Result<(), StoreError> {
        let Commit { printer: name, effects, alarms, notices } = commit;
        let n_tools = effects.iter().map(tools_of).max().unwrap_or(0);
        let id = self.printer(&name, n_tools)?;
        let mut readings = self.pending.take(&name);
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
            self.put_back(&name, readings);
            return Err(error);
        }
        if let Some(newest) = newest {
            self.board.put(&name, newest);
        }
        self.board.moved();
        Ok(())
    }

    /// The batches of a printer that are full. A disk that takes none is no failure yet: they wait.
    fn write_due(&mut self, name: &PrinterName) {
        let readings = self.pending.take(name);
        let id = self.printer(name, widest(&readings));
        match id.and_then(|id| write_samples(&mut self.db, id, &readings, self.sync)) {
            Ok(n_written) => self.put_back(name, readings.into_iter().skip(n_written).collect()),
            Err(error) => {
                self.put_back(name, readings);
                tracing::error!(%error, n_dropped = self.n_dropped, "readings wait in memory for the disk");
            }
        }
    }

    pub(super) fn flush(&mut self) -> Result<(), StoreError> {
        let names = self.pending.printers();
        let taken: Vec<_> = names.into_iter().map(|name| (self.pending.take(&name), name)).collect();
        let written = self.write_all(&taken);
        if written.is_err() {
            for (readings, name) in taken {
                self.put_back(&name, readings);
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

    fn put_back(&mut self, name: &PrinterName, readings: Vec<Reading>) {
        self.n_dropped += self.pending.put_back(name, readings);
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
