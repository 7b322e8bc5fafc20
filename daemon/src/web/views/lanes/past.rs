//! What readings have told of the lanes' time so far, so that a view reads only those that came since. Owns no row:
//! visits, spans and gaps are read anew each time, since they may still be moved.

use super::{Lane, Window};
use crate::entry::{PrinterName, Reading};
use dwell_analysis::time::Timestamp;
use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// By printer.
#[derive(Debug, Default)]
pub(in crate::web) struct Past {
    held: Mutex<HashMap<PrinterName, Told>>,
}

/// What one printer's readings have told.
#[derive(Clone, Debug)]
pub(super) struct Told {
    /// From when on all of them were followed.
    from: Timestamp,
    /// The last one followed.
    pub(super) last: Reading,
    lanes: Vec<Lane>,
}

impl Past {
    /// What is held of the window's beginning.
    pub(super) fn of(&self, window: Window<'_>, n_tools: usize) -> Option<Told> {
        let told = self.held().get(window.printer).cloned()?;
        let last = told.last.at;
        (told.lanes.len() == n_tools && told.from <= window.from && window.from <= last && last <= window.newest)
            .then_some(told)
    }

    /// Keeps what was told up to a reading, of the window's time.
    pub(super) fn keep(&self, window: Window<'_>, last: &Reading, lanes: &[Lane]) {
        let is_over = |to: Timestamp| to <= window.from;
        let kept = |lane: &Lane| {
            let mut lane = lane.clone();
            lane.claimed.retain(|stretch| !is_over(stretch.to));
            lane.rest.retain(|stretch| !is_over(stretch.to));
            lane
        };
        let told = Told { from: window.from, last: last.clone(), lanes: lanes.iter().map(kept).collect() };
        self.held().insert(window.printer.clone(), told);
    }

    fn held(&self) -> MutexGuard<'_, HashMap<PrinterName, Told>> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Told {
    /// Puts it into lanes that hold what is claimed now, and gives the last reading.
    pub(super) fn put_into(self, lanes: &mut [Lane]) -> Reading {
        for (lane, told) in lanes.iter_mut().zip(self.lanes) {
            lane.rest = told.rest;
            for claimed in &mut lane.claimed {
                let same = told.claimed.iter().find(|one| (one.from, one.kind) == (claimed.from, claimed.kind));
                if let Some(same) = same {
                    (claimed.weighted, claimed.told_s) = (same.weighted, same.told_s);
                }
            }
        }
        self.last
    }
}
