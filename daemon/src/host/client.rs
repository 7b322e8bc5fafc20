//! One GET: with a deadline, a size that is kept while the body streams, and an answer that stays on its host.
//! Owns what can go wrong on the wire, by what happened; knows nothing of what the document says.

mod clients;
mod fault;
mod file;
pub(super) mod header;

pub use clients::Clients;
pub use fault::FetchError;
pub use file::Download;

use super::address::{Address, Authority, Credentials};
use super::document::{self, Body};
use crate::clock::wall_now;
use bytes::Bytes;
use dwell_analysis::time::Timestamp;
use fault::innermost;
use reqwest::header::{
    ACCEPT, ACCEPT_ENCODING, CONTENT_ENCODING, CONTENT_TYPE, DATE, ETAG, HeaderMap, HeaderName, HeaderValue,
    IF_NONE_MATCH, LINK, RETRY_AFTER,
};
use reqwest::redirect::{Attempt, Policy};
use reqwest::{Response, StatusCode};
use serde_json::Value;
use std::time::Duration;

/// From connecting to the last byte. A quarter of the 20 s of silence that count as a gap: one slow answer, the wait
/// after it and another try fit in.
pub const DEADLINE: Duration = Duration::from_secs(5);

/// The largest body. A document of a host's state is a few KiB; 1 MiB keeps a wrong address (a camera's stream, a
/// file) from filling the memory.
pub const BODY_BYTES_MAX: usize = 1024 * 1024;

/// The longest that a host may ask to be left alone. One request in five minutes is no load for any host, and a host
/// that asks for a day by mistake must not leave its printer unwatched for the day.
pub const RETRY_AFTER_MAX: Duration = Duration::from_mins(5);

/// Enough for a path that moved.
const REDIRECTS_MAX: usize = 3;

/// The longest tag that is kept and sent back: hosts refuse requests with long headers.
const TAG_BYTES_MAX: usize = 512;

/// Asks hosts for documents. Made once and cloned: the clones share connections.
#[derive(Clone, Debug)]
pub struct Client {
    http: reqwest::Client,
    deadline: Duration,
}

/// One request.
#[derive(Clone, Copy, Debug)]
pub struct Question<'q> {
    /// Where.
    pub address: &'q Address,
    /// What is shown to the host.
    pub credentials: &'q Credentials,
    /// The tag of the body that is already here: the host may answer that it is still the one.
    pub tag: Option<&'q str>,
}

/// One answer.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The body with the question's tag is still the one (304); `body` is empty then.
    pub is_unchanged: bool,
    /// `Content-Type`.
    pub media_type: Option<String>,
    /// Every `Link` header, as it came.
    pub links: Vec<String>,
    /// `ETag`, as it came.
    pub tag: Option<String>,
    /// `Date`, when the host says it answered.
    pub date: Option<Timestamp>,
    /// At most [`BODY_BYTES_MAX`].
    pub body: Bytes,
}

/// Why no client could be made.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// TLS can't be set up, or the authority's certificate is none.
    #[error("no http client: {}", innermost(.0))]
    Http(#[from] reqwest::Error),
    /// The authority's text holds no certificate at all.
    #[error("authority_file holds no certificate, needs to be PEM with BEGIN CERTIFICATE")]
    NoCertificate,
}

impl Client {
    /// A client whose requests take at most `deadline`; the daemon's is [`DEADLINE`].
    ///
    /// # Errors
    /// When TLS can't be set up.
    pub fn new(deadline: Duration) -> Result<Self, ClientError> {
        use_ring();
        let http = builder(deadline).build().or_else(|error| {
            // A machine without any certificate can ask hosts by http, and those of an authority of their own.
            tracing::warn!(error = innermost(&error), "no authority is known to this machine");
            builder(deadline).tls_certs_only([]).build()
        })?;
        Ok(Self { http, deadline })
    }

    /// A client that also trusts hosts whose certificates are signed by `authority`.
    ///
    /// # Errors
    /// When the authority has no certificate, or one that is none.
    pub fn trusting(deadline: Duration, authority: &Authority) -> Result<Self, ClientError> {
        use_ring();
        let certificates = reqwest::Certificate::from_pem_bundle(authority.pem())?;
        if certificates.is_empty() {
            return Err(ClientError::NoCertificate);
        }
        let http = builder(deadline).tls_certs_merge(certificates).build()?;
        Ok(Self { http, deadline })
    }

    /// Asks once, by GET. The answer is of status 200 to 299, or 304 where `question` has a tag.
    ///
    /// # Errors
    /// By what happened; see [`FetchError`].
    pub async fn ask(&self, question: &Question<'_>) -> Result<Answer, FetchError> {
        let url = question.credentials.query.added_to(question.address.url());
        let mut request = self.http.get(url).headers(question.credentials.headers.map());
        // A tag that can't be sent is not sent, and the whole document comes.
        let tag = question.tag.and_then(|tag| HeaderValue::from_str(tag).ok());
        let asks_for_change = tag.is_some();
        if let Some(tag) = tag {
            request = request.header(IF_NONE_MATCH, tag);
        }
        let mut response = request.send().await.map_err(|error| FetchError::of(&error, self.deadline))?;
        let is_unchanged = asks_for_change && response.status() == StatusCode::NOT_MODIFIED;
        if !is_unchanged {
            refuse(&response)?;
        }
        let body = if is_unchanged { Bytes::new() } else { self.body(&mut response).await? };
        let headers = response.headers();
        Ok(Answer {
            is_unchanged,
            media_type: text(headers, CONTENT_TYPE).map(str::to_owned),
            links: headers.get_all(LINK).iter().filter_map(|link| Some(link.to_str().ok()?.to_owned())).collect(),
            tag: text(headers, ETAG).filter(|tag| tag.len() <= TAG_BYTES_MAX).map(str::to_owned),
            date: text(headers, DATE).and_then(header::date),
            body,
        })
    }

    /// Asks for one document; a key that stands twice in it is left out.
    ///
    /// # Errors
    /// By what happened; see [`FetchError`].
    pub async fn get(&self, address: &Address, credentials: &Credentials) -> Result<Value, FetchError> {
        let answer = self.ask(&Question { address, credentials, tag: None }).await?;
        Ok(answer.document()?.value)
    }

    async fn body(&self, response: &mut Response) -> Result<Bytes, FetchError> {
        let told = response.content_length().and_then(|bytes| usize::try_from(bytes).ok());
        if told.is_some_and(|bytes| bytes > BODY_BYTES_MAX) {
            return Err(FetchError::TooLarge);
        }
        // A small body comes in one piece, and is read where it lies.
        let mut first = Bytes::new();
        let mut body = Vec::new();
        while let Some(chunk) = response.chunk().await.map_err(|error| FetchError::of(&error, self.deadline))? {
            let so_far = body.len().max(first.len());
            if so_far + chunk.len() > BODY_BYTES_MAX {
                return Err(FetchError::TooLarge);
            }
            if so_far == 0 {
                first = chunk;
                continue;
            }
            if body.is_empty() {
                body.extend_from_slice(&first);
            }
            body.extend_from_slice(&chunk);
        }
        Ok(if body.is_empty() { first } else { body.into() })
    }
}

impl Answer {
    /// The body as a document.
    ///
    /// # Errors
    /// When it says that it is no JSON, or is none.
    pub fn document(&self) -> Result<Body, FetchError> {
        let media_type = header::essence(self.media_type.as_deref().unwrap_or_default());
        if !header::may_be_json(&media_type) {
            return Err(FetchError::MediaType(media_type));
        }
        Ok(document::parse(&self.body)?)
    }
}

fn builder(deadline: Duration) -> reqwest::ClientBuilder {
    // Bodies are small and the house's net is quick, so that nothing is won by packing; and without this line the
    // host may choose (RFC 9110, section 12.5.3).
    let headers = HeaderMap::from_iter([
        (ACCEPT, HeaderValue::from_static("application/json")),
        (ACCEPT_ENCODING, HeaderValue::from_static("identity")),
    ]);
    reqwest::Client::builder()
        .timeout(deadline)
        .default_headers(headers)
        .redirect(Policy::custom(stay_on_host))
        // The address may hold a key in its query.
        .referer(false)
        // A printer's host is in the house: a proxy from the environment would only send its keys elsewhere.
        .no_proxy()
        .user_agent(concat!("dwellwatch/", env!("CARGO_PKG_VERSION")))
}

/// Makes ring the process's TLS provider, unless there is one.
pub(crate) fn use_ring() {
    if rustls::crypto::CryptoProvider::get_default().is_some() {
        return;
    }
    if rustls::crypto::ring::default_provider().install_default().is_err() {
        // Another thread was first; the client takes whichever provider there is.
        tracing::debug!("tls provider already installed");
    }
}

#[derive(Debug, thiserror::Error)]
enum RedirectRefused {
    #[error("redirected away to {0}")]
    Away(String),
    #[error("redirected more than {REDIRECTS_MAX} times")]
    TooOften,
}

/// A host's headers hold keys, so a redirect is followed only at the same protocol, host and port. Where a host has
/// moved up to https, that address is to be configured.
fn stay_on_host(attempt: Attempt<'_>) -> reqwest::redirect::Action {
    let Some(from) = attempt.previous().last() else { return attempt.follow() };
    let to = attempt.url();
    if from.origin() != to.origin() {
        let place = to.origin().ascii_serialization();
        return attempt.error(RedirectRefused::Away(place));
    }
    if attempt.previous().len() > REDIRECTS_MAX {
        return attempt.error(RedirectRefused::TooOften);
    }
    attempt.follow()
}

/// The first header of that name, if it is plain text.
fn text(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    headers.get(name)?.to_str().ok()
}

fn refuse(response: &Response) -> Result<(), FetchError> {
    let headers = response.headers();
    match response.status() {
        StatusCode::UNAUTHORIZED => Err(FetchError::SignInNeeded),
        StatusCode::FORBIDDEN => Err(FetchError::Forbidden),
        status @ (StatusCode::TOO_MANY_REQUESTS | StatusCode::SERVICE_UNAVAILABLE) => {
            let now = text(headers, DATE).and_then(header::date).unwrap_or_else(wall_now);
            let retry_after = text(headers, RETRY_AFTER).and_then(|text| header::retry_after(text, now));
            Err(FetchError::Busy { status: status.as_u16(), retry_after })
        }
        status if status.is_success() => match text(headers, CONTENT_ENCODING) {
            None | Some("" | "identity") => Ok(()),
            Some(other) => Err(FetchError::Encoded(header::essence(other))),
        },
        status => Err(FetchError::Status(status.as_u16())),
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
