//! Which configuration and which database a command works on. `--db` alone needs no configuration.

use super::Failure;
use crate::cli::Place;
use crate::config::{self, Config};
use crate::store::Reader;
use std::path::PathBuf;

impl Place {
    /// The configuration, if one is named or `--db` does not stand for it.
    pub(super) fn config(&self) -> Result<Option<Config>, Failure> {
        match (&self.config, &self.db) {
            (None, Some(_)) => Ok(None),
            (Some(_) | None, _) => self.needed_config().map(Some),
        }
    }

    /// The configuration, for commands that can't do without.
    pub(super) fn needed_config(&self) -> Result<Config, Failure> {
        let file = self.config.clone().map_or_else(config::default_file, Ok)?;
        Ok(Config::load(&file)?)
    }

    /// The database file.
    pub(super) fn database(&self, config: Option<&Config>) -> Result<PathBuf, Failure> {
        let configured = config.map(|config| config.store().to_owned());
        let found = self.db.clone().or(configured);
        found.ok_or_else(|| Failure::Asked("no database: --db FILE or a configuration would name one".to_owned()))
    }

    /// Opens the database for reading.
    pub(super) fn reader(&self) -> Result<Reader, Failure> {
        let config = self.config()?;
        Ok(Reader::open(&self.database(config.as_ref())?)?)
    }
}
