//! Why a document did not come. Owns how the causes are told apart; what follows from them is the caller's.

use super::super::document::BodyFault;
use super::{BODY_BYTES_MAX, REDIRECTS_MAX, RedirectRefused};
use rustls::CertificateError;
use std::error::Error;
use std::io;
use std::time::Duration;

/// Why a document did not come.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FetchError {
    /// Something answers there, and refuses connections.
    #[error("connection refused; is the host's service running?")]
    Refused,
    /// No connection.
    #[error("unreachable: {0}")]
    Unreachable(String),
    /// The host's certificate is over, or its time has not begun.
    #[error("host's certificate has expired or is not valid yet; is the date right, there and here?")]
    CertificateExpired,
    /// The host's certificate is another host's.
    #[error("host's certificate is for {0}; configure the address with that name")]
    CertificateName(String),
    /// The host's certificate is signed by an authority that nobody here knows, or by itself.
    #[error("host's certificate is signed by an unknown authority; its certificate (PEM) belongs under authority_file")]
    CertificateAuthority,
    /// The host shows the certificate of an authority as its own.
    #[error("host's certificate is an authority's own (CA), needs to be one for a host, signed by it")]
    CertificateIsAuthority,
    /// The host does not speak TLS.
    #[error("no TLS is spoken there; is the address http?")]
    NotTls,
    /// Another fault of TLS.
    #[error("no TLS connection: {0}")]
    Tls(String),
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
    #[error("host asks for a sign-in (401); its key belongs under printer.headers or printer.query")]
    SignInNeeded,
    /// 403: the host knows who asks and does not allow it.
    #[error("host forbids it (403); the key under printer.headers or printer.query lacks the right")]
    Forbidden,
    /// 429 or 503: the host is asked too often, or has no time.
    #[error("host answers {status}, needs to be 200{}", asked(*retry_after))]
    Busy {
        /// The status.
        status: u16,
        /// How long the host wants to be left alone, at most [`super::RETRY_AFTER_MAX`].
        retry_after: Option<Duration>,
    },
    /// Another status that is not a success; 304 is one only where the question had a tag.
    #[error("host answers {0}, needs to be 200")]
    Status(u16),
    /// The body is packed, though none was asked for.
    #[error("answer is encoded as {0}, needs to be plain")]
    Encoded(String),
    /// The body says that it is no JSON.
    #[error("answer is {0}, needs to be JSON{page}", page = page(.0))]
    MediaType(String),
    /// The body is no document.
    #[error(transparent)]
    Body(#[from] BodyFault),
    /// The answer is not HTTP.
    #[error("answer is not HTTP")]
    NotHttp,
    /// A redirect to another protocol, host or port.
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
            Self::Refused | Self::Unreachable(_) | Self::Deadline(_) | Self::CutOff | Self::Busy { .. } => true,
            // 408 asks for a later try, 500 and up are the host's own trouble (RFC 9110).
            Self::Status(code) => matches!(code, 408 | 500..),
            Self::CertificateExpired
            | Self::CertificateName(_)
            | Self::CertificateAuthority
            | Self::CertificateIsAuthority
            | Self::NotTls
            | Self::Tls(_)
            | Self::TooLarge
            | Self::SignInNeeded
            | Self::Forbidden
            | Self::Encoded(_)
            | Self::MediaType(_)
            | Self::Body(_)
            | Self::NotHttp
            | Self::RedirectedAway(_)
            | Self::RedirectedTooOften => false,
        }
    }

    /// Whether the host answered and wants a sign-in, or another one.
    #[must_use]
    pub fn is_refusal(&self) -> bool {
        matches!(self, Self::SignInNeeded | Self::Forbidden)
    }

    /// What happened to a request that was to take at most `deadline`.
    pub(super) fn of(error: &reqwest::Error, deadline: Duration) -> Self {
        if let Some(refused) = found::<RedirectRefused>(error) {
            return match refused {
                RedirectRefused::Away(to) => Self::RedirectedAway(to.clone()),
                RedirectRefused::TooOften => Self::RedirectedTooOften,
            };
        }
        if error.is_timeout() {
            return Self::Deadline(deadline);
        }
        if let Some(tls) = found::<rustls::Error>(error) {
            return Self::of_tls(tls);
        }
        if error.is_connect() {
            let refused = found::<io::Error>(error).is_some_and(|io| io.kind() == io::ErrorKind::ConnectionRefused);
            return if refused { Self::Refused } else { Self::Unreachable(innermost(error)) };
        }
        if found::<hyper::Error>(error).is_some_and(hyper::Error::is_parse) {
            return Self::NotHttp;
        }
        Self::CutOff
    }

    fn of_tls(error: &rustls::Error) -> Self {
        let rustls::Error::InvalidCertificate(why) = error else {
            let garbage = matches!(error, rustls::Error::InvalidMessage(_));
            return if garbage { Self::NotTls } else { Self::Tls(error.to_string()) };
        };
        match why {
            CertificateError::Expired
            | CertificateError::ExpiredContext { .. }
            | CertificateError::NotValidYet
            | CertificateError::NotValidYetContext { .. } => Self::CertificateExpired,
            CertificateError::NotValidForName => Self::CertificateName("another name".to_owned()),
            CertificateError::NotValidForNameContext { presented, .. } => Self::CertificateName(names(presented)),
            // An authority of the right name and another key is mostly the one before the house's newest.
            CertificateError::UnknownIssuer | CertificateError::BadSignature => Self::CertificateAuthority,
            // The verifier keeps its own type private.
            other if format!("{other:?}").contains("CaUsedAsEndEntity") => Self::CertificateIsAuthority,
            other => Self::Tls(other.to_string()),
        }
    }
}

/// The host's names, as far as a line holds them; without the verifier's own notation.
fn names(presented: &[String]) -> String {
    let bare = |name: &String| {
        let inner = name.split_once('(').map_or(name.as_str(), |(_, inner)| inner);
        inner.trim_matches(|letter| matches!(letter, '"' | ')' | '(')).chars().take(60).collect::<String>()
    };
    match presented {
        [] => "no name at all".to_owned(),
        some => some.iter().take(3).map(bare).collect::<Vec<_>>().join(", "),
    }
}

fn asked(retry_after: Option<Duration>) -> String {
    retry_after.map_or_else(String::new, |wait| format!("; to be asked again in {} s", wait.as_secs()))
}

/// A page for people where a document should be is mostly the host's sign-in.
fn page(media_type: &str) -> &'static str {
    if media_type.contains("html") { "; is this a sign-in page?" } else { "" }
}

/// The first error of that type in the chain.
fn found<'e, E: Error + 'static>(error: &'e (dyn Error + 'static)) -> Option<&'e E> {
    chain(error).find_map(|error| error.downcast_ref())
}

/// The text of the last error in the chain: the one that says what happened.
pub(super) fn innermost(error: &(dyn Error + 'static)) -> String {
    chain(error).last().map_or_else(|| error.to_string(), ToString::to_string)
}

fn chain<'e>(error: &'e (dyn Error + 'static)) -> impl Iterator<Item = &'e (dyn Error + 'static)> {
    std::iter::successors(Some(error), |error| {
        let error: &'e (dyn Error + 'static) = *error;
        // An I/O error that only carries another one gives that one's source as its own, and so skips it.
        let carried = error.downcast_ref::<io::Error>().and_then(io::Error::get_ref);
        carried.map(|carried| -> &'e (dyn Error + 'static) { carried }).or_else(|| error.source())
    })
}
