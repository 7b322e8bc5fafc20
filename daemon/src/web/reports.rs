//! The pages of *Reports*. Owns their addresses and the policy of a report's own style.

use super::Site;
use super::answer::{Refusal, blocking, page};
use super::server::Live;
use crate::store::StoreError;
use crate::study::week_report;
use axum::Router;
use axum::extract::{Path, State};
use axum::http::HeaderValue;
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Redirect, Response};
use axum::routing::get;
use dwell_dashboards::render_report_html;
use dwell_dashboards::week::IsoWeek;
use std::sync::Arc;

pub(super) fn routes() -> Router<Live> {
    Router::new().route("/reports", get(current_report)).route("/reports/{week}", get(report))
}

/// The report is one file with its style inside, as it is mailed and kept; so it has a policy of its own.
const REPORT_POLICY: HeaderValue =
    HeaderValue::from_static("default-src 'none'; style-src 'unsafe-inline'; img-src 'self'");

async fn report(State(site): State<Arc<Site>>, Path(week): Path<String>) -> Result<Response, Refusal> {
    let week = IsoWeek::parse(&week).map_err(|error| Refusal::Absent(format!("{error}.")))?;
    let shown = move |site: &Site| {
        let failed = |error: StoreError| Refusal::Failed(error.to_string());
        let reader = site.store.reader().map_err(failed)?;
        let view = week_report(&reader, &site.materials, week, &site.zone, site.clock.now().at, site.rehearsal);
        let view = view.map_err(failed)?;
        let mut response = page(render_report_html(&view));
        response.headers_mut().insert(CONTENT_SECURITY_POLICY, REPORT_POLICY);
        Ok(response)
    };
    blocking(site, shown).await
}

async fn current_report(State(site): State<Arc<Site>>) -> Result<Redirect, Refusal> {
    let week = IsoWeek::of(site.clock.now().at, &site.zone).map_err(|error| Refusal::Failed(error.to_string()))?;
    Ok(Redirect::to(&format!("/reports/{week}")))
}
