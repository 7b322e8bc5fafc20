//! What stands between the dashboard and those who come from elsewhere. Owns who needs a sign-in, and the state of tries
//! and sessions; what is answered to whom is `guard`'s.

use super::came::{Peer, is_local};
use crate::access::{Access, Session, SessionFault, Sessions, Throttle};
use crate::clock::Clock;
use crate::links::LinkKey;
use axum::http::HeaderMap;
use axum::http::header::{AUTHORIZATION, COOKIE};
use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine};
use dwell_analysis::time::Timestamp;
use ring::hmac;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::Semaphore;

/// The cookie of a session.
pub(super) const SESSION_COOKIE: &str = "dwellwatch_session";
/// The cookie that the form of a sign-in answers to.
pub(super) const FORM_COOKIE: &str = "dwellwatch_form";

/// How often it is looked whether the session of an answer that goes on is over.
const LOOKED_AT_EVERY: Duration = Duration::from_secs(1);

/// How a request may come in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Door {
    /// From this machine: it needs no sign-in.
    Here,
    /// By a session.
    Session(Session),
    /// By a program's token.
    Program,
    /// Not at all.
    Shut(Shut),
}

/// Why not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shut {
    /// It brings nothing.
    Unknown,
    /// Its session opens nothing.
    Session(SessionFault),
    /// Its token is not the one.
    WrongToken,
}

/// The gate.
#[derive(Debug)]
pub(super) struct Gate {
    access: Access,
    sessions: Option<Sessions>,
    pub(super) throttle: Mutex<Throttle>,
    /// A password is checked in 19 MiB or more, one at a time.
    pub(super) checking: Semaphore,
    /// Of this process alone.
    key: hmac::Key,
}

impl Default for Gate {
    fn default() -> Self {
        Self {
            access: Access::default(),
            sessions: None,
            throttle: Mutex::default(),
            checking: Semaphore::new(1),
            key: hmac::Key::new(hmac::HMAC_SHA256, &rand::random::<[u8; 32]>()),
        }
    }
}

impl Gate {
    pub(super) fn new(access: Access, record: &LinkKey) -> Self {
        let sessions = access.password.as_ref().map(|password| Sessions::new(record, password.as_str()));
        Self { access, sessions, ..Self::default() }
    }

    pub(super) fn access(&self) -> &Access {
        &self.access
    }

    pub(super) fn sessions(&self) -> Option<&Sessions> {
        self.sessions.as_ref()
    }

    /// How a request comes in. A program's token counts where programs ask, and no cookie counts beside it.
    pub(super) fn door(&self, peer: Option<Peer>, headers: &HeaderMap, path: &str, now: Timestamp) -> Door {
        let bearer = self.access.token.as_ref().filter(|_| is_for_programs(path)).zip(bearer(headers));
        if let Some((token, shown)) = bearer {
            return if token.is(shown) { Door::Program } else { Door::Shut(Shut::WrongToken) };
        }
        if self.is_here(peer, headers) {
            return Door::Here;
        }
        match self.sessions().zip(cookie(headers, SESSION_COOKIE)) {
            None => Door::Shut(Shut::Unknown),
            Some((sessions, cookie)) => {
                sessions.read(cookie, now).map_or_else(|fault| Door::Shut(Shut::Session(fault)), Door::Session)
            }
        }
    }

    /// Whether a request is this machine's own. Where nobody can sign in the dashboard listens on loopback alone, so that
    /// its other end, if it is not told, is here.
    fn is_here(&self, peer: Option<Peer>, headers: &HeaderMap) -> bool {
        let is_near = peer.map_or(!self.access.opens(), Peer::is_loopback);
        is_near && is_local(headers) && !self.access.loopback_signs_in
    }

    /// A word for the browser's cookie, which the form that stands beside it answers to.
    pub(super) fn form_word() -> String {
        BASE64_URL_SAFE_NO_PAD.encode(rand::random::<[u8; 16]>())
    }

    /// What the form of a sign-in says to a cookie's word.
    pub(super) fn form_token(&self, word: &str) -> String {
        BASE64_URL_SAFE_NO_PAD.encode(hmac::sign(&self.key, word.as_bytes()))
    }

    /// Whether a form says what is right, told in the same time for any other.
    pub(super) fn is_same(&self, said: &str, right: &str) -> bool {
        hmac::verify(&self.key, said.as_bytes(), hmac::sign(&self.key, right.as_bytes()).as_ref()).is_ok()
    }
}

/// Waits until a session is over, or was ended.
pub(super) async fn until_over(gate: Arc<Gate>, clock: Arc<Clock>, session: Session) {
    while gate.sessions().is_some_and(|sessions| sessions.look(&session, clock.now().at).is_ok()) {
        tokio::time::sleep(LOOKED_AT_EVERY).await;
    }
}

/// What programs ask for.
pub(super) fn is_for_programs(path: &str) -> bool {
    path == "/metrics" || path == "/api" || path.starts_with("/api/")
}

/// The token that a program shows (RFC 6750, section 2.1).
fn bearer(headers: &HeaderMap) -> Option<&str> {
    let (scheme, token) = headers.get(AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then_some(token.trim())
}

/// A cookie's value (RFC 6265).
pub(super) fn cookie<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    let all = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|value| value.split(';')).find_map(|pair| {
        let (found, value) = pair.trim().split_once('=')?;
        (found == name).then_some(value)
    })
}
