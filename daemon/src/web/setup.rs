//! The page *Setup*. Owns its addresses; it shows what is known and asks no host.

use super::answer::{Refusal, blocking, page};
use super::server::Live;
use super::{Site, views};
use axum::Router;
use axum::extract::State;
use axum::response::Response;
use axum::routing::get;
use dwell_dashboards::render_setup;
use std::sync::Arc;

pub(super) fn routes() -> Router<Live> {
    Router::new().route("/setup", get(setup))
}

async fn setup(State(site): State<Arc<Site>>) -> Result<Response, Refusal> {
    blocking(site, |site| Ok(page(render_setup(&views::setup(site)?)))).await
}
