//! The pages of *Prints*. Owns their addresses and what of a query they take.

use super::answer::{Refusal, blocking, page};
use super::server::Live;
use super::{Site, form, views};
use crate::stamp;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::{get, post};
use dwell_dashboards::{render_print, render_prints};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Live> {
    Router::new()
        .route("/prints", get(prints))
        .route("/prints/{id}", get(print))
        .route("/prints/{id}/outcome", post(form::report))
}

async fn prints(
    State(site): State<Arc<Site>>,
    Query(query): Query<HashMap<String, String>>,
) -> Result<Response, Refusal> {
    let before = query.get("before").map(|text| {
        let bad = || Refusal::Bad(format!("before is {text:?}, not an instant such as 2026-03-02T08:00:00Z."));
        stamp::parse(text).ok_or_else(bad)
    });
    let before = before.transpose()?;
    blocking(site, move |site| Ok(page(render_prints(&views::prints(site, before)?)))).await
}

async fn print(State(site): State<Arc<Site>>, Path(id): Path<String>) -> Result<Response, Refusal> {
    let id = print_id(&id)?;
    let shown = move |site: &Site| {
        let view = views::print(site, id)?.ok_or_else(|| no_print(id))?;
        Ok(page(render_print(&view)))
    };
    blocking(site, shown).await
}

/// The number in a print's address.
pub(super) fn print_id(text: &str) -> Result<i64, Refusal> {
    text.parse().map_err(|_| Refusal::Absent("A print's address ends in its number.".to_owned()))
}

pub(super) fn no_print(id: i64) -> Refusal {
    Refusal::Absent(format!("The record has no print {id}."))
}
