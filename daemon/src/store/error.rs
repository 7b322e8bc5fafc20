//! What can go wrong with the record, by what the caller does next.

use dwell_analysis::time::Timestamp;
use rusqlite::ErrorCode;
use std::path::{Path, PathBuf};

/// Why the store could not do what was asked.
#[derive(Clone, Debug, thiserror::Error)]
pub enum StoreError {
    /// There is no database.
    #[error("database {} does not exist", path.display())]
    Absent {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// It can't be opened or prepared.
    #[error("database {}: {reason}", path.display())]
    Opening {
        /// The file.
        path: PathBuf,
        /// What was found.
        reason: String,
    },
    /// It was written by another version of the program.
    #[error("database {} has schema {found}, this program reads schema {ours}; {}", path.display(), way_out(*.found, *.ours))]
    Version {
        /// The file.
        path: PathBuf,
        /// The schema found.
        found: usize,
        /// The schema that this program knows.
        ours: usize,
    },
    /// No room on the disk: what was to be written is kept and tried again.
    #[error("no room left on the disk of the database")]
    Full,
    /// The file may not be written.
    #[error("the database is read-only; the daemon's user needs to be able to write the file and its folder")]
    ReadOnly,
    /// The disk fails, or has no room for a file beside the database: what was to be written is kept and tried again.
    #[error("the files of the database can't be used: {0}")]
    Failing(String),
    /// What is seen waits in memory for the disk, and nothing else can be taken before that.
    #[error("the record takes nothing now, since what is seen waits in memory for it: {0}")]
    NotNow(String),
    /// Another process writes for too long.
    #[error("the database is busy with another process")]
    Busy,
    /// An outcome names no print of the record.
    #[error("no print of {printer} began within 60 s of {started}")]
    NoSuchPrint {
        /// The printer.
        printer: String,
        /// The start that was named.
        started: String,
    },
    /// What is to be taken back was not said.
    #[error("nobody said `{mode}` of print {print} at {said}, so it can't be taken back")]
    NoSuchWord {
        /// The print.
        print: i64,
        /// What was named.
        mode: &'static str,
        /// When it was to have been said.
        said: String,
    },
    /// A job file names no print of the record.
    #[error(
        "no print of {printer} began at {started}, whose job file is told; `job.started` needs to be its first reading's `at`"
    )]
    NoPrintOfFile {
        /// The printer.
        printer: String,
        /// The start that was named.
        started: String,
    },
    /// An effect names a row that is not there: the record and the tracker disagree, which is a fault of ours.
    #[error("the record has no open {what} of {printer} that began at {}", began.as_ms())]
    NoSuchRow {
        /// What was to be ended.
        what: &'static str,
        /// The printer.
        printer: String,
        /// Its beginning.
        began: Timestamp,
    },
    /// The file is damaged, by SQLite's own word: it is to be set aside.
    #[error(
        "{} is damaged: {found}; `dwellwatch run` sets it aside and names the newest sound backup",
        named(path.as_deref())
    )]
    Damaged {
        /// The file, where it is known.
        path: Option<PathBuf>,
        /// What was found.
        found: String,
    },
    /// The record holds a value that it can't have: it is to be examined.
    #[error("database: {0}; it may be damaged, and `dwellwatch run` examines it")]
    Doubtful(String),
    /// The file is not a record of ours: it is not touched.
    #[error(
        "{} is no record of dwellwatch's: {found}; it is left as it is, and another `path` or `--db` would be right",
        path.display()
    )]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// An older database can't be copied before it is migrated, so it was not.
    #[error(
        "database {} has schema {found} and stays as it is, since no backup of it could be taken: {reason}; make room or \
         rights for one beside it, then start again",
        path.display()
    )]
    NotBackedUp {
        /// The file.
        path: PathBuf,
        /// The schema found.
        found: usize,
        /// Why.
        reason: String,
    },
    /// A backup was not taken; nothing is left of it.
    #[error("backup {}: {reason}", path.display())]
    Backup {
        /// The backup's file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// A check was told to stop before it was through.
    #[error("the check of the database was broken off")]
    Halted,
    /// SQLite refuses for a reason not named above.
    #[error("database: {0}")]
    Other(String),
    /// The writing thread has ended.
    #[error("the store is closed")]
    Closed,
}

impl StoreError {
    /// Whether the same call may succeed later without anybody changing the program.
    #[must_use]
    pub fn is_transient(&self) -> bool {
        matches!(self, Self::Full | Self::Busy | Self::ReadOnly | Self::Failing(_) | Self::NotNow(_))
    }

    /// Whether the file itself is what can't be used, however much room there is.
    pub(super) fn is_of_the_file(&self) -> bool {
        matches!(self, Self::Absent { .. } | Self::Version { .. } | Self::Foreign { .. } | Self::Damaged { .. })
    }

    pub(super) fn opening(path: &Path, error: rusqlite::Error) -> Self {
        Self::from(error).at(path)
    }

    /// Names the file where the fault does not name it yet.
    pub(super) fn at(self, path: &Path) -> Self {
        match self {
            Self::Version { found, ours, .. } => Self::Version { path: path.to_owned(), found, ours },
            Self::Damaged { found, .. } => Self::Damaged { path: Some(path.to_owned()), found },
            Self::Foreign { found, .. } => Self::Foreign { path: path.to_owned(), found },
            Self::NotBackedUp { found, reason, .. } => Self::NotBackedUp { path: path.to_owned(), found, reason },
            other => Self::Opening { path: path.to_owned(), reason: other.to_string() },
        }
    }
}

/// What a person can do about another schema.
fn way_out(found: usize, ours: usize) -> &'static str {
    if found < ours {
        "`dwellwatch run` brings it up to date, and keeps a copy beside it"
    } else {
        "it needs the newer program that wrote it"
    }
}

fn named(path: Option<&Path>) -> String {
    path.map_or_else(|| "the database".to_owned(), |path| format!("database {}", path.display()))
}

/// Whether a value was read that its column can't hold.
fn is_of_a_value(error: &rusqlite::Error) -> bool {
    matches!(
        error,
        rusqlite::Error::InvalidColumnName(_)
            | rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::Utf8Error(..)
    )
}

/// What the disk could not do, as far as SQLite's extended codes tell.
fn failing(error: &rusqlite::Error) -> String {
    use rusqlite::ffi;
    let code = error.sqlite_error().map_or(0, |error| error.extended_code);
    let what = match code {
        ffi::SQLITE_IOERR_READ | ffi::SQLITE_IOERR_SHORT_READ => "a read was refused",
        ffi::SQLITE_IOERR_WRITE => "a write was refused",
        ffi::SQLITE_IOERR_FSYNC | ffi::SQLITE_IOERR_DIR_FSYNC => "its cache could not be written out",
        ffi::SQLITE_IOERR_TRUNCATE => "a file could not be cut or lengthened",
        ffi::SQLITE_IOERR_SHMOPEN
        | ffi::SQLITE_IOERR_SHMSIZE
        | ffi::SQLITE_IOERR_SHMMAP
        | ffi::SQLITE_IOERR_SHMLOCK => "no room for the file that shares its index (`-shm`)",
        _ => return error.to_string(),
    };
    format!("{what} ({error})")
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::ReadOnly) => Self::ReadOnly,
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy,
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                Self::Damaged { path: None, found: error.to_string() }
            }
            Some(ErrorCode::OperationInterrupted) => Self::Halted,
            None if is_of_a_value(&error) => Self::Doubtful(error.to_string()),
            Some(ErrorCode::SystemIoFailure | ErrorCode::CannotOpen) => Self::Failing(failing(&error)),
            Some(_) | None => Self::Other(error.to_string()),
        }
    }
}

impl From<super::job_file::Damaged> for StoreError {
    fn from(damaged: super::job_file::Damaged) -> Self {
        Self::Doubtful(damaged.to_string())
    }
}

impl From<super::packed::Damaged> for StoreError {
    fn from(damaged: super::packed::Damaged) -> Self {
        Self::Doubtful(damaged.to_string())
    }
}
