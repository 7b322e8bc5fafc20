//! The page *Setup*. Owns its addresses.

use super::server::Live;
use axum::Router;

pub(super) fn routes() -> Router<Live> {
    Router::new()
}
