//! One printer's host: its documents fetched side by side and understood as one reading. Owns what is remembered from
//! one poll to the next: the newest bodies and when each may be asked for again. When to poll is the caller's.

use super::address::Source;
use super::client::{Client, FetchError};
use super::map::{MapError, PrinterMap, understand};
use super::skew::Skew;
use crate::entry::Reading;
use dwell_analysis::time::Timestamp;
use serde_json::Value;
use std::sync::Arc;
use std::time::Duration;

/// A printer's host.
#[derive(Debug)]
pub struct Host {
    client: Client,
    source: Arc<Source>,
    map: Arc<PrinterMap>,
}

/// What one poll brought.
#[derive(Debug)]
pub struct Polled {
    /// The reading; `None` when the host's own time says that its values are those of the reading before.
    pub reading: Result<Option<Reading>, PollError>,
    /// What is wrong with each document in trouble, one line each, in the configuration's order; a reading may have
    /// come all the same.
    pub troubles: Vec<String>,
    /// The host's clock against ours, once it is known.
    pub skew: Option<Skew>,
    /// The host, or good manners, want no poll before so long.
    pub hold: Option<Duration>,
}

/// Why a poll gave no reading.
#[derive(Debug, thiserror::Error)]
pub enum PollError {
    /// The document with the job's state did not come.
    #[error("document {document} from {address}: {why}")]
    Fetch {
        /// The document's name.
        document: String,
        /// Where it was asked for, without its query.
        address: String,
        /// What happened.
        why: FetchError,
    },
    /// The documents do not make a reading.
    #[error(transparent)]
    Map(#[from] MapError),
}

impl PollError {
    /// Whether it may pass by itself; else a person has to change something.
    #[must_use]
    pub fn is_transient(&self) -> bool {
        match self {
            Self::Fetch { why, .. } => why.is_transient(),
            Self::Map(_) => false,
        }
    }

    /// Whether the host answered and wants a sign-in, or another one.
    #[must_use]
    pub fn is_refusal(&self) -> bool {
        matches!(self, Self::Fetch { why: FetchError::SignInNeeded | FetchError::Forbidden, .. })
    }
}

impl Host {
    /// A host to be asked through `client`.
    #[must_use]
    pub fn new(client: Client, source: Arc<Source>, map: Arc<PrinterMap>) -> Self {
        Self { client, source, map }
    }

    /// Fetches every document, side by side; the results are in the configuration's order.
    pub async fn fetch(&mut self) -> Vec<Result<Value, FetchError>> {
        let documents = self.source.documents.iter();
        let asked = documents.map(|document| self.client.get(&document.address, &self.source.credentials));
        futures_util::future::join_all(asked).await
    }

    /// Polls once; `now` tells the time, and is asked before and after. A document that does not come leaves its
    /// fields missing, unless the job's state is in it.
    pub async fn poll(&mut self, now: impl Fn() -> Timestamp, after_gap: bool) -> Polled {
        let at = now();
        let mut documents = Vec::with_capacity(self.source.documents.len());
        let mut troubles = Vec::new();
        let mut lacking = None;
        for (idx, result) in self.fetch().await.into_iter().enumerate() {
            let document = &self.source.documents[idx];
            let (document, address) = (document.name.clone(), document.address.to_string());
            match result {
                Ok(value) => documents.push(Some(value)),
                Err(why) => {
                    documents.push(None);
                    let error = PollError::Fetch { document, address, why };
                    troubles.push(error.to_string());
                    lacking = lacking.or(self.map.needs(idx).then_some(error));
                }
            }
        }
        let reading = match lacking {
            Some(error) => Err(error),
            None => understand(&self.map, &documents, at, after_gap).map(Some).map_err(PollError::from),
        };
        Polled { reading, troubles, skew: None, hold: None }
    }
}
