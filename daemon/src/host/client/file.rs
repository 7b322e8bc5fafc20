//! One GET of a file that is too long for memory: its bytes come as they come. Owns its deadlines; how much of it is
//! taken, and what it holds, is the caller's.

use super::{Client, FetchError, refuse};
use crate::host::{Address, Credentials};
use bytes::Bytes;
use reqwest::Response;
use reqwest::header::{ACCEPT, HeaderValue};
use std::future::Future;
use std::time::Duration;
use tokio::time::timeout;

/// Without a byte for so long a file is given up: a small host may search a card for many seconds before it answers.
const QUIET_MAX: Duration = Duration::from_mins(1);

/// A whole file takes no longer: half a GiB at 600 KiB/s.
const WHOLE_MAX: Duration = Duration::from_mins(15);

/// A file under way.
#[derive(Debug)]
pub struct Download(Response);

impl Client {
    /// Asks for a file, by GET. The answer is of status 200 to 299.
    ///
    /// # Errors
    /// By what happened; see [`FetchError`].
    pub async fn file(&self, address: &Address, credentials: &Credentials) -> Result<Download, FetchError> {
        let url = credentials.query.added_to(address.url());
        let request = self.http.get(url).headers(credentials.headers.map()).timeout(WHOLE_MAX);
        // A header of the same name in the configuration counts.
        let request = if credentials.headers.map().contains_key(ACCEPT) {
            request
        } else {
            request.header(ACCEPT, HeaderValue::from_static("*/*"))
        };
        let response = in_time(request.send()).await?;
        refuse(&response)?;
        Ok(Download(response))
    }
}

impl Download {
    /// Its length, bytes, if the host says it beforehand.
    #[must_use]
    pub fn bytes_told(&self) -> Option<u64> {
        self.0.content_length()
    }

    /// The next piece; `None` is its end.
    ///
    /// # Errors
    /// By what happened; see [`FetchError`].
    pub async fn piece(&mut self) -> Result<Option<Bytes>, FetchError> {
        in_time(self.0.chunk()).await
    }
}

async fn in_time<T>(step: impl Future<Output = Result<T, reqwest::Error>>) -> Result<T, FetchError> {
    match timeout(QUIET_MAX, step).await {
        Ok(done) => done.map_err(|error| FetchError::of(&error, WHOLE_MAX)),
        Err(_) => Err(FetchError::Deadline(QUIET_MAX)),
    }
}
