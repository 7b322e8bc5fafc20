//! The folder of the daily backups: their names, which day lacks one, how one comes to be, and which are too old. Knows
//! no clock; never touches a file that is not named as it names its own.

use crate::config::BackupPlan;
use crate::store::{Halt, JOURNAL, StoreError, UNFINISHED, backup, examine};
use jiff::civil::Date;
use std::ffi::OsStr;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// A copy needs as much room as the database, and the record has to go on beside it.
const ROOM: u64 = 2;
/// However small the record is (a proposal, no source).
const ROOM_MIN: u64 = 200_000_000;

/// The room that a disk has and should have, bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Room {
    /// A folder on that disk.
    pub(super) folder: PathBuf,
    /// What is free.
    pub(super) free: u64,
    /// What should be.
    pub(super) needed: u64,
}

impl Room {
    /// The room for a database on the disk of a folder: for a copy of it, and for it to grow.
    pub(super) fn of(database: &Path, folder: &Path) -> io::Result<Self> {
        let (free, needed) = (free(folder)?, for_copy(database).max(ROOM_MIN));
        Ok(Self { folder: folder.to_owned(), free, needed })
    }
}

/// What a copy of a database needs, and the record beside it.
fn for_copy(database: &Path) -> u64 {
    let size = |ending: &str| {
        let mut path = database.as_os_str().to_owned();
        path.push(ending);
        fs::metadata(path).map_or(0, |found| found.len())
    };
    (size("") + size("-wal")).saturating_mul(ROOM)
}

fn free(folder: &Path) -> io::Result<u64> {
    let found = rustix::fs::statvfs(folder)?;
    Ok(found.f_bavail.saturating_mul(found.f_frsize))
}

/// A database's backups.
#[derive(Clone, Debug)]
pub(super) struct Backups {
    database: PathBuf,
    folder: PathBuf,
    keep: usize,
}

/// What there is of a database's daily backups.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BackupsKept {
    /// How many.
    pub n: usize,
    /// The newest one's day, and its size in bytes.
    pub newest: Option<(Date, u64)>,
}

/// Looks at what there is of a database's daily backups.
///
/// # Errors
/// If the folder can't be read, in words.
pub fn backups_kept(database: &Path, plan: &BackupPlan) -> Result<BackupsKept, String> {
    let backups = Backups::new(database, plan.folder(database), plan.keep);
    let listed = backups.listed().map_err(|error| error.to_string())?;
    let newest = listed.last().map(|(day, path)| {
        let size = fs::metadata(path).map_err(|error| format!("{}: {error}", path.display()))?.len();
        Ok::<_, String>((*day, size))
    });
    Ok(BackupsKept { n: listed.len(), newest: newest.transpose()? })
}

/// Why there is no backup of today.
#[derive(Debug, thiserror::Error)]
pub(super) enum BackupError {
    /// The record can't be copied, or is damaged.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The folder can't be used.
    #[error("{}: {error}", path.display())]
    Folder {
        /// The folder or file.
        path: PathBuf,
        /// Why.
        error: io::Error,
    },
    /// The disk has too little room.
    #[error(
        "{} has {} MB free, and {} MB (twice the database) are needed for a backup; make room, or name another \
         `folder` in `[backup]`",
        folder.display(), free / 1_000_000, needed.div_ceil(1_000_000)
    )]
    Room {
        /// The folder.
        folder: PathBuf,
        /// Bytes free.
        free: u64,
        /// Bytes that should be.
        needed: u64,
    },
    /// The copy did not hold what the record holds.
    #[error("{} was not sound when it was read again, and the record is: the disk it was written to may be failing ({found})", copy.display())]
    Spoilt {
        /// The copy, which is gone.
        copy: PathBuf,
        /// What was found.
        found: String,
    },
}

impl Backups {
    pub(super) fn new(database: &Path, folder: PathBuf, keep: usize) -> Self {
        Self { database: database.to_owned(), folder, keep }
    }

    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Whether a day's backup is wanted and not there. A day is what counts: a clock that was ahead once, and left the
    /// name of a later day, stops none.
    pub(super) fn are_due(&self, today: Date) -> bool {
        self.keep > 0 && !self.folder.join(self.name(today)).exists()
    }

    /// Takes a day's backup and looks at what was written.
    pub(super) fn take(&self, today: Date, halt: &Halt) -> Result<PathBuf, BackupError> {
        let failed = |error| BackupError::Folder { path: self.folder.clone(), error };
        fs::create_dir_all(&self.folder).map_err(failed)?;
        self.clear()?;
        self.find_room()?;
        let copy = self.folder.join(self.name(today));
        backup(&self.database, &copy, halt)?;
        match examine(&copy, halt) {
            Ok(()) => Ok(copy),
            Err(error) => {
                fs::remove_file(&copy).map_err(|error| BackupError::Folder { path: copy.clone(), error })?;
                let StoreError::Damaged { found, .. } = error else { return Err(error.into()) };
                // The copy has the record's rows; where it is the record that is damaged, it is that which is told.
                examine(&self.database, halt)?;
                Err(BackupError::Spoilt { copy, found })
            }
        }
    }

    /// Removes all but the newest, and never the one that was just taken, though others name later days. Gives how many.
    pub(super) fn drop_old(&self, taken: &Path) -> Result<usize, BackupError> {
        let mut listed = self.listed()?;
        // A clock that was ahead once names days that never were: they count as the oldest.
        let today = listed.iter().find(|(_, path)| path == taken).map(|(day, _)| *day);
        listed.sort_by_key(|(day, _)| (today.is_none_or(|today| *day <= today), *day));
        let n_old = listed.len().saturating_sub(self.keep);
        for (_, path) in listed.into_iter().filter(|(_, path)| path != taken).take(n_old) {
            fs::remove_file(&path).map_err(|error| BackupError::Folder { path, error })?;
        }
        Ok(n_old)
    }

    /// The newest backup that is sound itself.
    pub(super) fn newest_sound(&self, halt: &Halt) -> Result<Option<PathBuf>, BackupError> {
        for (_, path) in self.listed()?.into_iter().rev() {
            match examine(&path, halt) {
                Ok(()) => return Ok(Some(path)),
                Err(StoreError::Halted) => return Err(StoreError::Halted.into()),
                Err(error) => tracing::warn!(%error, "a backup is of no use"),
            }
        }
        Ok(None)
    }

    /// What is there, the newest day last.
    fn listed(&self) -> Result<Vec<(Date, PathBuf)>, BackupError> {
        let mut listed: Vec<_> =
            self.names()?.iter().filter_map(|name| Some((self.day(name)?, self.folder.join(name)))).collect();
        listed.sort();
        Ok(listed)
    }

    /// What a daemon that was killed in mid-copy has left.
    fn clear(&self) -> Result<(), BackupError> {
        for name in self.names()? {
            let unfinished = name
                .strip_suffix(JOURNAL)
                .unwrap_or(&name)
                .strip_suffix(UNFINISHED)
                .and_then(|name| name.rsplit_once('.'));
            if unfinished.is_some_and(|(copy, _)| self.day(copy).is_some()) {
                let path = self.folder.join(name);
                fs::remove_file(&path).map_err(|error| BackupError::Folder { path, error })?;
            }
        }
        Ok(())
    }

    fn names(&self) -> Result<Vec<String>, BackupError> {
        let failed = |error| BackupError::Folder { path: self.folder.clone(), error };
        let entries = match fs::read_dir(&self.folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            entries => entries.map_err(failed)?,
        };
        let names = entries.filter_map(|entry| entry.map(|entry| entry.file_name().into_string().ok()).transpose());
        names.collect::<io::Result<_>>().map_err(failed)
    }

    fn find_room(&self) -> Result<(), BackupError> {
        let needed = for_copy(&self.database);
        let free = free(&self.folder).map_err(|error| BackupError::Folder { path: self.folder.clone(), error })?;
        if free >= needed { Ok(()) } else { Err(BackupError::Room { folder: self.folder.clone(), free, needed }) }
    }

    fn name(&self, day: Date) -> String {
        let stem = self.database.file_stem().map(OsStr::to_string_lossy).unwrap_or_default();
        format!("{stem}-{day}.db")
    }

    /// The day of a name, if it is one of ours to the letter.
    fn day(&self, name: &str) -> Option<Date> {
        let before = name.len().checked_sub("2026-11-26.db".len())?;
        let day: Date = name.get(before..)?.strip_suffix(".db")?.parse().ok()?;
        (self.name(day) == name).then_some(day)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
