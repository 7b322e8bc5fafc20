//! What a channel sends at once. Owns its JSON; how it looks in a mail is `dwell_dashboards`'.

use crate::store::Notice;
use dwell_analysis::time::Timestamp;

/// Why notices go together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One notice by itself.
    Single,
    /// Several that came close together, or could not be sent earlier.
    Group,
    /// What came in quiet hours.
    Digest,
    /// A person wants to see whether it arrives.
    Test,
}

/// A message on its way.
#[derive(Clone, Debug)]
pub struct Message {
    /// Identifies it for ever, a channel: the receiver sees the same key when it is delivered twice.
    pub key: String,
    /// Why these go together.
    pub kind: Kind,
    /// When it was made.
    pub made: Timestamp,
    /// In order; at least one, but for a test.
    pub notices: Vec<Notice>,
}

/// Why a message did not arrive.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{cause}")]
pub struct SendFault {
    /// In words, without any secret.
    pub cause: String,
    /// What the receiver asked to wait at least (as with `Retry-After`, RFC 9110).
    pub wait: Option<std::time::Duration>,
}
