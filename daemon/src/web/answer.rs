//! What goes back to the browser: pages, and what is said when there is none. Owns content types and status codes.

use super::Site;
use super::views::ViewError;
use crate::store::StoreError;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, REFRESH};
use axum::http::{HeaderName, StatusCode};
use axum::response::{IntoResponse, Response};
use dwell_dashboards::render_message;
use std::sync::Arc;

/// Why a page can't be shown.
#[derive(Debug)]
pub(super) enum Refusal {
    /// There is no such page.
    Absent(String),
    /// The request says something that can't be understood.
    Bad(String),
    /// The request is not one of ours.
    Foreign,
    /// What it is about does not allow it now.
    NotNow(String),
    /// The record can't be written now: what was said is not kept.
    NotRecorded(String),
    /// The record can't be read or written.
    Failed(String),
}

impl From<ViewError> for Refusal {
    fn from(error: ViewError) -> Self {
        Self::Failed(error.to_string())
    }
}

impl From<StoreError> for Refusal {
    /// A record that can't be written now takes what was said later; otherwise something failed.
    fn from(error: StoreError) -> Self {
        if error.is_transient() { Self::NotRecorded(error.to_string()) } else { Self::Failed(error.to_string()) }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let (status, title, text) = match self {
            Self::Absent(text) => (StatusCode::NOT_FOUND, "Nothing here", text),
            Self::Bad(text) => (StatusCode::BAD_REQUEST, "Not understood", text),
            Self::Foreign => (
                StatusCode::FORBIDDEN,
                "Not taken",
                "This form is older than the running dwellwatch, or came from elsewhere. Open its page again and \
                 send it once more."
                    .to_owned(),
            ),
            Self::NotNow(text) => (StatusCode::CONFLICT, "Not now", text),
            Self::NotRecorded(cause) => {
                let text = format!(
                    "What you said is not recorded: {cause}. Nothing of it is kept; say it again when the record can \
                     be written."
                );
                (StatusCode::SERVICE_UNAVAILABLE, "Not recorded", text)
            }
            Self::Failed(cause) => {
                tracing::error!(cause, "a page could not be made");
                let text = format!("The record could not be read or written: {cause}.");
                (StatusCode::INTERNAL_SERVER_ERROR, "Something failed", text)
            }
        };
        (status, page(render_message(title, &text))).into_response()
    }
}

const NO_CACHE: (HeaderName, &str) = (CACHE_CONTROL, "no-cache");

/// An HTML page.
pub(super) fn page(html: String) -> Response {
    ([NO_CACHE, (CONTENT_TYPE, "text/html; charset=utf-8")], html).into_response()
}

/// An HTML page that waits for something, and so asks again after some seconds: a header does so without scripts, too. No
/// page with a form is one: it would take away what a person types.
pub(super) fn waiting_page(html: String) -> Response {
    ([(REFRESH, "5")], page(html)).into_response()
}

/// A file that belongs to the pages.
pub(super) fn file(content_type: &'static str, body: &'static str) -> Response {
    ([NO_CACHE, (CONTENT_TYPE, content_type)], body).into_response()
}

/// Runs what waits for the disk where it holds up nobody.
pub(super) async fn blocking<T: Send + 'static>(
    site: Arc<Site>,
    work: impl FnOnce(&Site) -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let done = tokio::task::spawn_blocking(move || work(&site)).await;
    done.unwrap_or_else(|error| Err(Refusal::Failed(error.to_string())))
}
