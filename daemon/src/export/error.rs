//! Why an export came to nothing.

use crate::store::StoreError;
use std::fmt::Display;
use std::path::{Path, PathBuf};

/// An export that failed.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The folder is not one to export into: another one has to be named.
    #[error("{}: {found}; a new or an empty folder would be right", folder.display())]
    Taken {
        /// The folder.
        folder: PathBuf,
        /// What was found there.
        found: String,
    },
    /// A file or folder can't be written.
    #[error("{}: {reason}", path.display())]
    Writing {
        /// The file or folder.
        path: PathBuf,
        /// Why not.
        reason: String,
    },
    /// The record can't be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl ExportError {
    /// Failed on a path.
    pub(super) fn writing(path: &Path, reason: &impl Display) -> Self {
        Self::Writing { path: path.to_owned(), reason: reason.to_string() }
    }
}
