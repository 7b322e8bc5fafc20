//! One client for all printers whose hosts are trusted alike, so that they share connections.

use super::{Client, ClientError};
use crate::host::{Authority, Source};
use std::collections::HashMap;
use std::time::Duration;

/// The clients of a process, made when first needed.
#[derive(Debug)]
pub struct Clients {
    deadline: Duration,
    made: HashMap<Option<Authority>, Client>,
}

impl Clients {
    /// Clients whose requests take at most `deadline`; the daemon's is [`super::DEADLINE`].
    #[must_use]
    pub fn new(deadline: Duration) -> Self {
        Self { deadline, made: HashMap::new() }
    }

    /// The client for a printer's host.
    ///
    /// # Errors
    /// When the host's authority has no certificate, or TLS can't be set up.
    pub fn of(&mut self, source: &Source) -> Result<Client, ClientError> {
        if let Some(client) = self.made.get(&source.authority) {
            return Ok(client.clone());
        }
        let client = match &source.authority {
            Some(authority) => Client::trusting(self.deadline, authority)?,
            None => Client::new(self.deadline)?,
        };
        self.made.insert(source.authority.clone(), client.clone());
        Ok(client)
    }
}
