//! The pages of *Prints*. Owns their addresses and what of a query they take.

mod query;

use super::answer::{Refusal, blocking, file, page};
use super::server::Live;
use super::{Site, form, views};
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::{get, post};
use dwell_dashboards::{NEARER_SCRIPT, render_print, render_prints};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) use query::{Done, Listed, Part};

pub(super) fn routes() -> Router<Live> {
    Router::new()
        .route("/nearer.js", get(async || file("text/javascript; charset=utf-8", NEARER_SCRIPT)))
        .route("/prints", get(prints))
        .route("/prints/{id}", get(print))
        .route("/prints/{id}/outcome", post(form::report))
        .route("/prints/{id}/undo", post(form::undo))
}

async fn prints(
    State(site): State<Arc<Site>>,
    Query(query): Query<HashMap<String, String>>,
) -> Result<Response, Refusal> {
    let listed = query::listed(&query, &site.zone)?;
    blocking(site, move |site| {
        let view = views::prints(site, &listed)?;
        let names = view.printers.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>();
        if !view.filter.printer.is_empty() && !view.printers.contains(&view.filter.printer) {
            return Err(query::bad("printer", &view.filter.printer, &names.join(" or ")));
        }
        Ok(page(render_prints(&view)))
    })
    .await
}

async fn print(
    State(site): State<Arc<Site>>,
    Path(id): Path<String>,
    Query(query): Query<HashMap<String, String>>,
) -> Result<Response, Refusal> {
    let id = print_id(&id)?;
    let part = query::part(&query)?;
    let shown = move |site: &Site| {
        let view = views::print(site, id, part)?.ok_or_else(|| no_print(id))?;
        if view.shown.0 >= view.shown.1 && part.is_told() {
            return Err(query::outside(view.print.started, view.until));
        }
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
