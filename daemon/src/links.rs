//! Links in messages that act on one alarm: what they sign, and what is read of one that comes back. Owns the token;
//! knows no page, and does nothing to an alarm itself.
//!
//! A token is what is to be done, until when, and to which alarm, in plain words; and the HMAC-SHA-256 of that and of the
//! record's word under the record's own key (RFC 2104; both parts in base64url, RFC 4648). So it says the same at every
//! try of a message, nobody can make one for another alarm, and none of one record acts on another's.

use crate::alarm::{Rule, Subject};
use crate::entry::{PrinterName, ToolNumber};
use crate::store::{Store, StoreError};
use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use ring::hmac;
use std::fmt;

/// How long after its notice a link works: until the next day's same hour, when most have looked at their mail.
pub const LINK_LASTS: Seconds = Seconds::minutes(24.0 * 60.0);

/// How long the links of messages shelve for, minutes.
pub const SHELVE_MIN: u32 = 60;

/// The path that tokens stand below.
pub const LINK_PATH: &str = "/alarms/link/";

/// The longest token that is looked at, bytes: with a printer's name of 200 letters one has about 500.
const TOKEN_MAX: usize = 2048;

/// What identifies an alarm in the world.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlarmKey {
    /// The printer; `None` is the record itself.
    pub printer: Option<PrinterName>,
    /// What it is about.
    pub subject: Subject,
    /// When it was raised.
    pub raised: Timestamp,
}

/// What a link does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkAct {
    /// Acknowledges the alarm.
    Acknowledge,
    /// Shelves its rule, on the same tool or printer.
    Shelve {
        /// For so many minutes.
        minutes: u32,
    },
}

/// A link that was signed here and still works.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// What it does.
    pub act: LinkAct,
    /// To which alarm.
    pub alarm: AlarmKey,
    /// Until when it works.
    pub until: Timestamp,
}

/// Why a token is not one that works.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LinkFault {
    /// It was not signed here: it is cut short, changed, made up, or another record's.
    #[error("the link was not signed by this record")]
    Forged,
    /// Its time is over.
    #[error("the link's time is over")]
    Expired,
}

/// What a record signs links with.
#[derive(Clone)]
pub struct LinkKey {
    secret: hmac::Key,
    record: String,
}

impl LinkKey {
    /// The key of the record of that word.
    #[must_use]
    pub fn new(secret: &[u8], record: String) -> Self {
        Self { secret: hmac::Key::new(hmac::HMAC_SHA256, secret), record }
    }

    /// A key of the same record for another purpose: an HMAC of a text is a key that tells nothing of the one it was made
    /// with (RFC 5869). What links sign begins with the record's word and a line break; a purpose begins with one.
    #[must_use]
    pub fn derive(&self, purpose: &str) -> hmac::Key {
        let made = hmac::sign(&self.secret, format!("\n{}\n{purpose}", self.record).as_bytes());
        hmac::Key::new(hmac::HMAC_SHA256, made.as_ref())
    }
}

impl fmt::Debug for LinkKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("LinkKey").field("record", &self.record).finish_non_exhaustive()
    }
}

/// Makes links and reads them.
#[derive(Clone, Debug)]
pub struct Links {
    base: String,
    key: LinkKey,
}

impl Links {
    /// Links that lead to an address such as `https://bench.example`.
    #[must_use]
    pub fn new(base: &str, key: LinkKey) -> Self {
        Self { base: base.trim_end_matches('/').to_owned(), key }
    }

    /// The links of a record; none without an address.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn of(address: Option<&str>, store: &Store) -> Result<Option<Self>, StoreError> {
        let key = |base| Ok(Self::new(base, store.reader()?.link_key()?));
        address.map(key).transpose()
    }

    /// The address that they lead to.
    #[must_use]
    pub fn base(&self) -> &str {
        &self.base
    }

    /// The page that lists all alarms, where the address is one of this machine: under any other the dashboard answers
    /// for links alone.
    #[must_use]
    pub fn page(&self) -> Option<String> {
        let url = reqwest::Url::parse(&self.base).ok()?;
        let host = url.host_str()?;
        is_loopback(host).then(|| format!("{}/alarms", self.base))
    }

    /// A link that acknowledges the alarm.
    #[must_use]
    pub fn acknowledge(&self, alarm: &AlarmKey, until: Timestamp) -> String {
        self.address(&Link { act: LinkAct::Acknowledge, alarm: alarm.clone(), until })
    }

    /// A link that shelves the alarm's rule for so many minutes.
    #[must_use]
    pub fn shelve(&self, alarm: &AlarmKey, minutes: u32, until: Timestamp) -> String {
        self.address(&Link { act: LinkAct::Shelve { minutes }, alarm: alarm.clone(), until })
    }

    fn address(&self, link: &Link) -> String {
        let said = write(link);
        let tag = hmac::sign(&self.key.secret, &self.signed(&said));
        let coded = |bytes: &[u8]| BASE64_URL_SAFE_NO_PAD.encode(bytes);
        format!("{}{LINK_PATH}{}.{}", self.base, coded(said.as_bytes()), coded(tag.as_ref()))
    }

    /// What is signed: the record's word, which holds no line break, before what is said.
    fn signed(&self, said: &str) -> Vec<u8> {
        format!("{}\n{said}", self.key.record).into_bytes()
    }

    /// Reads the token of a link, at `now`.
    ///
    /// # Errors
    /// If it was not signed here, or its time is over.
    pub fn read(&self, token: &str, now: Timestamp) -> Result<Link, LinkFault> {
        let link = self.verified(token).ok_or(LinkFault::Forged)?;
        if now < link.until { Ok(link) } else { Err(LinkFault::Expired) }
    }

    fn verified(&self, token: &str) -> Option<Link> {
        let (said, tag) = token.split_once('.').filter(|_| token.len() <= TOKEN_MAX)?;
        let decoded = |text: &str| BASE64_URL_SAFE_NO_PAD.decode(text).ok();
        let (said, tag) = (String::from_utf8(decoded(said)?).ok()?, decoded(tag)?);
        // Compares in constant time.
        hmac::verify(&self.key.secret, &self.signed(&said), &tag).ok()?;
        parse(&said)
    }
}

/// Whether a host name, without a port, is one of this machine.
#[must_use]
pub fn is_loopback(name: &str) -> bool {
    name == "localhost" || name == "[::1]" || name.parse::<std::net::Ipv4Addr>().is_ok_and(|ip| ip.is_loopback())
}

/// The words of a link. A printer's name stands last, since it may hold anything.
fn write(link: &Link) -> String {
    let Link { act, alarm: AlarmKey { printer, subject, raised }, until } = link;
    let act = match act {
        LinkAct::Acknowledge => "acknowledge".to_owned(),
        LinkAct::Shelve { minutes } => minutes.to_string(),
    };
    let tool = subject.tool.map_or_else(String::new, |tool| tool.idx().to_string());
    let printer = printer.as_ref().map_or("", |printer| printer.as_str());
    format!("{act} {} {} {} {tool} {printer}", until.as_ms(), raised.as_ms(), subject.rule.word())
}

fn parse(said: &str) -> Option<Link> {
    let mut words = said.splitn(6, ' ');
    let act = match words.next()? {
        "acknowledge" => LinkAct::Acknowledge,
        minutes => LinkAct::Shelve { minutes: minutes.parse().ok()? },
    };
    let mut instant = || Some(Timestamp::from_ms(words.next()?.parse().ok()?));
    let (until, raised) = (instant()?, instant()?);
    let rule = Rule::of_word(words.next()?)?;
    let tool = match words.next()? {
        "" => None,
        tool => Some(ToolNumber::new(tool.parse().ok()?)?),
    };
    let printer = match words.next()? {
        "" => None,
        name => Some(PrinterName::new(name)?),
    };
    Some(Link { act, alarm: AlarmKey { printer, subject: Subject { rule, tool }, raised }, until })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
