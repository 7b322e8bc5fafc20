//! Who may ask the dashboard for what. Owns the checks that stand before every route, in their order, and the headers that
//! every answer carries; knows no page.
//!
//! This machine needs no sign-in; whoever comes from elsewhere, or through a proxy, does. What must be kept out besides are
//! pages of other sites that a browser has open: they could ask under a name of their own that resolves here (`names`), or
//! post a form here (`names` looks at its origin, `posted` at its token).

use super::Site;
use super::answer::page;
use super::api;
use super::attempts::Attempt;
use super::came::{Peer, is_forwarded};
use super::gate::{self, Door, Shut, is_for_programs};
use super::names::Names;
use super::posted;
use super::sign_in::{self, SIGN_IN};
use crate::links::LINK_PATH;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{
    ACCEPT, ALLOW, CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, REFERRER_POLICY, WWW_AUTHENTICATE,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use dwell_dashboards::render_link_message;
use futures_util::StreamExt;
use rand::distr::{Alphanumeric, SampleString};
use std::sync::Arc;

/// No script, style or image from elsewhere, and no inline ones.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// What no other site's page may embed, read or hold a window of (HTML and Fetch Standards).
const APART: [(HeaderName, &str); 2] = [
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// The letters of a form token: 32 of 62 kinds are 190 bits.
const TOKEN_LETTERS: usize = 32;

/// A new form token.
pub(super) fn new_token() -> String {
    Alphanumeric.sample_string(&mut rand::rng(), TOKEN_LETTERS)
}

/// Lets a request through if it may come in, and adds the headers that every answer carries.
pub(super) async fn check(State((names, site)): State<(Names, Arc<Site>)>, request: Request, next: Next) -> Response {
    let mut response = admitted(&names, &site, request, next).await.unwrap_or_else(|refused| refused);
    let headers = response.headers_mut();
    headers.entry(CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    for (name, value) in APART {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

async fn admitted(names: &Names, site: &Arc<Site>, mut request: Request, next: Next) -> Result<Response, Response> {
    let (headers, path, method) = (request.headers(), request.uri().path(), request.method());
    if !names.answer(headers, path) {
        return Err(not_answered(names, site, headers));
    }
    // The API says itself how each of its addresses is asked.
    if !matches!(*method, Method::GET | Method::HEAD | Method::POST) && !is_for_programs(path) {
        return Err((StatusCode::METHOD_NOT_ALLOWED, [(ALLOW, "GET, HEAD, POST")]).into_response());
    }
    let acts = !matches!(*method, Method::GET | Method::HEAD);
    if acts && !names.is_own(headers, path) {
        site.turned_away(Attempt::ForeignForm);
        return Err(if is_for_programs(path) {
            api::refused(StatusCode::FORBIDDEN, "This was sent by another site.")
        } else {
            (StatusCode::FORBIDDEN, "this form was sent by another site\n").into_response()
        });
    }
    let door = site.gate.door(request.extensions().get::<Peer>().copied(), headers, path, site.clock.now().at);
    if door == Door::Shut(Shut::WrongToken) {
        site.turned_away(Attempt::SignIn);
    }
    let is_link = path.starts_with(LINK_PATH);
    let is_open = is_link || path == SIGN_IN || matches!(path, "/style.css" | "/favicon.ico");
    if let Door::Shut(why) = door
        && !is_open
    {
        return Err(shut(site, &request, why));
    }
    // A link's signature and the sign-in's own token are what the token of a form is elsewhere.
    let says_token = !is_link && path != SIGN_IN;
    let is_private = matches!(door, Door::Session(_) | Door::Program) && !is_open;
    request.extensions_mut().insert(door.clone());
    let request = match (acts, says_token) {
        (false, _) => request,
        (true, false) => posted::come(request).await?,
        (true, true) => posted::checked(site, request).await?,
    };
    let mut response = while_let_in(site, door, next.run(request).await);
    if is_private {
        // What only those may see who signed in is in no cache after they signed out.
        response.headers_mut().insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    Ok(response)
}

/// The answer; a feed ends once its session is over.
fn while_let_in(site: &Site, door: Door, response: Response) -> Response {
    let kind = response.headers().get(CONTENT_TYPE).map_or(&[][..], HeaderValue::as_bytes);
    let Door::Session(session) = door else { return response };
    if !kind.starts_with(b"text/event-stream") {
        return response;
    }
    let over = gate::until_over(Arc::clone(&site.gate), Arc::clone(&site.clock), session);
    response.map(|body| Body::from_stream(body.into_data_stream().take_until(over)))
}

/// What is said under a name that is not answered.
fn not_answered(names: &Names, site: &Site, headers: &HeaderMap) -> Response {
    let status = StatusCode::MISDIRECTED_REQUEST;
    if site.gate.access().opens() {
        let text = "this dashboard does not answer under this name; its configuration may list it: [web] addresses\n";
        return (status, text).into_response();
    }
    if is_forwarded(headers) || names.is_links(headers) {
        // Said to a person who followed a link and went on from there.
        let text = "Under this name, or through a proxy, only the links in messages open. The dashboard has no sign-in, \
                    so the rest of it answers on its own machine alone.";
        return (status, page(render_link_message("Not from here", text))).into_response();
    }
    (status, "this dashboard answers on loopback names only\n").into_response()
}

/// What is said to whom is not let in.
fn shut(site: &Site, request: &Request, why: Shut) -> Response {
    let wants_page = request.headers().get(ACCEPT).and_then(|accept| accept.to_str().ok());
    let wants_page = wants_page.is_some_and(|accept| accept.contains("text/html"));
    let path = request.uri().path();
    if is_for_programs(path) && !wants_page {
        let asks = HeaderValue::from_static("Bearer realm=\"dwellwatch\"");
        let text = "A sign-in is needed: a token in the header Authorization, or a session.";
        let mut response = api::refused(StatusCode::UNAUTHORIZED, text);
        response.headers_mut().insert(WWW_AUTHENTICATE, asks);
        return response;
    }
    if request.method() == Method::POST {
        return sign_in::lost(site, request.headers(), why);
    }
    if !wants_page {
        return (StatusCode::UNAUTHORIZED, "a sign-in is needed\n").into_response();
    }
    let to = request.uri().path_and_query().map_or("/", |to| to.as_str());
    Redirect::to(&sign_in::leading_to(to)).into_response()
}
