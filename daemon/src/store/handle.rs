//! The record, open for writing: what can be asked of it, and the thread that is asked. Owns the thread and its queue;
//! what is written stands in the writer.

use super::latest::{Board, Latest, Polls, Understood};
use super::pending::Pending;
use super::reserve::Reserve;
use super::waiting::Waiting;
use super::writer::{Sync, Writer};
use super::{Reader, StoreError, job_file, outbox, record, schema};
use crate::entry::{HotEnd, JobFile, Outcome, PartChange, PrinterName, SettingsChange};
use crate::host::Skew;
use dwell_analysis::time::Timestamp;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::{oneshot, watch};

/// How many calls may wait for the writing thread; a caller waits when it is full.
const QUEUE_MAX: usize = 64;

type Task = Box<dyn FnOnce(&mut Writer) + Send>;

/// The record, open for writing. Cheap to clone; the last clone's end closes it.
#[derive(Clone, Debug)]
pub struct Store {
    path: PathBuf,
    pub(super) board: Arc<Board>,
    pub(super) pending: Arc<Pending>,
    pub(super) waiting: Arc<Waiting>,
    thread: Arc<Thread>,
}

#[derive(Debug)]
struct Thread {
    tasks: Option<mpsc::SyncSender<Task>>,
    handle: Mutex<Option<JoinHandle<()>>>,
}

impl Drop for Thread {
    /// Closing the queue ends the thread, which writes what waits first.
    fn drop(&mut self) {
        self.tasks = None;
        let handle = self.handle.lock().unwrap_or_else(PoisonError::into_inner).take();
        if handle.is_some_and(|handle| handle.join().is_err()) {
            tracing::error!("the store's writing thread ended badly");
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
        let keeps = matches!(sync, Sync::Full);
        let reserve = Reserve::beside(path);
        let db = match schema::open_write(path) {
            // The disk may have been full when the daemon was started. What is not ours, or not whole, is no matter of room.
            Err(error) if keeps && !error.is_of_the_file() && reserve.release() => schema::open_write(path)?,
            opened => opened?,
        };
        db.pragma_update(None, "synchronous", sync.word())?;
        let board = Arc::new(Board::new());
        let pending = Arc::new(Pending::default());
        let (tasks, queue) = mpsc::sync_channel::<Task>(QUEUE_MAX);
        if keeps {
            reserve.refill();
        }
        let word = outbox::identity(&db)?;
        let waiting = Arc::new(Waiting::new(word, Arc::clone(&pending), Arc::clone(&board), keeps.then_some(reserve)));
        waiting.note_quiet(&db)?;
        let mut writer = Writer::new(db, Arc::clone(&pending), Arc::clone(&board), sync);
        let kept = Arc::clone(&waiting);
        let run = move || {
            loop {
                match next_task(&queue, kept.rest()) {
                    Ok(task) => task(&mut writer),
                    Err(mpsc::RecvTimeoutError::Timeout) => {}
                    Err(mpsc::RecvTimeoutError::Disconnected) => break,
                }
                kept.try_again(&mut writer);
            }
            kept.close(&mut writer);
        };
        let handle = std::thread::Builder::new().name("store".to_owned()).spawn(run);
        let handle = handle.map_err(|error| StoreError::Other(error.to_string()))?;
        let thread = Thread { tasks: Some(tasks), handle: Mutex::new(Some(handle)) };
        Ok(Self { path: path.to_owned(), board, pending, waiting, thread: Arc::new(thread) })
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

    /// Readings of a printer that were taken in since the store was opened.
    #[must_use]
    pub fn n_readings(&self, printer: &PrinterName) -> u64 {
        self.board.n_readings(printer)
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
    /// If the record can't be written, for a reason that does not pass; nothing has been then. Else it is kept in
    /// memory until it can be.
    pub fn take_up(&self, printers: Vec<Known>) -> Result<(), StoreError> {
        let waiting = Arc::clone(&self.waiting);
        self.call(move |writer| waiting.take_up(writer, printers))
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

    /// Records the job file of the print that began at its start. The first one of a print counts.
    ///
    /// # Errors
    /// If there is no such print, or the record can't be written.
    pub fn record_job_file(&self, printer: &PrinterName, file: &JobFile) -> Result<(), StoreError> {
        let (printer, file) = (printer.clone(), file.clone());
        self.call(move |writer| record_job_file(writer, &printer, &file))
    }

    /// [`Self::record_job_file`], without holding up the runtime.
    ///
    /// # Errors
    /// As [`Self::record_job_file`].
    pub async fn record_job_file_async(&self, printer: &PrinterName, file: &JobFile) -> Result<(), StoreError> {
        let (printer, file) = (printer.clone(), file.clone());
        self.call_async(move |writer| record_job_file(writer, &printer, &file)).await
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

    /// Takes over what was understood of a printer's host at a poll. No page that is open waits for it.
    pub fn note_understood(&self, printer: &PrinterName, understood: Understood) {
        self.board.put_understood(printer, understood);
    }

    /// What was understood of a printer's host of late; `None` before its first poll.
    #[must_use]
    pub fn understood(&self, printer: &PrinterName) -> Option<Arc<Understood>> {
        self.board.understood_of(printer)
    }

    /// Notes that a week's report was written.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn note_report(&self, week: &str, at: Timestamp) -> Result<(), StoreError> {
        let week = week.to_owned();
        self.call(move |writer| record::report_written(&writer.db, &week, at))
    }

    /// Writes what waits and the batches under way.
    ///
    /// # Errors
    /// If the record can't be written; what could not be waits on.
    pub fn flush(&self) -> Result<(), StoreError> {
        let waiting = Arc::clone(&self.waiting);
        self.call(move |writer| waiting.flush(writer))
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

/// The readings before it first: it names the newest of them.
fn record_job_file(writer: &mut Writer, printer: &PrinterName, file: &JobFile) -> Result<(), StoreError> {
    writer.flush()?;
    job_file::record(&mut writer.db, printer, file)?;
    writer.board.moved();
    Ok(())
}

/// The next task, if one comes within so long a rest.
fn next_task(queue: &mpsc::Receiver<Task>, rest: Option<Duration>) -> Result<Task, mpsc::RecvTimeoutError> {
    match rest {
        None => queue.recv().map_err(mpsc::RecvTimeoutError::from),
        Some(rest) => queue.recv_timeout(rest),
    }
}
