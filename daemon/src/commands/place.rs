//! Which configuration and which database a command works on. `--db` alone needs no configuration.

use super::Failure;
use crate::cli::Place;
use crate::config::{self, Config, Secrets};
use crate::store::Reader;
use std::path::PathBuf;

impl Place {
    /// The configuration, if one is named or `--db` does not stand for it. Its keys are not looked up: whoever reads a
    /// record in a plain shell need not have them.
    pub(super) fn config(&self) -> Result<Option<Config>, Failure> {
        match (&self.config, &self.db) {
            (None, Some(_)) => Ok(None),
            (Some(_) | None, _) => Ok(Some(Config::load(&self.file()?, Secrets::NotNeeded)?)),
        }
    }

    /// The configuration with its keys, for those who poll a host or send a message.
    pub(super) fn needed_config(&self) -> Result<Config, Failure> {
        Ok(Config::load(&self.file()?, Secrets::LookedUp)?)
    }

    fn file(&self) -> Result<PathBuf, Failure> {
        Ok(self.config.clone().map_or_else(config::default_file, Ok)?)
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
