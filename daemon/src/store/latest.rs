//! What is newest of each printer, and the revision that pages wait on: its newest reading, and how its polls go. Shared
//! by the tasks, the writing thread and the pages; holds nothing that was not handed to the store.

use crate::entry::{PrinterName, Reading};
use crate::host::{FieldReport, Skew};
use crate::tracker::ToolNow;
use dwell_analysis::time::Timestamp;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::watch;

/// The newest reading, and what each tool does as of it.
#[derive(Clone, Debug)]
pub struct Latest {
    /// The reading.
    pub reading: Reading,
    /// One entry a tool, T0 first.
    pub tools: Vec<ToolNow>,
}

/// How a printer's polls go: of the moment, and so not written down.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Polls {
    /// What is wrong with them, in the order of the printer's documents.
    pub troubles: Vec<Trouble>,
    /// The host's clock against ours, once it is known.
    pub skew: Option<Skew>,
}

/// Something that is wrong with the polls.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// Since when.
    pub since: Timestamp,
    /// What, in one line.
    pub cause: String,
}

/// What was understood of a printer's host at one poll, field by field: of the moment, too.
#[derive(Clone, Debug)]
pub struct Understood {
    /// When.
    pub at: Timestamp,
    /// Whether each document came, in the configuration's order.
    pub came: Vec<bool>,
    /// Its fields.
    pub fields: Vec<FieldReport>,
}

#[derive(Debug)]
pub(super) struct Board {
    printers: Mutex<HashMap<PrinterName, Newest>>,
    revision: watch::Sender<u64>,
}

#[derive(Clone, Debug, Default)]
struct Newest {
    latest: Option<Latest>,
    /// Readings taken in since the store was opened.
    n_readings: u64,
    polls: Polls,
    understood: Option<Arc<Understood>>,
}

impl Board {
    pub(super) fn new() -> Self {
        Self { printers: Mutex::default(), revision: watch::Sender::new(0) }
    }

    /// Takes over a reading, unless a newer one is held: what waited for the disk is written late.
    pub(super) fn put(&self, printer: &PrinterName, latest: Latest) {
        let mut held = self.held();
        let newest = held.entry(printer.clone()).or_default();
        let is_newer = |held: &Latest| held.reading.at < latest.reading.at;
        // What waited for the disk comes a second time when it is written.
        newest.n_readings += u64::from(newest.latest.as_ref().is_none_or(is_newer));
        if newest.latest.as_ref().is_none_or(|held| held.reading.at <= latest.reading.at) {
            newest.latest = Some(latest);
        }
    }

    pub(super) fn of(&self, printer: &PrinterName) -> Option<Latest> {
        self.held().get(printer).and_then(|newest| newest.latest.clone())
    }

    pub(super) fn n_readings(&self, printer: &PrinterName) -> u64 {
        self.held().get(printer).map_or(0, |newest| newest.n_readings)
    }

    /// Takes over how the polls go; what stays wrong keeps its time.
    pub(super) fn put_polls(&self, printer: &PrinterName, at: Timestamp, causes: &[String], skew: Option<Skew>) {
        let mut held = self.held();
        let polls = &mut held.entry(printer.clone()).or_default().polls;
        let before = std::mem::take(&mut polls.troubles);
        let since =
            |cause: &String| before.iter().find(|trouble| trouble.cause == *cause).map_or(at, |trouble| trouble.since);
        let troubles = causes.iter().map(|cause| Trouble { since: since(cause), cause: cause.clone() });
        *polls = Polls { troubles: troubles.collect(), skew };
    }

    pub(super) fn polls_of(&self, printer: &PrinterName) -> Polls {
        self.held().get(printer).map(|newest| newest.polls.clone()).unwrap_or_default()
    }

    pub(super) fn put_understood(&self, printer: &PrinterName, understood: Understood) {
        self.held().entry(printer.clone()).or_default().understood = Some(Arc::new(understood));
    }

    pub(super) fn understood_of(&self, printer: &PrinterName) -> Option<Arc<Understood>> {
        self.held().get(printer).and_then(|newest| newest.understood.clone())
    }

    pub(super) fn moved(&self) {
        self.revision.send_modify(|revision| *revision += 1);
    }

    pub(super) fn watch(&self) -> watch::Receiver<u64> {
        self.revision.subscribe()
    }

    fn held(&self) -> MutexGuard<'_, HashMap<PrinterName, Newest>> {
        self.printers.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
