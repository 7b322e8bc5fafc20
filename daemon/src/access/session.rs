//! Sessions after a sign-in. Owns what their cookie says, and that one which was ended stays ended until the next start.
//!
//! A cookie says its session's number and its end, with their HMAC-SHA-256 (RFC 2104). The key is made of the record's own
//! secret and of the password's hash, so neither a copy of the record nor one of the configuration makes a session, a new
//! password ends all of them, and a restart ends none.

use crate::links::LinkKey;
use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use ring::hmac;
use std::collections::BTreeMap;
use std::fmt;
use std::sync::{Mutex, PoisonError};

/// How long a session lasts: a phone beside the printer signs in once a month.
pub const SESSION_LASTS: Seconds = Seconds::minutes(30.0 * 24.0 * 60.0);

/// What else the record's secret signs begins otherwise.
const PURPOSE: &str = "session 1";
/// The longest cookie that is looked at, bytes; ours have about 100.
const COOKIE_MAX: usize = 256;
/// How many ended sessions are remembered; beyond that the one that would end first is forgotten.
const ENDED_MAX: usize = 1000;

/// A session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// Its number, at random.
    number: String,
    /// Until when it lasts.
    pub until: Timestamp,
}

/// Why a cookie opens nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SessionFault {
    /// It was not made here, or under another password.
    #[error("the session is not one of this dashboard, or the password was changed")]
    Forged,
    /// Its time is over.
    #[error("the session is over")]
    Expired,
    /// Its person signed out.
    #[error("the session was ended")]
    Ended,
}

/// Makes sessions, reads and ends them.
pub struct Sessions {
    key: hmac::Key,
    /// The numbers of those that were ended, with when they would have been over.
    ended: Mutex<BTreeMap<String, Timestamp>>,
}

impl fmt::Debug for Sessions {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Sessions").finish_non_exhaustive()
    }
}

impl Sessions {
    /// The sessions of a record under a password's hash.
    #[must_use]
    pub fn new(record: &LinkKey, password_hash: &str) -> Self {
        Self { key: record.derive(&format!("{PURPOSE}\n{password_hash}")), ended: Mutex::default() }
    }

    /// Begins a session and tells its cookie.
    #[must_use]
    pub fn begin(&self, now: Timestamp) -> (Session, String) {
        let number = BASE64_URL_SAFE_NO_PAD.encode(rand::random::<[u8; 16]>());
        let session = Session { number, until: now + SESSION_LASTS };
        let said = format!("{}.{}", session.number, session.until.as_ms());
        let tag = hmac::sign(&self.key, said.as_bytes());
        let cookie = format!("{said}.{}", BASE64_URL_SAFE_NO_PAD.encode(tag.as_ref()));
        (session, cookie)
    }

    /// Reads a cookie, at `now`.
    ///
    /// # Errors
    /// If it opens nothing.
    pub fn read(&self, cookie: &str, now: Timestamp) -> Result<Session, SessionFault> {
        let session = self.verified(cookie).ok_or(SessionFault::Forged)?;
        self.look(&session, now).map(|()| session)
    }

    /// Looks at a session that was read before, at `now`.
    ///
    /// # Errors
    /// If it opens nothing any more.
    pub fn look(&self, session: &Session, now: Timestamp) -> Result<(), SessionFault> {
        if now >= session.until {
            return Err(SessionFault::Expired);
        }
        let ended = self.ended.lock().unwrap_or_else(PoisonError::into_inner);
        if ended.contains_key(&session.number) { Err(SessionFault::Ended) } else { Ok(()) }
    }

    fn verified(&self, cookie: &str) -> Option<Session> {
        let (said, tag) = cookie.rsplit_once('.').filter(|_| cookie.len() <= COOKIE_MAX)?;
        let tag = BASE64_URL_SAFE_NO_PAD.decode(tag).ok()?;
        // Compares in constant time.
        hmac::verify(&self.key, said.as_bytes(), &tag).ok()?;
        let (number, until) = said.split_once('.')?;
        Some(Session { number: number.to_owned(), until: Timestamp::from_ms(until.parse().ok()?) })
    }

    /// Ends a session before its time; that is remembered in memory alone.
    pub fn end(&self, session: Session, now: Timestamp) {
        let mut ended = self.ended.lock().unwrap_or_else(PoisonError::into_inner);
        ended.retain(|_, until| now < *until);
        if ended.len() >= ENDED_MAX {
            let first = ended.iter().min_by_key(|(_, until)| **until).map(|(number, _)| number.clone());
            first.and_then(|number| ended.remove(&number));
        }
        ended.insert(session.number, session.until);
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    fn record(secret: u8) -> LinkKey {
        LinkKey::new(&[secret; 32], "one".to_owned())
    }

    fn at(days: f64) -> Timestamp {
        Timestamp::from_ms(1_772_438_400_000) + Seconds::minutes(days * 24.0 * 60.0)
    }

    #[test]
    fn a_session_lasts_thirty_days_and_a_restart() {
        let (session, cookie) = Sessions::new(&record(7), "hash").begin(at(0.0));
        let again = Sessions::new(&record(7), "hash");
        assert_eq!(again.read(&cookie, at(29.99)), Ok(session));
        assert_eq!(again.read(&cookie, at(30.0)), Err(SessionFault::Expired));
    }

    #[test]
    fn another_password_or_record_ends_it_and_no_byte_of_it_can_be_changed() {
        let sessions = Sessions::new(&record(7), "hash");
        let (_, cookie) = sessions.begin(at(0.0));
        for other in [Sessions::new(&record(7), "other"), Sessions::new(&record(8), "hash")] {
            assert_eq!(other.read(&cookie, at(0.0)), Err(SessionFault::Forged));
        }
        for (place, letter) in cookie.char_indices() {
            let mut forged = cookie.clone();
            forged.replace_range(place..=place, if letter == '1' { "2" } else { "1" });
            // The last letter of a text in base64 holds bits that nothing hangs on.
            if place + 1 < cookie.len() {
                assert_eq!(sessions.read(&forged, at(0.0)), Err(SessionFault::Forged), "{forged}");
            }
        }
        for forged in ["", ".", "..", "a.1.", &cookie[..cookie.len() - 4], &"x.".repeat(200)] {
            assert_eq!(sessions.read(forged, at(0.0)), Err(SessionFault::Forged), "{forged}");
        }
    }

    #[test]
    fn a_session_that_was_ended_stays_ended_and_no_other_is() {
        let sessions = Sessions::new(&record(7), "hash");
        let ((ended, cookie), (_, other)) = (sessions.begin(at(0.0)), sessions.begin(at(0.0)));
        sessions.end(ended, at(1.0));
        assert_eq!(sessions.read(&cookie, at(1.0)), Err(SessionFault::Ended));
        assert!(sessions.read(&other, at(1.0)).is_ok());
    }

    #[test]
    fn ended_sessions_are_remembered_in_bounded_memory() {
        let sessions = Sessions::new(&record(7), "hash");
        for nth in 0..1500_u32 {
            let (session, _) = sessions.begin(at(f64::from(nth) / 1e4));
            sessions.end(session, at(1.0));
        }
        assert_eq!(sessions.ended.lock().unwrap().len(), ENDED_MAX);
        let (session, _) = sessions.begin(at(40.0));
        sessions.end(session, at(40.0));
        assert_eq!(sessions.ended.lock().unwrap().len(), 1, "those that are over need no word");
    }
}
