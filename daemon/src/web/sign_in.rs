//! Signing in and out. Owns the addresses, what of a form is taken, and where it leads afterwards.

use super::Site;
use super::answer::{Refusal, page};
use super::attempts::Attempt;
use super::came::{self, Peer, is_https};
use super::gate::{Door, FORM_COOKIE, Gate, SESSION_COOKIE, Shut, cookie};
use super::posted;
use super::server::Live;
use crate::access::{PASSWORD_MAX, PasswordHash, SESSION_LASTS, SessionFault, Turn};
use axum::extract::rejection::FormRejection;
use axum::extract::{Query, State};
use axum::http::header::{RETRY_AFTER, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Form, Router};
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{SignInStage, SignInView};
use dwell_dashboards::{format, render_sign_in};
use std::collections::HashMap;
use std::sync::{Arc, PoisonError};
use std::time::{Duration, Instant};

/// The page.
pub(super) const SIGN_IN: &str = "/sign-in";
const SIGN_OUT: &str = "/sign-out";

/// The longest address that a sign-in leads to, bytes.
const TO_MAX: usize = 512;
/// How long a try may wait while others are checked.
const BUSY_MAX: Duration = Duration::from_secs(5);

pub(super) fn routes() -> Router<Live> {
    Router::new().route(SIGN_IN, get(form).post(sign_in)).route(SIGN_OUT, post(sign_out))
}

/// The fields as they come in.
#[derive(serde::Deserialize)]
struct Fields {
    #[serde(default)]
    token: String,
    #[serde(default)]
    password: String,
    #[serde(default)]
    to: String,
}

/// The sign-in that leads to a page of ours.
pub(super) fn leading_to(to: &str) -> String {
    match to {
        "/" => SIGN_IN.to_owned(),
        to => format!("{SIGN_IN}?to={}", escaped(to)),
    }
}

/// As a value in a query (RFC 3986).
fn escaped(text: &str) -> String {
    let letter = |byte: u8| match byte {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => char::from(byte).to_string(),
        other => format!("%{other:02X}"),
    };
    text.bytes().map(letter).collect()
}

/// Where a sign-in leads: a page of ours, whatever it was asked for.
fn destination(to: &str) -> &str {
    let is_plain = to.len() <= TO_MAX && to.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    let is_path = to.starts_with('/') && !to.starts_with("//");
    let is_ours = is_plain && is_path && to.parse::<Uri>().is_ok_and(|to| to.authority().is_none());
    let is_sign_in = [SIGN_IN, SIGN_OUT].iter().any(|own| to.starts_with(own));
    if is_ours && !is_sign_in { to } else { "/" }
}

/// Shows the form, or who needs none.
async fn form(
    State(site): State<Arc<Site>>,
    Extension(door): Extension<Door>,
    Query(query): Query<HashMap<String, String>>,
    headers: HeaderMap,
) -> Response {
    let to = query.get("to").map_or("/", |to| destination(to));
    let stage = match door {
        Door::Here => SignInStage::NotNeeded,
        Door::Session(session) => {
            SignInStage::SignedIn { until: session.until, zone: site.zone.clone(), token: site.token.clone() }
        }
        Door::Program => return Redirect::to("/").into_response(),
        Door::Shut(Shut::Session(fault)) => return asks(&site, &headers, to, Some(over(fault))),
        Door::Shut(Shut::Unknown | Shut::WrongToken) => return asks(&site, &headers, to, None),
    };
    page(render_sign_in(&SignInView { stage, rehearsal: site.rehearsal })).into_response()
}

fn over(fault: SessionFault) -> &'static str {
    match fault {
        SessionFault::Forged => "You are signed out: the password was changed, or the record was begun anew.",
        SessionFault::Expired => "You are signed out: a session lasts 30 days.",
        SessionFault::Ended => "You have signed out.",
    }
}

/// The form, with what is said above it.
fn asks(site: &Site, headers: &HeaderMap, to: &str, said: Option<&str>) -> Response {
    if site.gate.access().password.is_none() {
        let view = SignInView { stage: SignInStage::NoPassword, rehearsal: site.rehearsal };
        return page(render_sign_in(&view)).into_response();
    }
    // The word stays while the browser has one, so that two open pages both work.
    let word = cookie(headers, FORM_COOKIE).filter(|word| word.len() == 22).map_or_else(Gate::form_word, str::to_owned);
    let stage =
        SignInStage::Asks { said: said.map(str::to_owned), token: site.gate.form_token(&word), to: to.to_owned() };
    let mut response = page(render_sign_in(&SignInView { stage, rehearsal: site.rehearsal })).into_response();
    set_cookie(&mut response, headers, &format!("{FORM_COOKIE}={word}; Path={SIGN_IN}; SameSite=Strict"));
    response
}

/// What is said to whose session was over when a form was sent.
pub(super) fn lost(site: &Site, headers: &HeaderMap, why: Shut) -> Response {
    let first = match why {
        Shut::Session(fault) => over(fault),
        Shut::Unknown | Shut::WrongToken => "You are not signed in.",
    };
    let said = format!("{first} Nothing of what you sent was taken. Sign in, and send it once more.");
    let mut response = asks(site, headers, "/", Some(&said));
    *response.status_mut() = StatusCode::UNAUTHORIZED;
    response
}

/// No script can read it. `Lax`, so that a link in a message leads a person who is signed in to what it promises.
fn set_cookie(response: &mut Response, headers: &HeaderMap, cookie: &str) {
    let secure = if is_https(headers) { "; Secure" } else { "" };
    if let Ok(value) = HeaderValue::from_str(&format!("{cookie}; HttpOnly{secure}")) {
        response.headers_mut().append(SET_COOKIE, value);
    }
}

/// Looks at a password, and begins a session.
async fn sign_in(
    State(site): State<Arc<Site>>,
    peer: Option<Extension<Peer>>,
    headers: HeaderMap,
    fields: Result<Form<Fields>, FormRejection>,
) -> Result<Response, Refusal> {
    let fields = posted::fields(fields)?;
    let to = destination(&fields.to);
    let again = |status: StatusCode, said: &str| {
        let mut response = asks(&site, &headers, to, Some(said));
        *response.status_mut() = status;
        response
    };
    let gate = &site.gate;
    let Some((password, sessions)) = gate.access().password.as_ref().zip(gate.sessions()) else {
        return Ok(again(StatusCode::NOT_FOUND, ""));
    };
    let is_ours = cookie(&headers, FORM_COOKIE).is_some_and(|word| gate.is_same(&fields.token, &gate.form_token(word)));
    if !is_ours {
        site.turned_away(Attempt::WrongToken);
        let said = "This page was older than the running dwellwatch, or the browser keeps no cookie of this address. Try \
                    once more.";
        return Ok(again(StatusCode::FORBIDDEN, said));
    }
    let address = came::address(peer.map(|Extension(peer)| peer), &headers);
    let throttle = || gate.throttle.lock().unwrap_or_else(PoisonError::into_inner);
    // What waits behind others is no try yet: it would count as failed though nobody looked at it.
    let Ok(Ok(_permit)) = tokio::time::timeout(BUSY_MAX, gate.checking.acquire()).await else {
        return Ok(later(again, BUSY_MAX));
    };
    let turn = throttle().take(address, Instant::now());
    if let Turn::After(wait) = turn {
        return Ok(later(again, wait));
    }
    if !is_right(password.clone(), fields.password).await? {
        site.turned_away(Attempt::SignIn);
        return Ok(again(StatusCode::FORBIDDEN, "That is not the password."));
    }
    throttle().forgive(address);
    let (_, cookie) = sessions.begin(site.clock.now().at);
    let mut response = Redirect::to(to).into_response();
    let lasts = SESSION_LASTS.get();
    let session = format!("{SESSION_COOKIE}={cookie}; Path=/; SameSite=Lax; Max-Age={lasts:.0}");
    set_cookie(&mut response, &headers, &session);
    Ok(response)
}

/// Checks a password where it holds up nobody.
async fn is_right(hash: PasswordHash, password: String) -> Result<bool, Refusal> {
    if password.len() > PASSWORD_MAX {
        return Ok(false);
    }
    let checked = tokio::task::spawn_blocking(move || hash.is_of(&password)).await;
    checked.map_err(|error| Refusal::Failed(error.to_string()))
}

/// Not now.
fn later(again: impl Fn(StatusCode, &str) -> Response, wait: Duration) -> Response {
    let seconds = wait.as_secs().max(1) + u64::from(wait.subsec_nanos() > 0 && wait.as_secs() > 0);
    let words = format::duration_fine(Seconds::new(f64::from(u32::try_from(seconds).unwrap_or(u32::MAX))));
    let said = format!("Too many tries. The next one is looked at in {words}.");
    let mut response = again(StatusCode::TOO_MANY_REQUESTS, &said);
    response.headers_mut().insert(RETRY_AFTER, HeaderValue::from(seconds));
    response
}

/// Ends the session, with every copy of its cookie. That is remembered until the next start; from then on a copy opens the
/// dashboard again for as long as its session lasts, unless the password is another one.
async fn sign_out(State(site): State<Arc<Site>>, Extension(door): Extension<Door>, headers: HeaderMap) -> Response {
    if let (Door::Session(session), Some(sessions)) = (door, site.gate.sessions()) {
        sessions.end(session, site.clock.now().at);
    }
    let mut response = Redirect::to(SIGN_IN).into_response();
    set_cookie(&mut response, &headers, &format!("{SESSION_COOKIE}=; Path=/; SameSite=Lax; Max-Age=0"));
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sign_in_leads_to_pages_of_ours_alone() {
        for to in ["/", "/alarms", "/prints?before=2026-03-02T08:00:00Z", "/prints/4#worst"] {
            assert_eq!(destination(to), to);
        }
        for to in [
            "",
            "alarms",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "\\\\elsewhere.example",
            "https://elsewhere.example/",
            "http:elsewhere.example",
            "javascript:alert(1)",
            "/\nx",
            "/\t/elsewhere.example",
            " /alarms",
            "/ä",
            "/sign-in",
            "/sign-out",
            "/sign-in?to=//elsewhere.example",
        ] {
            assert_eq!(destination(to), "/", "{to:?}");
        }
        assert_eq!(destination(&format!("/{}", "x".repeat(TO_MAX))), "/");
    }

    #[test]
    fn where_one_was_going_stands_in_the_query_whole() {
        assert_eq!(leading_to("/"), "/sign-in");
        assert_eq!(leading_to("/prints?before=a&b=c d"), "/sign-in?to=/prints%3Fbefore%3Da%26b%3Dc%20d");
    }
}
