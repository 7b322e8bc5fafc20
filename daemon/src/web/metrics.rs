//! What is measured of the daemon, for programs that collect it. Owns its addresses.

use super::server::Live;
use axum::Router;

pub(super) fn routes() -> Router<Live> {
    Router::new()
}
