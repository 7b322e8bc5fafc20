//! The pages of *Reports*. Owns their addresses, and what of a query they take.

use super::answer::{Refusal, blocking, page, waiting_page};
use super::server::Live;
use super::{Site, views};
use crate::store::StoreError;
use crate::study::{Asked, report};
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use dwell_dashboards::period::Period;
use dwell_dashboards::week::IsoWeek;
use dwell_dashboards::{render_report, render_report_later, render_reports};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Live> {
    Router::new().route("/reports", get(archive)).route("/reports/{period}", get(one))
}

async fn archive(
    State(site): State<Arc<Site>>,
    Query(query): Query<HashMap<String, String>>,
) -> Result<Response, Refusal> {
    let asked = [query.get("from"), query.get("to")].map(|day| day.cloned().unwrap_or_default());
    let is_asked = query.contains_key("from") || query.contains_key("to");
    let refused = match is_asked.then(|| Period::between(&asked[0], &asked[1])) {
        Some(Ok(period)) => return Ok(Redirect::to(&format!("/reports/{period}")).into_response()),
        Some(Err(error)) => Some(format!("No report on these days: {error}.")),
        None => None,
    };
    let until = query.get("until").map(|week| IsoWeek::parse(week)).transpose();
    let until = until.map_err(|error| Refusal::Bad(format!("No weeks up to `until`: {error}.")))?;
    let shown = move |site: &Site| {
        let status = if refused.is_some() { StatusCode::BAD_REQUEST } else { StatusCode::OK };
        let view = views::reports(site, until, refused.map(|why| (asked, why)))?;
        Ok((status, page(render_reports(&view))).into_response())
    };
    blocking(site, shown).await
}

async fn one(State(site): State<Arc<Site>>, Path(period): Path<String>) -> Result<Response, Refusal> {
    let period = Period::parse(&period).map_err(|error| Refusal::Absent(format!("{error}.")))?;
    let shown = move |site: &Site| {
        let failed = |error: StoreError| Refusal::Failed(error.to_string());
        let frame = views::frame(site).map_err(|error| Refusal::Failed(error.to_string()))?;
        let Some(worked) = site.worked() else {
            return Ok(waiting_page(render_report_later(&frame, &period.title())));
        };
        let as_of = site.clock.now().at;
        let asked = Asked { period, zone: site.zone.clone(), as_of, rehearsal: site.rehearsal };
        let view = report(&site.store.reader().map_err(failed)?, &site.materials, &worked, &asked).map_err(failed)?;
        Ok(page(render_report(&view, &frame)))
    };
    blocking(site, shown).await
}
