//! Who may write into a record for long: one daemon, or replays. Owns the file `NAME.watched` beside the record and its
//! lock, and knows by it whether a daemon has had the record before.

use super::Failure;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// Written once a daemon has opened the record: a file that is found damaged later was a record of ours.
const MARK: &str = "dwellwatch has watched into this record\n";

/// A record that is held; the system lets go of it however the process ends.
pub(super) struct Hold {
    file: File,
    path: PathBuf,
    is_new: bool,
    mark: String,
}

impl Hold {
    /// For a daemon alone: two on one record would see everything twice.
    pub(super) fn daemon(database: &Path) -> Result<Self, Failure> {
        let hold = Self::open(database)?;
        let taken = "another daemon or a replay writes into";
        hold.locked(
            hold.file.try_lock(),
            &format!("{taken} {}; one record belongs to one daemon", database.display()),
        )?;
        Ok(hold)
    }

    /// For a replay: beside others, but not into a record that a daemon watches.
    pub(super) fn replay(database: &Path) -> Result<Self, Failure> {
        let hold = Self::open(database)?;
        let shown = database.display();
        let taken = format!("a daemon watches into {shown}; stop it first, or replay into another record (`--db`)");
        hold.locked(hold.file.try_lock_shared(), &taken)?;
        Ok(hold)
    }

    fn open(database: &Path) -> Result<Self, Failure> {
        // By whatever name it is called, it is one record.
        let mut path = fs::canonicalize(database).unwrap_or_else(|_| database.to_owned()).into_os_string();
        path.push(".watched");
        let path = PathBuf::from(path);
        let is_new = !path.exists();
        let opened = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path);
        let mut mark = String::new();
        let read = opened.and_then(|mut file| file.read_to_string(&mut mark).map(|_| file));
        let file = read.map_err(|error| Failure::file(&path, &error))?;
        Ok(Self { file, path, is_new, mark })
    }

    fn locked(&self, locked: Result<(), TryLockError>, taken: &str) -> Result<(), Failure> {
        match locked {
            Ok(()) => Ok(()),
            Err(TryLockError::WouldBlock) => Err(Failure::Work(taken.to_owned())),
            Err(TryLockError::Error(error)) => Err(Failure::file(&self.path, &error)),
        }
    }

    /// Whether a daemon has opened this record before.
    pub(super) fn was_watched(&self) -> bool {
        !self.mark.is_empty()
    }

    /// A daemon has opened the record.
    pub(super) fn mark(&mut self) -> Result<(), Failure> {
        if self.was_watched() {
            return Ok(());
        }
        MARK.clone_into(&mut self.mark);
        let written = self.file.write_all(MARK.as_bytes()).and_then(|()| self.file.sync_all());
        written.map_err(|error| Failure::file(&self.path, &error))
    }

    /// What was opened under it; what could not be opened keeps no new file beside it.
    pub(super) fn keep<T>(&self, opened: Result<T, impl Into<Failure>>) -> Result<T, Failure> {
        if opened.is_err() && self.is_new {
            fs::remove_file(&self.path).map_err(|error| Failure::file(&self.path, &error))?;
        }
        opened.map_err(Into::into)
    }
}
