//! Why a command did not do its work, and the exit code that says so to scripts.

use crate::config::ConfigError;
use crate::store::StoreError;
use std::process::ExitCode;

/// A command that failed.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The work failed: exit code 1.
    #[error("{0}")]
    Work(String),
    /// The command line or the configuration is wrong: exit code 2.
    #[error("{0}")]
    Asked(String),
}

impl Failure {
    /// The exit code of the contract with scripts.
    #[must_use]
    pub fn code(&self) -> ExitCode {
        match self {
            Self::Work(_) => ExitCode::from(1),
            Self::Asked(_) => ExitCode::from(2),
        }
    }

    /// Failed on a file.
    pub(super) fn file(path: &std::path::Path, error: &std::io::Error) -> Self {
        Self::Work(format!("{}: {error}", path.display()))
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        Self::Work(error.to_string())
    }
}

impl From<ConfigError> for Failure {
    fn from(error: ConfigError) -> Self {
        Self::Asked(error.to_string())
    }
}
