//! One printer's host: its documents fetched side by side and understood as one reading.
//! Keeps no time and no memory: when to poll is the caller's.

use super::address::Source;
use super::client::{Client, FetchError};
use super::map::{MapError, PrinterMap, understand};
use crate::entry::Reading;
use dwell_analysis::time::Timestamp;
use serde_json::Value;
use std::sync::Arc;
use tokio::task::JoinSet;

/// A printer's host.
#[derive(Clone, Debug)]
pub struct Host {
    client: Client,
    source: Arc<Source>,
    map: Arc<PrinterMap>,
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
}

impl Host {
    /// A host to be asked through `client`.
    #[must_use]
    pub fn new(client: Client, source: Arc<Source>, map: Arc<PrinterMap>) -> Self {
        Self { client, source, map }
    }

    /// Fetches every document, side by side; the results are in the configuration's order.
    pub async fn fetch(&self) -> Vec<Result<Value, FetchError>> {
        let mut requests = JoinSet::new();
        for idx in 0..self.source.documents.len() {
            let (client, source) = (self.client.clone(), Arc::clone(&self.source));
            requests.spawn(async move {
                let document = &source.documents[idx];
                (idx, client.get(&document.address, &source.headers).await)
            });
        }
        let mut fetched = requests.join_all().await;
        fetched.sort_by_key(|(idx, _)| *idx);
        fetched.into_iter().map(|(_, result)| result).collect()
    }

    /// Polls once. A document that does not come leaves its fields missing, unless the job's state is in it.
    ///
    /// # Errors
    /// When the job's state did not come or is not understood.
    pub async fn poll(&self, at: Timestamp, after_gap: bool) -> Result<Reading, PollError> {
        let needed = self.map.state.field.document;
        let mut documents = Vec::with_capacity(self.source.documents.len());
        for (document, result) in self.source.documents.iter().zip(self.fetch().await) {
            match result {
                Ok(value) => documents.push(Some(value)),
                Err(why) if documents.len() == needed => {
                    let (document, address) = (document.name.clone(), document.address.to_string());
                    return Err(PollError::Fetch { document, address, why });
                }
                Err(_) => documents.push(None),
            }
        }
        Ok(understand(&self.map, &documents, at, after_gap)?)
    }
}
