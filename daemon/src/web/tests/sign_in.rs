//! Who comes from elsewhere: what is shut without a sign-in, what opens it, and what ends it.

mod forms;
mod lasting;
mod names;
mod tries;

use super::{at, site};
use crate::access::{Access, PasswordHash, Token, WebAddress};
use crate::links::LinkKey;
use crate::web::Site;
use crate::web::came::Peer;
use crate::web::server::{Live, router};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::header::{CACHE_CONTROL, LOCATION, RETRY_AFTER, SET_COOKIE, WWW_AUTHENTICATE};
use axum::http::{HeaderMap, Request, StatusCode};
use std::sync::{Arc, LazyLock};
use tokio::sync::watch;
use tower::ServiceExt;

const PASSWORD: &str = "quiet gulls over slate";
const TOKEN: &str = "0123456789abcdef0123456789abcdef";
const HOST: &str = "192.0.2.2:7870";
const FAR: &str = "192.0.2.9:50000";
const NEAR: &str = "127.0.0.1:50000";

/// Made once: it is dear.
static HASH: LazyLock<PasswordHash> = LazyLock::new(|| PasswordHash::of(PASSWORD).unwrap());

fn access() -> Access {
    let addresses = vec![WebAddress::parse("https://bench.example").unwrap()];
    Access {
        password: Some(HASH.clone()),
        token: Some(Token::new(TOKEN).unwrap()),
        addresses,
        loopback_signs_in: false,
    }
}

/// A dashboard that others may come to.
struct Open {
    _folder: tempfile::TempDir,
    _close: watch::Sender<bool>,
    routes: Router,
    site: Arc<Site>,
}

/// What came back.
struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    text: String,
}

impl Answer {
    fn header(&self, name: impl axum::http::header::AsHeaderName) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// The cookie of that name as it was set, with what stands beside it.
    fn set(&self, name: &str) -> Option<String> {
        let all = self.headers.get_all(SET_COOKIE).iter().map(|value| value.to_str().unwrap());
        all.filter(|cookie| cookie.starts_with(&format!("{name}="))).map(str::to_owned).next()
    }

    /// As the browser sends it again.
    fn cookie(&self, name: &str) -> Option<String> {
        Some(self.set(name)?.split(';').next()?.to_owned())
    }

    /// The value of the page's hidden field.
    fn hidden(&self, name: &str) -> String {
        let (_, rest) = self.text.split_once(&format!("name=\"{name}\" value=\"")).unwrap();
        rest.split('"').next().unwrap().to_owned()
    }
}

impl Open {
    fn new(access: Access) -> Self {
        Self::of_record(access, 7)
    }

    fn of_record(access: Access, secret: u8) -> Self {
        let (folder, site) = site(801);
        let site = Arc::new(site.guarded(access, &LinkKey::new(&[secret; 32], "one".to_owned())));
        let (close, closing) = watch::channel(false);
        Self { _folder: folder, _close: close, routes: router(Live { site: Arc::clone(&site), closing }), site }
    }

    async fn ask(&self, peer: &str, request: Request<Body>) -> Answer {
        let mut request = request;
        request.extensions_mut().insert(Peer(peer.parse().unwrap()));
        let response = self.routes.clone().oneshot(request).await.unwrap();
        let (head, body) = response.into_parts();
        let body = to_bytes(body, 1 << 20).await.unwrap();
        Answer { status: head.status, headers: head.headers, text: String::from_utf8(body.to_vec()).unwrap() }
    }

    async fn get(&self, peer: &str, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.ask(peer, asked("GET", path, fields, "")).await
    }

    async fn post(&self, peer: &str, path: &str, fields: &[(&str, &str)], body: &str) -> Answer {
        self.ask(peer, asked("POST", path, fields, body)).await
    }

    /// Signs in with a password, from the page on, as a browser does.
    async fn sign_in(&self, peer: &str, password: &str, to: &str) -> Answer {
        let page = self.get(peer, "/sign-in", &[]).await;
        let body = format!("token={}&password={}&to={to}", page.hidden("token"), password.replace(' ', "+"));
        self.post(peer, "/sign-in", &[("cookie", &page.cookie("dwellwatch_form").unwrap())], &body).await
    }

    /// A session's cookie.
    async fn signed_in(&self) -> String {
        self.sign_in(FAR, PASSWORD, "/").await.cookie("dwellwatch_session").unwrap()
    }
}

/// A request under the usual host, unless the fields have another one.
fn asked(method: &str, path: &str, fields: &[(&str, &str)], body: &str) -> Request<Body> {
    let mut request = Request::builder().method(method).uri(path);
    for (name, value) in [("host", HOST), ("accept", "text/html")] {
        if fields.iter().all(|(found, _)| *found != name) {
            request = request.header(name, value);
        }
    }
    if method == "POST" && fields.iter().all(|(found, _)| *found != "content-type") {
        request = request.header("content-type", "application/x-www-form-urlencoded");
    }
    request = fields.iter().fold(request, |request, (name, value)| request.header(*name, *value));
    request.body(Body::from(body.to_owned())).unwrap()
}

const PAGES: [&str; 7] = ["/", "/prints", "/prints/1", "/alarms", "/preflight", "/reports", "/nothing-here"];

#[tokio::test]
async fn from_elsewhere_every_page_leads_to_the_sign_in_and_back() {
    let open = Open::new(access());
    for path in PAGES {
        let answer = open.get(FAR, path, &[]).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{path}");
        let to = if path == "/" { "/sign-in".to_owned() } else { format!("/sign-in?to={path}") };
        assert_eq!(answer.header(LOCATION), to);
    }
    let form = open.get(FAR, "/sign-in?to=/prints%3Fbefore%3D2026-03-02T08:00:00Z", &[]).await;
    assert_eq!(form.hidden("to"), "/prints?before=2026-03-02T08:00:00Z");
    assert!(form.text.contains("autocomplete=\"current-password\"") && !form.text.contains(&open.site.token));
    for (path, fields) in [("/live", [("accept", "text/event-stream")]), ("/metrics", [("accept", "*/*")])] {
        assert_eq!(open.get(FAR, path, &fields).await.status, StatusCode::UNAUTHORIZED, "{path}");
    }
    for path in ["/style.css", "/favicon.ico"] {
        assert_eq!(open.get(FAR, path, &[]).await.status, StatusCode::OK, "{path}");
    }
}

#[tokio::test]
async fn this_machine_needs_none_unless_a_proxy_passes_on_or_the_configuration_asks_for_it() {
    let open = Open::new(access());
    let local = ("host", "localhost:7870");
    assert_eq!(open.get(NEAR, "/", &[local]).await.status, StatusCode::OK);
    assert_eq!(open.get("[::ffff:127.0.0.1]:9", "/", &[local]).await.status, StatusCode::OK);
    for fields in [vec![local, ("x-forwarded-for", "127.0.0.1")], vec![local, ("via", "1.1 bench")], vec![]] {
        assert_eq!(open.get(NEAR, "/", &fields).await.status, StatusCode::SEE_OTHER, "{fields:?}");
    }
    // A name of this machine is not this machine.
    assert_eq!(open.get(FAR, "/", &[local]).await.status, StatusCode::SEE_OTHER);
    let unknown = open.routes.clone().oneshot(asked("GET", "/", &[local], "")).await.unwrap();
    assert_eq!(unknown.status(), StatusCode::SEE_OTHER, "an end that is not known is not here");
    let strict = Open::new(Access { loopback_signs_in: true, ..access() });
    assert_eq!(strict.get(NEAR, "/", &[local]).await.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn the_right_password_opens_every_page_and_leads_where_one_was_going() {
    let open = Open::new(access());
    let answer = open.sign_in(FAR, PASSWORD, "/alarms").await;
    assert_eq!((answer.status, answer.header(LOCATION)), (StatusCode::SEE_OTHER, "/alarms"));
    let cookie = answer.cookie("dwellwatch_session").unwrap();
    for path in ["/", "/prints", "/prints/1", "/alarms", "/preflight"] {
        let page = open.get(FAR, path, &[("cookie", &format!("other=1; {cookie}"))]).await;
        assert_eq!((page.status, page.header(CACHE_CONTROL)), (StatusCode::OK, "no-store"), "{path}");
    }
    for to in ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "elsewhere.example"] {
        assert_eq!(open.sign_in(FAR, PASSWORD, to).await.header(LOCATION), "/", "{to}");
    }
}

#[tokio::test]
async fn no_script_reads_the_cookie_no_other_site_s_form_sends_it_and_over_tls_it_stays_there() {
    let open = Open::new(access());
    let set = open.sign_in(FAR, PASSWORD, "/").await.set("dwellwatch_session").unwrap();
    for part in ["; HttpOnly", "; SameSite=Lax", "; Path=/", "; Max-Age=2592000"] {
        assert!(set.contains(part), "{set}");
    }
    assert!(!set.contains("Secure") && !set.contains("Domain"), "{set}");
    let page = open.get(FAR, "/sign-in", &[("host", "bench.example"), ("x-forwarded-proto", "https")]).await;
    let word = page.set("dwellwatch_form").unwrap();
    assert!(word.contains("; Secure") && word.contains("; HttpOnly") && word.contains("; SameSite=Strict"), "{word}");
    let body = format!("token={}&password={}", page.hidden("token"), PASSWORD.replace(' ', "+"));
    let cookie = page.cookie("dwellwatch_form").unwrap();
    let fields = [("host", "bench.example"), ("origin", "https://bench.example"), ("cookie", &cookie)];
    let set = open.post(NEAR, "/sign-in", &fields, &body).await.set("dwellwatch_session").unwrap();
    assert!(set.contains("; Secure"), "{set}");
}

#[tokio::test]
async fn a_cookie_that_is_forged_over_or_of_another_password_opens_nothing() {
    let open = Open::new(access());
    let cookie = open.signed_in().await;
    let status = async |open: &Open, cookie: &str| open.get(FAR, "/", &[("cookie", cookie)]).await.status;
    assert_eq!(status(&open, &cookie).await, StatusCode::OK);
    assert_eq!(status(&Open::new(access()), &cookie).await, StatusCode::OK, "a restart ends nothing");
    let other = PasswordHash::of("another word entirely").unwrap();
    let changed = Open::new(Access { password: Some(other), ..access() });
    assert_eq!(status(&changed, &cookie).await, StatusCode::SEE_OTHER);
    let page = changed.get(FAR, "/sign-in", &[("cookie", &cookie)]).await;
    assert!(page.text.contains("the password was changed"), "{}", page.text);
    assert_eq!(status(&Open::of_record(access(), 8), &cookie).await, StatusCode::SEE_OTHER, "another record");
    for forged in ["dwellwatch_session=", "dwellwatch_session=a.9999999999999.AAAA", &cookie[..cookie.len() - 8]] {
        assert_eq!(status(&open, forged).await, StatusCode::SEE_OTHER, "{forged}");
    }
    let sessions = open.site.gate.sessions().unwrap();
    let (_, old) = sessions.begin(at(801) - crate::access::SESSION_LASTS);
    assert_eq!(status(&open, &format!("dwellwatch_session={old}")).await, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn who_signs_out_is_out_with_every_copy_of_the_cookie() {
    let open = Open::new(access());
    let (cookie, other) = (open.signed_in().await, open.signed_in().await);
    let page = open.get(FAR, "/sign-in", &[("cookie", &cookie)]).await;
    assert!(page.text.contains("Sign out"), "{}", page.text);
    let body = format!("token={}", page.hidden("token"));
    let foreign = open.post(FAR, "/sign-out", &[("cookie", &cookie)], "token=guessed").await;
    assert_eq!(foreign.status, StatusCode::FORBIDDEN);
    let answer = open.post(FAR, "/sign-out", &[("cookie", &cookie)], &body).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert!(answer.set("dwellwatch_session").unwrap().contains("Max-Age=0"));
    assert_eq!(open.get(FAR, "/", &[("cookie", &cookie)]).await.status, StatusCode::SEE_OTHER);
    assert_eq!(open.get(FAR, "/", &[("cookie", &other)]).await.status, StatusCode::OK);
}

#[tokio::test]
async fn a_token_opens_what_programs_ask_for_and_no_page_or_form() {
    let open = Open::new(access());
    let shown = format!("Bearer {TOKEN}");
    let bearer = ("authorization", shown.as_str());
    for path in ["/metrics", "/api", "/api/nothing-here"] {
        let answer = open.get(FAR, path, &[bearer, ("accept", "*/*")]).await;
        assert_ne!(answer.status, StatusCode::UNAUTHORIZED, "{path}");
        for wrong in ["Bearer 0123456789abcdef0123456789abcdeg", "Bearer ", "Basic MDEyMzQ1Njc4OWFiY2RlZg=="] {
            let answer = open.get(FAR, path, &[("authorization", wrong), ("accept", "*/*")]).await;
            assert_eq!(answer.status, StatusCode::UNAUTHORIZED, "{path} {wrong}");
            assert!(answer.header(WWW_AUTHENTICATE).starts_with("Bearer"), "{path}");
        }
    }
    // A wrong token is wrong even where none is needed, and beside a session.
    let (wrong, cookie) = (("authorization", "Bearer guessed"), open.signed_in().await);
    let near = open.get(NEAR, "/metrics", &[wrong, ("host", "localhost"), ("accept", "*/*")]).await;
    let beside = open.get(FAR, "/metrics", &[wrong, ("cookie", &cookie), ("accept", "*/*")]).await;
    assert_eq!((near.status, beside.status), (StatusCode::UNAUTHORIZED, StatusCode::UNAUTHORIZED));
    for path in PAGES {
        assert_eq!(open.get(FAR, path, &[bearer]).await.status, StatusCode::SEE_OTHER, "{path}");
    }
    let body = format!("token={}&what=all:clean", open.site.token);
    let answer = open.post(FAR, "/prints/1/outcome", &[bearer], &body).await;
    assert_eq!(answer.status, StatusCode::UNAUTHORIZED);
}
