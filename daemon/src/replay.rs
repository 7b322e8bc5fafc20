//! Replaying entries: each printer's go through its pipeline into the store, on their own time. Owns the bundling of
//! many steps into one commit. A journal's lines are read, followed and written each on a thread of its own.

mod commits;

use crate::alarm::Rules;
use crate::entry::{Entry, HotEnd, PrinterName, Reading};
use crate::journal::{Line, LineFault, Lines};
use crate::pipeline::{Pipeline, Step};
use crate::store::{Commit, Store, StoreError};
use crate::tracker::Effect;
use commits::Commits;
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use std::collections::HashMap;
use std::io::Read;
use std::sync::Arc;

/// Steps of a printer that are worth a commit, which then waits for the hour's end: the record is packed by the hour.
/// An hour at one reading a second is the usual commit.
const STEPS_MIN: usize = 2048;
/// Steps of a printer that are committed wherever they end: half an hour of the fastest polls.
const STEPS_MAX: usize = 9000;
/// Steps of all printers that may wait together: some 75 MB, at 0.6 KiB a two-tool reading (measured).
const WAITING_MAX: usize = 1 << 17;
const HOUR_MS: i64 = 3_600_000;

/// Feeds entries of the past into a store. Nobody is notified of the past.
#[derive(Debug)]
pub struct Replay<'a> {
    store: &'a Store,
    commits: Commits,
    rules: Rules,
    materials: Arc<Materials>,
    hot_ends: HashMap<PrinterName, HotEnd>,
    printers: HashMap<PrinterName, Follow>,
    /// Steps of all printers that are not handed over yet.
    n_waiting: usize,
    n_readings: u64,
    n_refused: u64,
}

#[derive(Debug)]
struct Follow {
    pipeline: Pipeline,
    step: Step,
    n_steps: usize,
}

impl<'a> Replay<'a> {
    /// A replay into `store`. Printers that `hot_ends` does not name have separate hot ends.
    #[must_use]
    pub fn new(store: &'a Store, rules: Rules, hot_ends: HashMap<PrinterName, HotEnd>) -> Self {
        Self {
            store,
            commits: Commits::new(store.clone()),
            rules,
            materials: Arc::default(),
            hot_ends,
            printers: HashMap::new(),
            n_waiting: 0,
            n_readings: 0,
            n_refused: 0,
        }
    }

    /// The same with the materials that are in force, where the built-in ones are not.
    #[must_use]
    pub fn knowing(self, materials: Arc<Materials>) -> Self {
        Self { materials, ..self }
    }

    /// Takes a whole journal, line by line. `now` is the reader's clock.
    ///
    /// # Errors
    /// At the first line that can't be read or taken; every line before it is taken, and no later one.
    pub fn feed(&mut self, journal: impl Read + Send + 'static, now: Timestamp) -> Result<(), LineFault> {
        for piece in Lines::read(journal, now)? {
            for Line { number, printer, entry } in piece? {
                self.take(&printer, entry).map_err(|error| LineFault::new(number, error))?;
            }
        }
        Ok(())
    }

    /// Takes one entry.
    ///
    /// # Errors
    /// If the record can't be written, which may be noticed some entries late, or an outcome or a job file finds no
    /// print, or what takes an outcome back finds none.
    pub fn take(&mut self, printer: &PrinterName, entry: Entry) -> Result<(), StoreError> {
        if !self.printers.contains_key(printer) {
            let follow = self.take_up(printer)?;
            self.printers.insert(printer.clone(), follow);
        }
        let Some(follow) = self.printers.get_mut(printer) else { return Ok(()) };
        match entry {
            Entry::Reading(reading) => self.read(printer, reading),
            Entry::Settings(change) => {
                follow.pipeline.set(&change);
                self.store.record_settings(printer, &change)
            }
            Entry::Part(change) => self.store.record_part(printer, &change),
            Entry::Heater(fact) => {
                follow.pipeline.know(&fact);
                self.store.record_heater(printer, &fact)
            }
            Entry::Outcome(outcome) => {
                // The print that it speaks of may be among the steps that are not committed yet.
                self.hand_over(printer)?;
                self.commits.settle()?;
                self.store.record_outcome(printer, &outcome)
            }
            Entry::Undo(undo) => {
                self.hand_over(printer)?;
                self.commits.settle()?;
                self.store.undo(printer, &undo)
            }
            Entry::JobFile(file) => {
                self.hand_over(printer)?;
                self.commits.settle()?;
                self.store.record_job_file(printer, &file)?;
                if let Some(follow) = self.printers.get_mut(printer) {
                    follow.pipeline.plan(&file);
                }
                Ok(())
            }
        }
    }

    /// How many readings were taken in all, and how many of them were counted and left out.
    #[must_use]
    pub fn counts(&self) -> (u64, u64) {
        (self.n_readings, self.n_refused)
    }

    /// Commits what is under way.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn finish(&mut self) -> Result<(), StoreError> {
        let printers: Vec<PrinterName> = self.printers.keys().cloned().collect();
        for printer in printers {
            self.hand_over(&printer)?;
        }
        self.commits.settle()?;
        self.store.flush()
    }

    fn read(&mut self, printer: &PrinterName, reading: Reading) -> Result<(), StoreError> {
        let Some(follow) = self.printers.get_mut(printer) else { return Ok(()) };
        if follow.is_due(&reading) {
            self.hand_over(printer)?;
        }
        let Some(follow) = self.printers.get_mut(printer) else { return Ok(()) };
        let step = follow.pipeline.read(reading);
        self.n_readings += 1;
        self.n_refused += u64::from(step.effects.iter().any(|effect| matches!(effect, Effect::Refused { .. })));
        follow.step.extend(step);
        follow.n_steps += 1;
        self.n_waiting += 1;
        if self.n_waiting < WAITING_MAX { Ok(()) } else { self.make_room() }
    }

    /// Commits what a printer's steps have come to.
    fn hand_over(&mut self, printer: &PrinterName) -> Result<(), StoreError> {
        let Some(follow) = self.printers.get_mut(printer).filter(|follow| follow.n_steps > 0) else { return Ok(()) };
        self.n_waiting -= std::mem::take(&mut follow.n_steps);
        let Step { effects, alarms } = std::mem::take(&mut follow.step);
        self.commits.hand_over(Commit { printer: printer.clone(), effects, alarms, notices: false })
    }

    /// Commits the printer of which most waits.
    fn make_room(&mut self) -> Result<(), StoreError> {
        let fullest = self.printers.iter().max_by_key(|(_, follow)| follow.n_steps);
        let fullest = fullest.map(|(printer, _)| printer.clone());
        fullest.map_or(Ok(()), |printer| self.hand_over(&printer))
    }

    fn take_up(&self, printer: &PrinterName) -> Result<Follow, StoreError> {
        let hot_end = self.hot_ends.get(printer).copied().unwrap_or_default();
        if let Some(told) = self.hot_ends.get(printer) {
            self.store.ensure_printer(printer, *told, 0)?;
        }
        let resume = self.store.reader()?.resume(printer)?;
        let rules = Arc::new(self.rules.of(printer));
        let pipeline = Pipeline::resumed(Arc::clone(&self.materials), hot_end, rules, resume.unwrap_or_default());
        Ok(Follow { pipeline, step: Step::default(), n_steps: 0 })
    }
}

impl Follow {
    /// Whether the steps so far are to be committed before this reading.
    fn is_due(&self, reading: &Reading) -> bool {
        let hour = |at: Timestamp| at.as_ms().div_euclid(HOUR_MS);
        let turns = || self.pipeline.newest().is_some_and(|newest| hour(reading.at) > hour(newest));
        self.n_steps >= STEPS_MAX || self.n_steps >= STEPS_MIN && turns()
    }
}
