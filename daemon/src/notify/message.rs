//! What a channel sends at once, and what it is told with. Owns its JSON; how it looks in a mail is `dwell_dashboards`'.

use super::told::Told;
use crate::links::Links;
use crate::stamp;
use crate::store::Notice;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::SAFETY_WORDS;
use dwell_dashboards::view::MessageChart;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

/// Why notices go together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One notice by itself.
    Single,
    /// One by itself that has overtaken others in a flood: a person has to act now. Its receiver sees a single one.
    Ahead,
    /// Several that came close together, or could not be sent earlier.
    Group,
    /// What came in quiet hours.
    Digest,
    /// A person wants to see whether it arrives.
    Test,
}

impl Kind {
    /// The word that tables use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Ahead => "ahead",
            Self::Group => "group",
            Self::Digest => "digest",
            Self::Test => "test",
        }
    }

    /// The kind of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::Single, Self::Ahead, Self::Group, Self::Digest, Self::Test].into_iter().find(|kind| kind.word() == word)
    }
}

/// A message on its way.
#[derive(Clone, Debug, PartialEq)]
pub struct Message {
    /// Identifies it for ever, a channel: the receiver sees the same key when it is delivered twice.
    pub key: String,
    /// Why these go together.
    pub kind: Kind,
    /// When it was made.
    pub made: Timestamp,
    /// In order; at least one, but for a test.
    pub notices: Vec<Notice>,
    /// How many others were dropped since the message before, as more waited than is kept.
    pub n_dropped: u32,
}

/// What a message is told with, besides itself. It has to come out the same at each try.
#[derive(Clone, Debug)]
pub struct SendContext {
    /// Makes the links that act on an alarm; `None` without an address that leads here.
    pub links: Option<Links>,
    /// The last while of the tool that a single notice speaks of, for those channels that can show it.
    pub chart: Option<MessageChart>,
    /// Whose clock the times in a text are told by.
    pub zone: TimeZone,
}

impl Default for SendContext {
    fn default() -> Self {
        Self { links: None, chart: None, zone: TimeZone::UTC }
    }
}

/// Why a message did not arrive.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{cause}")]
pub struct SendFault {
    /// In words, without any secret.
    pub cause: String,
    /// What the receiver asked to wait at least (as with `Retry-After`, RFC 9110).
    pub wait: Option<std::time::Duration>,
    /// Whether it may be that the receiver takes no message as large as this.
    pub is_too_large: bool,
}

impl SendFault {
    /// A fault of which nothing more is known.
    #[must_use]
    pub fn new(cause: impl Into<String>) -> Self {
        Self { cause: cause.into(), wait: None, is_too_large: false }
    }
}

impl Message {
    /// The JSON that webhooks, brokers and commands are given: a notice by itself as it stands in the outbox, several
    /// under `notices`.
    #[must_use]
    pub fn json(&self, context: &SendContext) -> Value {
        let mut told = match (self.kind, self.notices.as_slice()) {
            (Kind::Single | Kind::Ahead, [notice]) => noticed(notice, context),
            (Kind::Test, _) => json!({ "words": TEST_WORDS }),
            (Kind::Single | Kind::Ahead | Kind::Group | Kind::Digest, notices) => json!({
                "n": notices.len(),
                "notices": notices.iter().map(|notice| noticed(notice, context)).collect::<Vec<_>>(),
                "safety": SAFETY_WORDS,
            }),
        };
        let kind = if self.kind == Kind::Ahead { Kind::Single } else { self.kind };
        told["kind"] = kind.word().into();
        told["key"] = self.key.as_str().into();
        told["made"] = stamp::write(self.made).into();
        if self.n_dropped > 0 {
            told["dropped"] = self.n_dropped.into();
        }
        told
    }
}

/// What a test says.
pub(super) const TEST_WORDS: &str = "This is a test of dwellwatch's messages. Nothing is the matter.";

/// A notice's body with its key and its links.
fn noticed(notice: &Notice, context: &SendContext) -> Value {
    // The outbox takes nothing but objects; what is none is still told, as the text that it is.
    let mut told = match serde_json::from_str(notice.body()) {
        Ok(Value::Object(body)) => Value::Object(body),
        Ok(_) | Err(_) => json!({ "body": notice.body() }),
    };
    told["key"] = notice.key().into();
    let links =
        context.links.as_ref().zip(Told::of(notice)).and_then(|(links, told)| Some((links, told.links(links)?)));
    if let Some((all, links)) = links {
        told["links"] = json!({
            "acknowledge": links.acknowledge, "shelve": links.shelve, "until": stamp::write(links.until),
        });
        if let Some(page) = all.page() {
            told["links"]["page"] = page.into();
        }
    }
    told
}
