//! What must hold of a record whose program was cut off, and of the same record once it has gone on.

use crate::rows::{Tables, check_sound, fingerprint, newest_event, readings, tables};
use crate::whole::{Way, Whole};
use dwellwatch::entry::Reading;
use dwellwatch::points::Point;
use dwellwatch::store::{Reader, Store};
use rusqlite::Connection;
use std::fs;
use std::path::{Path, PathBuf};

/// A crash may cost no more readings than these, by their time.
const LOST_MAX_S: f64 = 60.0;

/// What the program has said before it was cut off.
#[derive(Debug, Default)]
pub(crate) struct Said {
    /// The printer was taken up.
    pub(crate) taken_up: bool,
    /// Commits that brought events and returned.
    pub(crate) n_kept: usize,
    /// Commits that brought readings alone and returned.
    pub(crate) n_read: usize,
    /// The last place that it has come by, if it has said nothing since.
    pub(crate) last_point: Option<Point>,
}

impl Said {
    pub(crate) fn take(&mut self, line: &str) {
        self.last_point = None;
        match line {
            "taken up" => self.taken_up = true,
            "kept" => self.n_kept += 1,
            "read" => self.n_read += 1,
            other => {
                let name = other.strip_prefix("passed ");
                self.last_point = Point::ALL.iter().find(|point| name == Some(point.word())).copied();
            }
        }
    }
}

/// Checks a record that was cut off. `said` is what the program promised since the beginning; a replay promises nothing
/// until its end. Gives the entry to go on from.
pub(crate) fn check_cut(whole: &Whole, db: &Path, said: Option<&Said>, context: &str) -> usize {
    let cut = Cut::of(db, context);
    let kept = cut.readings(whole, context);
    if let Some(said) = said {
        check_promises(whole, &cut, &kept, said, context);
    }
    let is_last = |reading: &Reading| kept.last().is_some_and(|last| last.at == reading.at);
    whole.readings().find(|(_, reading)| is_last(reading)).map_or(0, |(idx, _)| idx + 1)
}

/// Lets a record go on from that entry to the end, and checks what it has come to.
pub(crate) fn check_rest(whole: &Whole, db: &Path, from: usize, way: Way, context: &str) {
    let store = Store::open_bulk(db).unwrap();
    whole.go_on(&store, from, way);
    drop(store);

    let after = Connection::open(db).unwrap();
    check_sound(&after, context);
    let all: Vec<Reading> = readings(db, &whole.printer);
    assert!(all.iter().eq(whole.readings().map(|(_, reading)| reading)), "{context}: not every reading once");
    check_same(&tables(&after), &whole.end, context);
}

/// A copy of a record as it was left, so that the record itself is taken up as it was left.
struct Cut {
    db: Connection,
    folder: tempfile::TempDir,
    /// Whether its tables are all there: the program may have died before.
    is_begun: bool,
}

impl Cut {
    fn of(db: &Path, context: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let copy = folder.path().join("cut.db");
        for ending in ["", "-wal"] {
            let beside = |path: &Path| PathBuf::from(format!("{}{ending}", path.display()));
            if beside(db).exists() {
                fs::copy(beside(db), beside(&copy)).unwrap();
            }
        }
        let db = Connection::open(&copy).unwrap();
        check_sound(&db, context);
        let is_begun = Reader::open(&copy).is_ok();
        Self { db, folder, is_begun }
    }

    /// The readings that are there: the journal's first ones, each once. No event is newer.
    fn readings(&self, whole: &Whole, context: &str) -> Vec<Reading> {
        if !self.is_begun {
            return Vec::new();
        }
        let kept = readings(&self.folder.path().join("cut.db"), &whole.printer);
        let told = whole.readings().map(|(_, reading)| reading);
        assert!(told.take(kept.len()).eq(kept.iter()), "{context}: other readings than the journal's");
        let (newest, event) = (kept.last().map(|last| last.at), newest_event(&self.db));
        assert!(event <= newest, "{context}: an event of {event:?}, and readings up to {newest:?}");
        kept
    }
}

/// What had returned is there, and nothing else but what was under way.
fn check_promises(whole: &Whole, cut: &Cut, kept: &[Reading], said: &Said, context: &str) {
    if !said.taken_up {
        assert!(kept.is_empty() && said.n_kept + said.n_read == 0, "{context}: {said:?}");
        return;
    }
    assert!(cut.is_begun, "{context}: no tables");
    let found = fingerprint(&cut.db);
    let (before, after) = (whole.after(said.n_kept), whole.after(said.n_kept + 1));
    assert!(found == *before || found == *after, "{context}: {said:?}: {found:?}, not {before:?} or {after:?}");
    let taken = whole.taken(said.n_kept + said.n_read);
    let lost = taken.get(kept.len()..).unwrap_or_default();
    let lasted = lost.first().zip(lost.last()).map_or(0.0, |(first, last)| (last.at - first.at).get());
    assert!(lasted < LOST_MAX_S, "{context}: {said:?}: {} readings of {lasted} s are lost", lost.len());
}

/// The rows of a record that went on after it was cut off, beside those of one that was not.
fn check_same(found: &Tables, wanted: &Tables, context: &str) {
    assert!(found.keys().eq(wanted.keys()), "{context}");
    for (table, wanted) in wanted {
        let found = &found[table];
        assert_eq!(found.len(), wanted.len(), "{context}: {table}: {found:?}, not {wanted:?}");
        for (found, wanted) in found.iter().zip(wanted) {
            let differs: Vec<_> = found.iter().zip(wanted).filter(|(found, wanted)| found != wanted).collect();
            assert!(differs.is_empty(), "{context}: {table}: {differs:?} in {wanted:?}");
        }
    }
}
