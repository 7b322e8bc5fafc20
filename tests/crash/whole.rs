//! A journal, and what a record of it holds after each commit when nobody cuts it off.

use crate::rows::{Fingerprint, Tables, fingerprint, readings, tables};
use dwell_tests::steps::{Brought, Steps};
use dwellwatch::alarm::Rules;
use dwellwatch::entry::{Entry, PrinterName, Reading};
use dwellwatch::journal::write_line;
use dwellwatch::rehearsal::Story;
use dwellwatch::replay::Replay;
use dwellwatch::store::Store;
use rusqlite::Connection;
use std::cell::{Cell, RefCell};
use std::collections::HashMap;
use std::path::Path;

/// A story with pauses, silences, alarms, job files and words.
const STORY: u64 = 5;
/// As many of its entries are enough for all of these; the whole of it would take long, hundreds of times.
const ENTRIES_MAX: usize = 2700;
/// Entries between a print's beginning and the finding of its job file.
const FOUND_AFTER: usize = 3;

/// The journal, and the record of it that is whole.
pub(crate) struct Whole {
    pub(crate) printer: PrinterName,
    pub(crate) entries: Vec<Entry>,
    /// What it has come to.
    pub(crate) end: Tables,
    /// What the record holds once the printer is taken up, and after each commit that brought events.
    states: Vec<Fingerprint>,
    /// How many readings had been taken when each commit returned.
    n_readings: Vec<usize>,
}

/// How a journal's entries are taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// One by one, each committed before the next, as the daemon does.
    Live,
    /// Many to a commit, as `replay` does.
    Replayed,
}

impl Whole {
    /// Makes the record that nobody cuts off.
    pub(crate) fn record(folder: &Path, way: Way) -> Self {
        let told = Story::short(STORY);
        let (printer, mut entries) = (told.printer(), told.entries());
        entries.truncate(ENTRIES_MAX);
        find_files_late(&mut entries);
        let db = folder.join(format!("{way:?}.db"));
        let store = Store::open_bulk(&db).unwrap();
        let (states, n_readings) = (Vec::new(), Vec::new());
        let mut whole = Self { printer, entries, end: Tables::new(), states, n_readings };
        match way {
            Way::Live => whole.follow(&store),
            Way::Replayed => whole.go_on(&store, 0, way),
        }
        drop(store);
        whole.end = tables(&Connection::open(&db).unwrap());
        let kept = readings(&db, &whole.printer);
        assert!(kept.iter().eq(whole.readings().map(|(_, reading)| reading)), "the story's readings all count");
        whole
    }

    /// Takes the entries one by one and notes what each commit has come to.
    fn follow(&mut self, store: &Store) {
        let db = Connection::open(store.path()).unwrap();
        let (states, n_readings, n_taken) = (RefCell::new(Vec::new()), RefCell::new(Vec::new()), Cell::new(0));
        let returned = |brought| {
            n_readings.borrow_mut().push(n_taken.get());
            if brought == Brought::Events {
                states.borrow_mut().push(fingerprint(&db));
            }
        };
        let mut steps = Steps::take_up(store, &self.printer, returned).unwrap();
        states.borrow_mut().push(fingerprint(&db));
        for entry in &self.entries {
            // A silence that is looked at before the reading is over-counted by it, which loses a test nothing.
            n_taken.set(n_taken.get() + usize::from(matches!(entry, Entry::Reading(_))));
            steps.take(entry.clone()).unwrap();
        }
        drop(steps);
        (self.states, self.n_readings) = (states.into_inner(), n_readings.into_inner());
    }

    /// Takes the entries from one on into a record, to the end.
    pub(crate) fn go_on(&self, store: &Store, from: usize, way: Way) {
        match way {
            Way::Live => {
                let mut steps = Steps::take_up(store, &self.printer, |_| ()).unwrap();
                self.entries[from..].iter().for_each(|entry| steps.take(entry.clone()).unwrap());
            }
            Way::Replayed => {
                let mut replay = Replay::new(store, Rules::default(), HashMap::new());
                self.entries[from..].iter().for_each(|entry| replay.take(&self.printer, entry.clone()).unwrap());
                replay.finish().unwrap();
            }
        }
    }

    /// Its readings, and where among the entries each stands.
    pub(crate) fn readings(&self) -> impl Iterator<Item = (usize, &Reading)> {
        self.entries.iter().enumerate().filter_map(|(idx, entry)| match entry {
            Entry::Reading(reading) => Some((idx, reading)),
            _ => None,
        })
    }

    /// The journal's text from an entry on.
    pub(crate) fn text(&self, from: usize) -> String {
        let lines: Vec<String> = self.entries[from..].iter().map(|entry| write_line(&self.printer, entry)).collect();
        lines.join("\n")
    }

    /// What the record holds after so many commits that brought events; the last state after the last one.
    pub(crate) fn after(&self, n_kept: usize) -> &Fingerprint {
        &self.states[n_kept.min(self.states.len() - 1)]
    }

    /// The readings that had been taken when so many commits had returned.
    pub(crate) fn taken(&self, n_returned: usize) -> Vec<&Reading> {
        let n_readings = n_returned.checked_sub(1).map_or(0, |idx| self.n_readings[idx]);
        self.readings().map(|(_, reading)| reading).take(n_readings).collect()
    }
}

/// Moves the job files some entries on: a daemon finds one some polls after the print began.
fn find_files_late(entries: &mut [Entry]) {
    let found: Vec<usize> = (0..entries.len()).filter(|idx| matches!(entries[*idx], Entry::JobFile(_))).collect();
    for from in found {
        let late = &mut entries[from..=from + FOUND_AFTER];
        late.rotate_left(1);
        let at = late.iter().rev().find_map(|entry| if let Entry::Reading(r) = entry { Some(r.at) } else { None });
        let Some(Entry::JobFile(file)) = late.last_mut() else { unreachable!("it was moved there") };
        file.at = at.unwrap();
    }
}
