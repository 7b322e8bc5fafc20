//! One GET: with a deadline, a size that is kept while the body streams, and an answer that stays on its host.
//! Owns what can go wrong on the wire, by what happened; knows nothing of what the document says.

use super::address::{Address, Authority, Credentials};
use dwell_analysis::time::Timestamp;
use reqwest::header::{CONTENT_TYPE, LINK};
use reqwest::redirect::{Attempt, Policy};
use reqwest::{Response, StatusCode, Url};
use serde_json::Value;
use std::error::Error;
use std::io;
use std::time::Duration;

/// From connecting to the last byte. A quarter of the 20 s of silence that count as a gap: one slow answer, the wait
/// after it and another try fit in.
pub const DEADLINE: Duration = Duration::from_secs(5);

/// The largest body. A document of a host's state is a few KiB; 1 MiB keeps a wrong address (a camera's stream, a
/// file) from filling the memory.
pub const BODY_BYTES_MAX: usize = 1024 * 1024;

/// Enough for a path that moved and a step up to https.
const REDIRECTS_MAX: usize = 3;

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
    pub body: Vec<u8>,
}

/// Why no client could be made; the process can't ask any host then.
#[derive(Debug, thiserror::Error)]
#[error("no http client: {0}")]
pub struct ClientError(#[from] reqwest::Error);

/// Why a document did not come.
#[derive(Debug, thiserror::Error)]
pub enum FetchError {
    /// Something answers there, and refuses connections.
    #[error("connection refused; is the host's service running?")]
    Refused,
    /// No connection.
    #[error("unreachable: {0}")]
    Unreachable(String),
    /// Not done within the deadline.
    #[error("no whole answer within {} s", .0.as_secs_f64())]
    Deadline(Duration),
    /// The connection ended before the answer did.
    #[error("cut off before the answer's end")]
    CutOff,
    /// The body is too large.
    #[error("answer larger than {BODY_BYTES_MAX} bytes; is this the address of a document?")]
    TooLarge,
    /// 401: the host wants a sign-in.
    #[error("host asks for a sign-in (401); its key belongs under printer.headers")]
    SignInNeeded,
    /// 403: the host knows who asks and does not allow it.
    #[error("host forbids it (403); the key under printer.headers lacks the right")]
    Forbidden,
    /// Another status that is not a success.
    #[error("host answers {0}, needs to be 200")]
    Status(u16),
    /// The body is not JSON.
    #[error("answer is not JSON: {0}")]
    NotJson(serde_json::Error),
    /// The answer is not HTTP.
    #[error("answer is not HTTP")]
    NotHttp,
    /// A redirect to another host, port, or from https to http.
    #[error("redirected away to {0}; if that is right, configure that address")]
    RedirectedAway(String),
    /// A redirect too many.
    #[error("redirected more than {REDIRECTS_MAX} times")]
    RedirectedTooOften,
}

impl FetchError {
    /// Whether it may pass by itself; else a person has to change something.
    #[must_use]
    pub fn is_transient(&self) -> bool {
        match self {
            Self::Refused | Self::Unreachable(_) | Self::Deadline(_) | Self::CutOff => true,
            // 408 and 429 ask for a later try, 500 and up are the host's own trouble (RFC 9110, RFC 6585).
            Self::Status(code) => matches!(code, 408 | 429 | 500..),
            Self::TooLarge
            | Self::SignInNeeded
            | Self::Forbidden
            | Self::NotJson(_)
            | Self::NotHttp
            | Self::RedirectedAway(_)
            | Self::RedirectedTooOften => false,
        }
    }
}

impl Client {
    /// A client whose requests take at most `deadline`; the daemon's is [`DEADLINE`].
    ///
    /// # Errors
    /// When the machine's certificates can't be set up.
    pub fn new(deadline: Duration) -> Result<Self, ClientError> {
        Self::build(deadline, Vec::new())
    }

    fn build(deadline: Duration, certificates: Vec<reqwest::Certificate>) -> Result<Self, ClientError> {
        use_ring();
        let http = reqwest::Client::builder()
            .tls_certs_merge(certificates)
            .timeout(deadline)
            .redirect(Policy::custom(stay_on_host))
            // A printer's host is in the house: a proxy from the environment would only send its keys elsewhere.
            .no_proxy()
            .user_agent(concat!("dwellwatch/", env!("CARGO_PKG_VERSION")))
            .build()
            .map_err(ClientError)?;
        Ok(Self { http, deadline })
    }

    /// A client that also trusts hosts whose certificates are signed by `authority`.
    ///
    /// # Errors
    /// When the machine's certificates can't be set up, or the authority's are none.
    pub fn trusting(deadline: Duration, authority: &Authority) -> Result<Self, ClientError> {
        let certificates = reqwest::Certificate::from_pem_bundle(authority.pem())?;
        Self::build(deadline, certificates)
    }

    /// Asks once, by GET. The answer is of status 200 to 299, or 304 where `question` has a tag.
    ///
    /// # Errors
    /// By what happened; see [`FetchError`].
    pub async fn ask(&self, question: &Question<'_>) -> Result<Answer, FetchError> {
        let url = question.credentials.query.added_to(question.address.url());
        let request = self.http.get(url).headers(question.credentials.headers.map());
        let mut response = request.send().await.map_err(|error| self.cause(&error))?;
        refuse_status(response.status())?;
        let texts = |name| {
            let values = response.headers().get_all(name).iter();
            values.filter_map(|value| value.to_str().ok().map(str::to_owned)).collect::<Vec<_>>()
        };
        Ok(Answer {
            is_unchanged: false,
            media_type: texts(CONTENT_TYPE).into_iter().next(),
            links: texts(LINK),
            tag: None,
            date: None,
            body: self.body(&mut response).await?,
        })
    }

    /// Asks for one document.
    ///
    /// # Errors
    /// By what happened; see [`FetchError`].
    pub async fn get(&self, address: &Address, credentials: &Credentials) -> Result<Value, FetchError> {
        let answer = self.ask(&Question { address, credentials, tag: None }).await?;
        serde_json::from_slice(&answer.body).map_err(FetchError::NotJson)
    }

    async fn body(&self, response: &mut Response) -> Result<Vec<u8>, FetchError> {
        let mut body = Vec::new();
        while let Some(chunk) = response.chunk().await.map_err(|error| self.cause(&error))? {
            if body.len() + chunk.len() > BODY_BYTES_MAX {
                return Err(FetchError::TooLarge);
            }
            body.extend_from_slice(&chunk);
        }
        Ok(body)
    }

    fn cause(&self, error: &reqwest::Error) -> FetchError {
        if let Some(refused) = found::<RedirectRefused>(error) {
            return match refused {
                RedirectRefused::Away(to) => FetchError::RedirectedAway(to.clone()),
                RedirectRefused::TooOften => FetchError::RedirectedTooOften,
            };
        }
        if error.is_timeout() {
            return FetchError::Deadline(self.deadline);
        }
        if error.is_connect() {
            let refused = found::<io::Error>(error).is_some_and(|io| io.kind() == io::ErrorKind::ConnectionRefused);
            return if refused { FetchError::Refused } else { FetchError::Unreachable(innermost(error)) };
        }
        if found::<hyper::Error>(error).is_some_and(hyper::Error::is_parse) {
            return FetchError::NotHttp;
        }
        FetchError::CutOff
    }
}

/// Makes ring the process's TLS provider, unless there is one.
fn use_ring() {
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

/// A host's headers hold keys, so a redirect is followed only on the same host and port, or from http up to https on
/// the same host.
fn stay_on_host(attempt: Attempt<'_>) -> reqwest::redirect::Action {
    let Some(from) = attempt.previous().last() else { return attempt.follow() };
    let to = attempt.url();
    let same = from.host() == to.host() && from.scheme() == to.scheme() && port(from) == port(to);
    let upgraded = from.host() == to.host() && from.scheme() == "http" && to.scheme() == "https";
    if !same && !upgraded {
        let place = to.origin().ascii_serialization();
        return attempt.error(RedirectRefused::Away(place));
    }
    if attempt.previous().len() > REDIRECTS_MAX {
        return attempt.error(RedirectRefused::TooOften);
    }
    attempt.follow()
}

fn port(url: &Url) -> Option<u16> {
    url.port_or_known_default()
}

fn refuse_status(status: StatusCode) -> Result<(), FetchError> {
    match status {
        StatusCode::UNAUTHORIZED => Err(FetchError::SignInNeeded),
        StatusCode::FORBIDDEN => Err(FetchError::Forbidden),
        status if status.is_success() => Ok(()),
        status => Err(FetchError::Status(status.as_u16())),
    }
}

/// The first error of that type in the chain.
fn found<'e, E: Error + 'static>(error: &'e (dyn Error + 'static)) -> Option<&'e E> {
    chain(error).find_map(|error| error.downcast_ref())
}

/// The text of the last error in the chain: the one that says what happened.
fn innermost(error: &(dyn Error + 'static)) -> String {
    chain(error).last().map_or_else(|| error.to_string(), ToString::to_string)
}

fn chain<'e>(error: &'e (dyn Error + 'static)) -> impl Iterator<Item = &'e (dyn Error + 'static)> {
    std::iter::successors(Some(error), |error| {
        let error: &'e (dyn Error + 'static) = *error;
        error.source()
    })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
