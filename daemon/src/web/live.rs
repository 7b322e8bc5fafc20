//! Server-sent events that keep *Now* current. Owns their pace; what they carry is the page's own fragment.

use super::answer::{Refusal, blocking};
use super::server::Live;
use super::{Site, views};
use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use dwell_dashboards::render_now_fragment;
use futures_util::Stream;
use futures_util::stream::unfold;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// The shortest real time between two fragments.
const PACE: Duration = Duration::from_secs(1);

/// The longest: a page must turn to "no reading" even when the store has stopped moving.
const REST_MAX: Duration = Duration::from_secs(10);

/// The fragment at once, then whenever the store's revision has moved. Ends when it can't be made, so that the
/// page says that it is old, and when the server closes.
pub(super) async fn live(State(live): State<Live>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let feed = Feed { revisions: live.site.store.revisions(), site: live.site, closing: live.closing, is_first: true };
    Sse::new(unfold(feed, Feed::next)).keep_alive(KeepAlive::default())
}

struct Feed {
    site: Arc<Site>,
    revisions: watch::Receiver<u64>,
    closing: watch::Receiver<bool>,
    is_first: bool,
}

impl Feed {
    async fn next(mut self) -> Option<(Result<Event, Infallible>, Self)> {
        let mut closing = self.closing.clone();
        tokio::select! {
            // An error means that the server is gone.
            _ = closing.wait_for(|closing| *closing) => None,
            fragment = self.fragment() => fragment.map(|fragment| (Ok(Event::default().data(fragment)), self)),
        }
    }

    async fn fragment(&mut self) -> Option<String> {
        if !self.is_first {
            tokio::time::sleep(PACE).await;
            if let Ok(Err(_)) = tokio::time::timeout(REST_MAX, self.revisions.changed()).await {
                return None;
            }
        }
        self.is_first = false;
        self.revisions.mark_unchanged();
        let made = blocking(Arc::clone(&self.site), |site| {
            views::now(site).map(|view| render_now_fragment(&view)).map_err(Refusal::from)
        });
        made.await.inspect_err(|refusal| tracing::error!(?refusal, "the live page stops")).ok()
    }
}
