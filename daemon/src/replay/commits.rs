//! Commits on their way into the record: a thread of its own waits for them, so that the readings after them are
//! followed meanwhile. Owns their order and how many may be under way; what belongs into one is the replay's business.

use crate::store::{Commit, Store, StoreError};
use std::sync::mpsc;
use std::thread::JoinHandle;

/// Commits under way: one that is written and one that waits, so that neither side stands still. More would only fill
/// the memory.
const UNDER_WAY_MAX: usize = 2;

/// The way into the record. The first failure ends it: what comes after builds on what could not be written.
#[derive(Debug)]
pub(super) struct Commits {
    store: Store,
    /// Begun with the first commit.
    thread: Option<Thread>,
    n_under_way: usize,
}

#[derive(Debug)]
struct Thread {
    queue: Option<mpsc::SyncSender<Commit>>,
    answers: mpsc::Receiver<Result<(), StoreError>>,
    handle: Option<JoinHandle<()>>,
}

impl Commits {
    pub(super) const fn new(store: Store) -> Self {
        Self { store, thread: None, n_under_way: 0 }
    }

    /// Hands a commit over; waits if too many are under way.
    ///
    /// # Errors
    /// If an earlier one could not be written.
    pub(super) fn hand_over(&mut self, commit: Commit) -> Result<(), StoreError> {
        while self.n_under_way >= UNDER_WAY_MAX {
            self.answer()?;
        }
        let thread = match self.thread.take() {
            Some(thread) => thread,
            None => Thread::start(self.store.clone())?,
        };
        let sent = thread.queue.as_ref().map(|queue| queue.send(commit));
        self.thread = Some(thread);
        sent.ok_or(StoreError::Closed)?.map_err(|_| StoreError::Closed)?;
        self.n_under_way += 1;
        Ok(())
    }

    /// Waits until everything that was handed over is in the record.
    ///
    /// # Errors
    /// If some of it could not be written.
    pub(super) fn settle(&mut self) -> Result<(), StoreError> {
        while self.n_under_way > 0 {
            self.answer()?;
        }
        Ok(())
    }

    fn answer(&mut self) -> Result<(), StoreError> {
        self.n_under_way -= 1;
        let thread = self.thread.as_ref().ok_or(StoreError::Closed)?;
        thread.answers.recv().map_err(|_| StoreError::Closed)?
    }
}

impl Thread {
    fn start(store: Store) -> Result<Self, StoreError> {
        let (queue, commits) = mpsc::sync_channel(UNDER_WAY_MAX);
        let (answer, answers) = mpsc::sync_channel(UNDER_WAY_MAX);
        let run = move || {
            for commit in commits {
                let written = store.commit(commit).map(|_| ());
                let goes_on = written.is_ok();
                if answer.send(written).is_err() || !goes_on {
                    break;
                }
            }
        };
        let handle = std::thread::Builder::new().name("commits".to_owned()).spawn(run);
        let handle = handle.map_err(|error| StoreError::Other(error.to_string()))?;
        Ok(Self { queue: Some(queue), answers, handle: Some(handle) })
    }
}

impl Drop for Thread {
    /// Closing the queue ends the thread, which writes what is under way first.
    fn drop(&mut self) {
        self.queue = None;
        let ended = self.handle.take().map(JoinHandle::join);
        if ended.is_some_and(|ended| ended.is_err()) {
            tracing::error!("the thread that commits ended badly");
        }
    }
}
