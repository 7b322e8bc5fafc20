//! A little room on the disk, kept beside the database for the day on which there is none left: opening a record takes
//! 32 KiB for the file that shares its index, and a daemon that is started on a full disk must be able to watch. Owns
//! the file and when it is given up; without it the record opens only where there is room.

use rand::Rng;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

/// The shared index, and some dozen commits.
const BYTES: usize = 128 * 1024;

#[derive(Debug)]
pub(super) struct Reserve {
    path: PathBuf,
}

impl Reserve {
    pub(super) fn beside(database: &Path) -> Self {
        let mut path = OsString::from(database);
        path.push(".reserve");
        Self { path: path.into() }
    }

    /// Gives the room up. False if there was none.
    pub(super) fn release(&self) -> bool {
        fs::remove_file(&self.path).is_ok()
    }

    /// Takes the room again, if there is as much.
    pub(super) fn refill(&self) {
        let is_whole = |file: fs::Metadata| usize::try_from(file.len()).is_ok_and(|length| length == BYTES);
        if fs::metadata(&self.path).is_ok_and(is_whole) {
            return;
        }
        // Of chance: a file system that packs its files must keep as much room for it.
        let mut filling = vec![0; BYTES];
        rand::rng().fill_bytes(&mut filling);
        if let Err(error) = fs::write(&self.path, filling) {
            tracing::debug!(%error, "no room is kept for a start on a full disk");
            // The little that fitted is needed more by the record.
            self.release();
        }
    }
}
