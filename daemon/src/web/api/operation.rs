//! One thing that can be asked of the API, and how it is answered: addresses and their description are made of the same
//! rows, so that none can be without the other.

use super::asked::{Asked, Parameter};
use super::problem::Problem;
use crate::web::Site;
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{RawPathParams, RawQuery};
use axum::http::header::{ACCEPT, CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine};
use ring::digest::{SHA256, digest};
use schemars::{Schema, SchemaGenerator};
use serde::Serialize;
use std::sync::Arc;

/// What JSON is called.
pub(super) const JSON: &str = "application/json";
/// How much of a body's digest tells it from any other.
const TAG_BYTES: usize = 12;

/// How it is asked.
#[derive(Clone, Copy, Debug)]
pub(super) enum Method {
    Get,
    /// With a body of this shape.
    Post(fn(&mut SchemaGenerator) -> Schema),
}

/// Something that can be asked.
#[derive(Debug)]
pub(super) struct Operation {
    pub(super) method: Method,
    pub(super) path: &'static str,
    /// Its name, for programs that make their own functions of the document.
    pub(super) name: &'static str,
    /// What it is, in a line.
    pub(super) told: &'static str,
    pub(super) takes: &'static [Parameter],
    /// The shape of the answer.
    pub(super) answer: fn(&mut SchemaGenerator) -> Schema,
    /// What else may be said than what holds of all.
    pub(super) refusals: &'static [StatusCode],
    pub(super) work: fn(&Site, &Asked) -> Result<String, Problem>,
}

/// A document as text.
///
/// # Errors
/// If it can't be written.
pub(super) fn json(document: &impl Serialize) -> Result<String, Problem> {
    serde_json::to_string(document).map_err(Problem::failed)
}

impl Operation {
    /// Answers a request.
    pub(super) async fn answer(
        &'static self,
        site: Arc<Site>,
        (path, query, headers): (RawPathParams, RawQuery, HeaderMap),
        body: Result<Bytes, BytesRejection>,
    ) -> Response {
        let answered = async {
            accepts(&headers, JSON)?;
            let body = match self.method {
                Method::Get => Bytes::new(),
                Method::Post(_) => self.body(&headers, body)?,
            };
            let RawQuery(query) = query;
            let query = pairs(query.as_deref().unwrap_or_default());
            let asked = Asked::read(self.takes, path.iter(), &query, body)?;
            let work = move || (self.work)(&site, &asked);
            tokio::task::spawn_blocking(work).await.map_err(Problem::failed)?
        };
        match answered.await {
            Ok(body) if matches!(self.method, Method::Get) => tagged(body, &headers),
            Ok(body) => ([(CONTENT_TYPE, JSON), (CACHE_CONTROL, "no-cache")], body).into_response(),
            Err(problem) => problem.into_response(),
        }
    }

    /// Programs alone send JSON: a page of another site could not without asking first, which is not answered.
    fn body(&self, headers: &HeaderMap, body: Result<Bytes, BytesRejection>) -> Result<Bytes, Problem> {
        let found = headers.get(CONTENT_TYPE).and_then(|found| found.to_str().ok()).unwrap_or_default();
        let essence = found.split(';').next().unwrap_or_default().trim();
        if !essence.eq_ignore_ascii_case(JSON) {
            let detail = format!("The body's content type is {found:?}; {JSON} would be right.");
            return Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, detail));
        }
        body.map_err(|error| Problem::new(error.status(), format!("The body of {}: {error}.", self.path)))
    }
}

/// Whether an answer of that type is wanted.
///
/// # Errors
/// A problem if it is not.
pub(super) fn accepts(headers: &HeaderMap, kind: &str) -> Result<(), Problem> {
    let Some(asked) = headers.get(ACCEPT) else { return Ok(()) };
    let asked = asked.to_str().unwrap_or_default();
    let (family, _) = kind.split_once('/').unwrap_or((kind, ""));
    let fits = |range: &str| {
        let mut parts = range.split(';').map(str::trim);
        let name = parts.next().unwrap_or_default();
        let is_refused =
            parts.any(|part| matches!(part.replace(' ', "").as_str(), "q=0" | "q=0.0" | "q=0.00" | "q=0.000"));
        let is_it =
            name.eq_ignore_ascii_case(kind) || name == "*/*" || name.eq_ignore_ascii_case(&format!("{family}/*"));
        is_it && !is_refused
    };
    if asked.trim().is_empty() || asked.split(',').any(fits) {
        return Ok(());
    }
    let detail = format!("The request accepts {asked:?}; what stands here is {kind}.");
    Err(Problem::new(StatusCode::NOT_ACCEPTABLE, detail))
}

fn pairs(query: &str) -> Vec<(String, String)> {
    reqwest::Url::parse(&format!("http://any/?{query}"))
        .map(|url| url.query_pairs().into_owned().collect())
        .unwrap_or_default()
}

/// The answer, or that the asker has it already.
fn tagged(body: String, headers: &HeaderMap) -> Response {
    let digest = digest(&SHA256, body.as_bytes());
    let tag = format!("\"{}\"", BASE64_URL_SAFE_NO_PAD.encode(digest.as_ref().get(..TAG_BYTES).unwrap_or_default()));
    let known = headers.get(IF_NONE_MATCH).and_then(|known| known.to_str().ok()).unwrap_or_default();
    let has_it = known.split(',').map(|one| one.trim().trim_start_matches("W/")).any(|one| one == tag || one == "*");
    let head = [(ETAG, tag), (CACHE_CONTROL, "no-cache".to_owned())];
    if has_it {
        return (StatusCode::NOT_MODIFIED, head).into_response();
    }
    (head, [(CONTENT_TYPE, JSON)], body).into_response()
}
