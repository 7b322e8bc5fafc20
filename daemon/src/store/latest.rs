//! The newest reading of each printer, and the revision that pages wait on. Shared by the writing thread and the
//! pages; holds nothing that was not handed to the store to keep.

use crate::entry::{PrinterName, Reading};
use crate::tracker::ToolNow;
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use tokio::sync::watch;

/// The newest reading, and what each tool does as of it.
#[derive(Clone, Debug)]
pub struct Latest {
    /// The reading.
    pub reading: Reading,
    /// One entry a tool, T0 first.
    pub tools: Vec<ToolNow>,
}

#[derive(Debug)]
pub(super) struct Board {
    latest: Mutex<HashMap<PrinterName, Latest>>,
    revision: watch::Sender<u64>,
}

impl Board {
    pub(super) fn new() -> Self {
        Self { latest: Mutex::default(), revision: watch::Sender::new(0) }
    }

    pub(super) fn put(&self, printer: &PrinterName, latest: Latest) {
        self.latest.lock().unwrap_or_else(PoisonError::into_inner).insert(printer.clone(), latest);
    }

    pub(super) fn of(&self, printer: &PrinterName) -> Option<Latest> {
        self.latest.lock().unwrap_or_else(PoisonError::into_inner).get(printer).cloned()
    }

    pub(super) fn moved(&self) {
        self.revision.send_modify(|revision| *revision += 1);
    }

    pub(super) fn watch(&self) -> watch::Receiver<u64> {
        self.revision.subscribe()
    }
}
