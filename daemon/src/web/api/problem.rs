//! What is said when there is no answer: problem details (RFC 9457). Owns their fields; which page says what is not its.

use crate::store::StoreError;
use crate::web::answer::Refusal;
use crate::web::views::ViewError;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, RETRY_AFTER};
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use schemars::JsonSchema;
use serde::Serialize;

/// How soon it is worth to ask again for what is being worked out, in seconds.
const AGAIN_AFTER: HeaderValue = HeaderValue::from_static("5");

/// Why there is no answer.
#[derive(Debug)]
pub(super) struct Problem {
    status: StatusCode,
    detail: String,
}

/// Why there is no answer (RFC 9457).
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Problem")]
pub(super) struct ProblemJson {
    /// The status's own words.
    title: &'static str,
    status: u16,
    /// What was found, and what would be right.
    detail: String,
}

impl Problem {
    pub(super) fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        Self { status, detail: detail.into() }
    }

    /// The request is not as the document has it.
    pub(super) fn bad(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, detail)
    }

    /// The record has no such thing.
    pub(super) fn absent(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, detail)
    }

    /// What is asked for has not been worked out yet.
    pub(super) fn not_yet() -> Self {
        let detail = "It is being worked out of the whole record, which takes some seconds after a start; ask again.";
        Self::new(StatusCode::SERVICE_UNAVAILABLE, detail)
    }

    /// The daemon can't do it.
    pub(super) fn failed(error: impl std::fmt::Display) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string())
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        Self::failed(error)
    }
}

impl From<ViewError> for Problem {
    fn from(error: ViewError) -> Self {
        Self::failed(error)
    }
}

/// What a page would have said of the same.
impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::Absent(text) => Self::absent(text),
            // The request is as the document has it; what it says can't be taken.
            Refusal::Bad(text) => Self::new(StatusCode::UNPROCESSABLE_ENTITY, text),
            Refusal::Foreign => Self::new(StatusCode::FORBIDDEN, "The request came from elsewhere."),
            Refusal::NotNow(text) => Self::new(StatusCode::CONFLICT, text),
            Refusal::NotRecorded(cause) => Self::new(
                StatusCode::SERVICE_UNAVAILABLE,
                format!("It is not recorded: {cause}. Nothing of it is kept; say it again later."),
            ),
            Refusal::Failed(cause) => Self::failed(cause),
        }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let Self { status, detail } = self;
        if status == StatusCode::INTERNAL_SERVER_ERROR {
            tracing::error!(cause = detail, "a request could not be answered");
        }
        let title = status.canonical_reason().unwrap_or("Refused");
        let body = serde_json::to_string(&ProblemJson { title, status: status.as_u16(), detail });
        let head = [(CONTENT_TYPE, "application/problem+json"), (CACHE_CONTROL, "no-cache")];
        // Three plain fields can always be written.
        let mut response = (status, head, body.unwrap_or_default()).into_response();
        if status == StatusCode::SERVICE_UNAVAILABLE {
            response.headers_mut().insert(RETRY_AFTER, AGAIN_AFTER);
        }
        response
    }
}
