//! What acts has to come from our own pages. Owns the token that each form carries, which bodies are taken, how large they
//! may be and how slowly they may come.
//!
//! One token a process serves all sessions: there is one password, so whoever may see it may do all that any other may. The
//! pages of other sites can't read it, and would also have to name our origin and be sent the cookie, which
//! `SameSite` keeps from them.

use super::Site;
use super::answer::{Refusal, page};
use super::attempts::Attempt;
use super::gate::is_for_programs;
use axum::Form;
use axum::body::{Body, Bytes};
use axum::extract::rejection::FormRejection;
use axum::extract::{FromRequest, Request};
use axum::http::header::CONTENT_TYPE;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use dwell_dashboards::render_message;
use futures_util::StreamExt;
use futures_util::stream::unfold;
use std::io;
use std::time::Duration;
use tokio::time::{Instant, timeout, timeout_at};

/// The largest form that is read, bytes; a note is its only long field. A job file has a limit of its own.
pub(super) const BODY_MAX: usize = 16 * 1024;
/// A form comes within this.
const FORM_WITHIN: Duration = Duration::from_secs(10);
/// What is read as it comes may pause for so long,
const PAUSE_MAX: Duration = Duration::from_secs(20);
/// and take so long as a whole: 512 MB at 0.6 MB a second.
const WHOLE_MAX: Duration = Duration::from_mins(15);
/// Where forms with files are taken; their own reader looks at the token before it takes any file.
const WITH_FILES: &str = "/preflight";

#[derive(serde::Deserialize)]
struct Token {
    token: String,
}

/// The request again, once the whole of its form has come: of what says otherwise that it may act.
pub(super) async fn come(request: Request) -> Result<Request, Response> {
    let (head, body) = request.into_parts();
    Ok(Request::from_parts(head, Body::from(whole(body).await?)))
}

/// The fields of a form.
pub(super) fn fields<T>(came: Result<Form<T>, FormRejection>) -> Result<T, Refusal> {
    let unread = "The form can't be read: each of its fields once, as its page sends them, would be right.";
    came.map(|Form(fields)| fields).map_err(|_| Refusal::Bad(unread.to_owned()))
}

/// The request again, if it says the token.
pub(super) async fn checked(site: &Site, request: Request) -> Result<Request, Response> {
    let path = request.uri().path();
    if is_for_programs(path) {
        // Its operations take JSON alone, which a browser sends for another site only once it was told that it may (Fetch
        // Standard), and it never is.
        return Ok(request.map(paced));
    }
    let kind = kind(request.headers());
    if kind == "multipart/form-data" && path == WITH_FILES {
        return Ok(request.map(paced));
    }
    if !kind.is_empty() && kind != "application/x-www-form-urlencoded" {
        let text = format!("What was sent is {kind:?}; a form of this dashboard would be right.");
        return Err(told(StatusCode::UNSUPPORTED_MEDIA_TYPE, "Not understood", &text));
    }
    let (head, body) = request.into_parts();
    let body = whole(body).await?;
    let mut copy = Request::post("/").body(Body::from(body.clone())).map_err(|error| told_failed(&error))?;
    copy.headers_mut().extend(head.headers.get(CONTENT_TYPE).map(|kind| (CONTENT_TYPE, kind.clone())));
    let said = Form::<Token>::from_request(copy, &()).await;
    if !said.is_ok_and(|Form(said)| site.gate.is_same(&said.token, &site.token)) {
        site.turned_away(Attempt::WrongToken);
        return Err(Refusal::Foreign.into_response());
    }
    Ok(Request::from_parts(head, Body::from(body)))
}

fn told_failed(error: &axum::http::Error) -> Response {
    Refusal::Failed(error.to_string()).into_response()
}

fn told(status: StatusCode, title: &str, text: &str) -> Response {
    (status, page(render_message(title, text))).into_response()
}

/// The media type, without its parameters.
fn kind(headers: &HeaderMap) -> String {
    let kind = headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    kind.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// A form's whole body.
async fn whole(body: Body) -> Result<Bytes, Response> {
    let read = async {
        let mut all = Vec::new();
        let mut chunks = body.into_data_stream();
        while let Some(chunk) = chunks.next().await {
            let chunk = chunk.map_err(|error| {
                told(StatusCode::BAD_REQUEST, "Not understood", &format!("The form broke off: {error}."))
            })?;
            if all.len() + chunk.len() > BODY_MAX {
                let text = format!("The form is larger than {BODY_MAX} bytes, the most that is taken.");
                return Err(told(StatusCode::PAYLOAD_TOO_LARGE, "Too large", &text));
            }
            all.extend_from_slice(&chunk);
        }
        Ok(Bytes::from(all))
    };
    if let Ok(read) = timeout(FORM_WITHIN, read).await {
        return read;
    }
    let text = format!("The form did not come within {} s.", FORM_WITHIN.as_secs());
    Err(told(StatusCode::REQUEST_TIMEOUT, "Too slow", &text))
}

/// A body that breaks off if it comes too slowly.
fn paced(body: Body) -> Body {
    paced_by(body, PAUSE_MAX, WHOLE_MAX)
}

fn paced_by(body: Body, pause: Duration, within: Duration) -> Body {
    let end = Instant::now() + within;
    let chunks = unfold(Some(body.into_data_stream()), move |chunks| async move {
        let mut chunks = chunks?;
        match timeout_at(end.min(Instant::now() + pause), chunks.next()).await {
            Ok(chunk) => chunk.map(|chunk| (chunk.map_err(io::Error::other), Some(chunks))),
            Err(_) => Some((Err(io::Error::new(io::ErrorKind::TimedOut, "it came too slowly")), None)),
        }
    });
    Body::from_stream(chunks)
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::stream;
    use std::convert::Infallible;

    /// Pieces that come so far apart, for ever.
    fn dripping(apart: Duration) -> Body {
        let drip = unfold((), move |()| async move {
            tokio::time::sleep(apart).await;
            Some((Ok::<_, Infallible>(Bytes::from_static(b"G")), ()))
        });
        Body::from_stream(drip)
    }

    #[tokio::test(start_paused = true)]
    async fn a_body_that_pauses_for_too_long_or_never_ends_breaks_off() {
        let (pause, whole) = (Duration::from_secs(20), Duration::from_mins(15));
        for (apart, after) in [(21, 20), (19, 900)] {
            let began = Instant::now();
            let mut body = paced_by(dripping(Duration::from_secs(apart)), pause, whole).into_data_stream();
            let mut last = body.next().await;
            while last.as_ref().is_some_and(Result::is_ok) {
                last = body.next().await;
            }
            assert!(last.is_some_and(|last| last.is_err()), "every {apart} s");
            assert_eq!((Instant::now() - began).as_secs(), after, "every {apart} s");
            assert!(body.next().await.is_none());
        }
    }

    #[tokio::test]
    async fn a_body_that_comes_in_time_is_whole() {
        let pieces = stream::iter(["lan", "tern", ".gcode"]).map(|piece| Ok::<_, Infallible>(Bytes::from(piece)));
        let body = paced(Body::from_stream(pieces));
        assert_eq!(axum::body::to_bytes(body, 100).await.ok(), Some(Bytes::from("lantern.gcode")));
    }

    #[tokio::test(start_paused = true)]
    async fn a_form_that_drips_is_given_up_and_a_large_one_is_not_read() {
        let slow = whole(dripping(Duration::from_secs(1))).await.map_err(|response| response.status());
        assert_eq!(slow, Err(StatusCode::REQUEST_TIMEOUT));
        let large = whole(Body::from(vec![b'x'; BODY_MAX + 1])).await.map_err(|response| response.status());
        assert_eq!(large, Err(StatusCode::PAYLOAD_TOO_LARGE));
        assert!(whole(Body::from(vec![b'x'; BODY_MAX])).await.is_ok());
    }
}
