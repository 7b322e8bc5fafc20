//! The page *Changes* and what a person says on it. Owns its addresses and what of a form is taken; what can be taken up
//! and what that comes to is `adoption`'s.

use super::answer::{Refusal, blocking, page, waiting_page};
use super::server::Live;
use super::{Site, posted, views};
use crate::adoption::{self, AdoptionError};
use crate::store::{Reader, StoreError};
use axum::extract::rejection::FormRejection;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Form, Router};
use dwell_dashboards::view::PageNotice;
use dwell_dashboards::{SAID_MAX, render_changes, seen_as};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Live> {
    Router::new()
        .route("/changes", get(changes))
        .route("/changes/{id}/adopt", post(adopt))
        .route("/changes/{id}/decline", post(decline))
}

/// The fields as they come in.
#[derive(Debug, serde::Deserialize)]
struct Fields {
    /// The change as its page showed it.
    seen: Option<String>,
    why: Option<String>,
}

async fn changes(
    State(site): State<Arc<Site>>,
    Query(query): Query<HashMap<String, String>>,
) -> Result<Response, Refusal> {
    let shown = move |site: &Site| {
        let reader = site.store.reader()?;
        let notice = match (query.get("adopted"), query.get("declined")) {
            (Some(id), _) => views::adopted(&reader, id)?,
            (None, Some(id)) => views::declined(&reader, id)?,
            (None, None) => None,
        };
        drop(reader);
        let view = views::changes(site, notice)?;
        let is_worked = view.worked.is_some();
        let html = render_changes(&view);
        Ok(if is_worked { page(html) } else { waiting_page(html) })
    };
    blocking(site, shown).await
}

async fn adopt(
    State(site): State<Arc<Site>>,
    Path(id): Path<String>,
    fields: Result<Form<Fields>, FormRejection>,
) -> Result<Response, Refusal> {
    let fields = posted::fields(fields)?;
    let done = move |site: &Site| {
        let reader = site.store.reader()?;
        if let Some(other) = not_as_seen(&reader, &id, fields.seen.as_deref())? {
            return told(site, StatusCode::CONFLICT, other);
        }
        let begun = adoption::prepared(&reader, &id, &site.zone)
            .and_then(|(trial, _)| adoption::begin(&site.store, trial).map(|()| format!("/changes?adopted={id}")));
        drop(reader);
        answer(site, &id, begun)
    };
    blocking(site, done).await
}

async fn decline(
    State(site): State<Arc<Site>>,
    Path(id): Path<String>,
    fields: Result<Form<Fields>, FormRejection>,
) -> Result<Response, Refusal> {
    let fields = posted::fields(fields)?;
    let why = fields.why.map(|why| why.replace(char::is_control, " ").trim().to_owned());
    let done = move |site: &Site| {
        if why.as_ref().is_some_and(|why| why.chars().count() > SAID_MAX) {
            let long = format!("It is not declined: the reason is longer than {SAID_MAX} characters.");
            return told(site, StatusCode::BAD_REQUEST, long);
        }
        let reader = site.store.reader()?;
        let turned_down = adoption::is_on_trial(&reader, &id)
            .and_then(|_| adoption::decline(&site.store, &id, why.as_deref()))
            .map(|()| format!("/changes?declined={id}"));
        drop(reader);
        answer(site, &id, turned_down)
    };
    blocking(site, done).await
}

/// That a suggestion has come to another value than its page showed; nothing is adopted unseen.
fn not_as_seen(reader: &Reader, id: &str, seen: Option<&str>) -> Result<Option<String>, StoreError> {
    let Some(row) = reader.suggestions()?.into_iter().find(|row| row.id == id) else { return Ok(None) };
    let (now, seen) = (seen_as(&row.change), seen.unwrap_or("nothing"));
    let other = format!("It is not adopted: your page showed {seen}, and by now it is {now}. Look at it again.");
    Ok((now != seen).then_some(other))
}

/// Leads back with what was done, or tells on the page why it was not.
fn answer(site: &Site, id: &str, done: Result<String, AdoptionError>) -> Result<Response, Refusal> {
    let error = match done {
        Ok(path) => return Ok(Redirect::to(&path).into_response()),
        Err(AdoptionError::Store(error)) => return Err(error.into()),
        Err(error) => error,
    };
    let status =
        if matches!(error, AdoptionError::Unknown { .. }) { StatusCode::NOT_FOUND } else { StatusCode::CONFLICT };
    told(site, status, format!("{id}: {error}."))
}

/// The page, with why something was not done on top of it.
fn told(site: &Site, status: StatusCode, why: String) -> Result<Response, Refusal> {
    let view = views::changes(site, Some(PageNotice::Refused(why)))?;
    Ok((status, page(render_changes(&view))).into_response())
}
