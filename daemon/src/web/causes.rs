//! The pages of *Causes*. Owns their addresses, and that a page renews itself until there is something to show.

use super::answer::{Refusal, blocking, page};
use super::server::Live;
use super::{Site, views};
use crate::entry::Mode;
use axum::Router;
use axum::extract::{Path, State};
use axum::http::HeaderValue;
use axum::http::header::REFRESH;
use axum::response::Response;
use axum::routing::get;
use dwell_dashboards::{render_cause, render_causes};
use std::sync::Arc;

pub(super) fn routes() -> Router<Live> {
    Router::new().route("/causes", get(causes)).route("/causes/{mode}", get(cause))
}

/// Seconds after which a page asks again; a header does so without scripts, too, and in no reader's way.
const AGAIN_AFTER: HeaderValue = HeaderValue::from_static("5");

async fn causes(State(site): State<Arc<Site>>) -> Result<Response, Refusal> {
    let shown = |site: &Site| Ok(views::causes(site, |view| answer(render_causes(view), view.told.is_none()))?);
    blocking(site, shown).await
}

async fn cause(State(site): State<Arc<Site>>, Path(word): Path<String>) -> Result<Response, Refusal> {
    let mode = Mode::of_word(&word).filter(|mode| *mode != Mode::Clean);
    let mode = mode.ok_or_else(|| absent(&word))?;
    let shown = move |site: &Site| {
        let html =
            views::causes(site, |view| render_cause(view, mode.word()).map(|html| answer(html, view.told.is_none())))?;
        html.ok_or_else(|| absent(mode.word()))
    };
    blocking(site, shown).await
}

fn absent(word: &str) -> Refusal {
    Refusal::Absent(format!("There is no failure mode {word:?}; Causes lists all of them."))
}

fn answer(html: String, is_early: bool) -> Response {
    let mut response = page(html);
    if is_early {
        response.headers_mut().insert(REFRESH, AGAIN_AFTER);
    }
    response
}
