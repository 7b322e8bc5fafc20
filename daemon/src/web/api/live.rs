//! The feed for programs: a printer's state, as `/api/now` has it, whenever it has changed. Owns the feed's pace and how
//! large an event may be; the page's own feed is `web/live`'s.

use super::operation::accepts;
use super::problem::Problem;
use crate::json::{PrinterNowJson, printers};
use crate::web::server::Live;
use crate::web::{Site, views};
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use futures_util::Stream;
use futures_util::stream::unfold;
use schemars::SchemaGenerator;
use serde_json::{Map, Value, json};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

const EVENTS: &str = "text/event-stream";
/// The shortest real time between two looks.
const PACE: Duration = Duration::from_secs(1);
/// The longest: a printer turns silent though nothing moves.
const REST_MAX: Duration = Duration::from_secs(10);
/// Bytes of an event's data; a job's name that makes it longer is left out.
const EVENT_MAX: usize = 1900;

/// Every printer at once, then each whenever it has changed. Ends when it can't be told, and when the server closes.
pub(super) async fn live(
    State(live): State<Live>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    accepts(&headers, EVENTS)?;
    let feed = Feed {
        revisions: live.site.store.revisions(),
        site: live.site,
        closing: live.closing,
        told: Vec::new(),
        next: VecDeque::new(),
        is_first: true,
    };
    Ok(Sse::new(unfold(feed, Feed::next)).keep_alive(KeepAlive::default()))
}

/// What the document says of it.
pub(super) fn described(shapes: &mut SchemaGenerator, refusals: &Map<String, Value>) -> Value {
    let mut responses = refusals.clone();
    let said = json!({
        "description": "Server-sent events `printer`, each under 2 KB (of a printer of up to six tools): `data` is one PrinterNow as JSON, `id` grows. All \
            printers come at once, then each when it has changed, at most once a second; comments keep the line alive. \
            A job's name that would make it longer is left out. Whoever comes again is told all of them again.",
        "content": {EVENTS: {"schema": {"type": "string"}}},
    });
    responses.insert("200".to_owned(), said);
    // So that the shape stands in the document.
    let shape = shapes.subschema_for::<PrinterNowJson>();
    json!({
        "operationId": "live",
        "summary": "A feed of each printer's state as it changes",
        "responses": responses,
        "x-event-data": shape,
    })
}

struct Feed {
    site: Arc<Site>,
    revisions: watch::Receiver<u64>,
    closing: watch::Receiver<bool>,
    /// What each printer's last event said, in the order of the configuration.
    told: Vec<String>,
    /// Events that are still to be sent, each with the printer's place.
    next: VecDeque<(usize, u64)>,
    is_first: bool,
}

impl Feed {
    async fn next(mut self) -> Option<(Result<Event, Infallible>, Self)> {
        let mut closing = self.closing.clone();
        let event = tokio::select! {
            // An error means that the server is gone.
            _ = closing.wait_for(|closing| *closing) => None,
            event = self.event() => event,
        };
        event.map(|event| (Ok(event), self))
    }

    async fn event(&mut self) -> Option<Event> {
        while self.next.is_empty() {
            if !std::mem::take(&mut self.is_first) {
                tokio::time::sleep(PACE).await;
                if let Ok(Err(_)) = tokio::time::timeout(REST_MAX, self.revisions.changed()).await {
                    return None;
                }
            }
            let revision = *self.revisions.borrow_and_update();
            let site = Arc::clone(&self.site);
            let states = tokio::task::spawn_blocking(move || states(&site)).await;
            let states = states.map_err(Problem::failed).and_then(|states| states);
            let states = states.inspect_err(|problem| tracing::error!(?problem, "the feed stops")).ok()?;
            let changed = states.iter().enumerate().filter(|(idx, state)| self.told.get(*idx) != Some(*state));
            self.next = changed.map(|(idx, _)| (idx, revision)).collect();
            self.told = states;
        }
        let (idx, revision) = self.next.pop_front()?;
        let n = self.told.len();
        // Grows with the revision, and from printer to printer within one.
        let id = revision
            .saturating_mul(u64::try_from(n).unwrap_or(u64::MAX))
            .saturating_add(u64::try_from(idx).unwrap_or(0));
        Some(Event::default().event("printer").id(id.to_string()).data(self.told.get(idx)?))
    }
}

fn states(site: &Site) -> Result<Vec<String>, Problem> {
    let state = |printer: PrinterNowJson| {
        let whole = serde_json::to_string(&printer)?;
        if whole.len() <= EVENT_MAX { Ok(whole) } else { serde_json::to_string(&printer.without_name()) }
    };
    let states: Result<Vec<String>, serde_json::Error> = printers(&views::now(site)?).into_iter().map(state).collect();
    states.map_err(Problem::failed)
}
