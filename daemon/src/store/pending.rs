//! Readings that wait for their batch, a minute's worth of each printer. Owns when a batch is due. Shared by the tasks,
//! which add, and the writing thread, which takes: a plain reading need not wake that thread. While the disk takes
//! nothing none is added: what comes then waits in the backlog.

use crate::entry::{PrinterName, Reading};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// How much time a batch of readings may cover, and so how much a crash may lose.
pub(super) const BATCH_MAX: Seconds = Seconds::new(60.0);

#[derive(Debug, Default)]
pub(super) struct Pending(Mutex<HashMap<PrinterName, Vec<Reading>>>);

impl Pending {
    /// Adds a reading. Says whether the printer's batch is due.
    pub(super) fn add(&self, printer: &PrinterName, reading: Reading) -> bool {
        let mut held = self.held();
        let waiting =
            if let Some(waiting) = held.get_mut(printer) { waiting } else { held.entry(printer.clone()).or_default() };
        waiting.push(reading);
        let covered = waiting.first().zip(waiting.last()).map(|(first, last)| last.at - first.at);
        covered.is_some_and(|covered| covered >= BATCH_MAX)
    }

    /// Takes what waits of a printer: to be written, or put back.
    pub(super) fn take(&self, printer: &PrinterName) -> Vec<Reading> {
        self.held().remove(printer).unwrap_or_default()
    }

    /// Puts back what could not be written, before what has come since.
    pub(super) fn put_back(&self, printer: &PrinterName, mut readings: Vec<Reading>) {
        if readings.is_empty() {
            return;
        }
        let mut held = self.held();
        let since = held.entry(printer.clone()).or_default();
        readings.append(since);
        *since = readings;
    }

    /// How many readings wait, and the oldest one's instant.
    pub(super) fn extent(&self) -> (usize, Option<Timestamp>) {
        let held = self.held();
        let n_readings = held.values().map(Vec::len).sum();
        (n_readings, held.values().filter_map(|waiting| waiting.first()).map(|reading| reading.at).min())
    }

    /// The printers of which something waits.
    pub(super) fn printers(&self) -> Vec<PrinterName> {
        self.held().iter().filter(|(_, waiting)| !waiting.is_empty()).map(|(name, _)| name.clone()).collect()
    }

    fn held(&self) -> MutexGuard<'_, HashMap<PrinterName, Vec<Reading>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{Job, JobState};

    fn reading(second: i64) -> Reading {
        Reading {
            at: Timestamp::from_ms(second * 1000),
            after_gap: false,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: Vec::new(),
            bed: None,
        }
    }

    #[test]
    fn what_is_put_back_stands_before_what_came_since() {
        let (pending, bench) = (Pending::default(), PrinterName::new("bench").unwrap());
        let due = (0..=60).map(|second| pending.add(&bench, reading(second))).collect::<Vec<_>>();
        assert_eq!(due.iter().position(|due| *due), Some(60));
        let taken = pending.take(&bench);
        pending.add(&bench, reading(61));
        pending.put_back(&bench, taken);
        assert_eq!(pending.extent(), (62, Some(Timestamp::from_ms(0))));
        let order = |readings: &[Reading]| readings.windows(2).all(|pair| pair[0].at < pair[1].at);
        let taken = pending.take(&bench);
        assert!(taken.len() == 62 && order(&taken) && pending.printers().is_empty());
    }
}
