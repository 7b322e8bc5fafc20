//! The page *Parts* and the form that records a change. Owns its addresses.

use super::server::Live;
use axum::Router;

pub(super) fn routes() -> Router<Live> {
    Router::new()
}
