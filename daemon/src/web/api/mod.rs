//! The JSON API and the document that describes it. Owns its addresses.

use crate::web::server::Live;
use axum::Router;

pub(in crate::web) fn routes() -> Router<Live> {
    Router::new()
}
