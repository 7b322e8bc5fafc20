//! The feed for programs: a printer's state, as `/api/now` has it, whenever it has changed. Owns what
//! an event holds and how large it may be; what is shown is made by `web/feed`, once for all readers, pages' own among them.

use super::operation::accepts;
use super::problem::Problem;
use crate::json::{PrinterNowJson, printers};
use crate::web::feed::{Feed, PACE, Shown};
use crate::web::server::Live;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use dwell_dashboards::view::NowView;
use futures_util::Stream;
use futures_util::stream::unfold;
use schemars::SchemaGenerator;
use serde_json::{Map, Value, json};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use tokio::sync::watch;

const EVENTS: &str = "text/event-stream";
/// Bytes of an event's data; a job's name that makes it longer is left out.
const EVENT_MAX: usize = 1900;

/// Every printer at once, then each whenever it has changed. Ends when it can't be told, and when the server closes.
pub(super) async fn live(
    State(live): State<Live>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    accepts(&headers, EVENTS)?;
    let newest = Feed::read(&live.site.feed, &live.site);
    let (told, next) = (Vec::new(), VecDeque::new());
    let reader = Reader { newest, closing: live.closing, told, next, n_sent: 0, is_first: true };
    Ok(Sse::new(unfold(reader, Reader::next)).keep_alive(KeepAlive::default()))
}

/// What the document says of it.
pub(super) fn described(shapes: &mut SchemaGenerator, refusals: &Map<String, Value>) -> Value {
    let mut responses = refusals.clone();
    let said = json!({
        "description": "Server-sent events `printer`, each under 2 KB (of a printer of up to six tools): `data` is one PrinterNow as JSON, `id` counts them from 1. All \
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

struct Reader {
    newest: watch::Receiver<Option<Arc<Shown>>>,
    closing: watch::Receiver<bool>,
    /// What each printer's last event said, in the order of the configuration.
    told: Vec<String>,
    /// The places of printers whose events are still to be sent.
    next: VecDeque<usize>,
    /// How many events were sent.
    n_sent: u64,
    is_first: bool,
}

impl Reader {
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
            let states = states(&self.shown().await?.view);
            let states = states.inspect_err(|error| tracing::error!(%error, "the feed stops")).ok()?;
            let changed = states.iter().enumerate().filter(|(idx, state)| self.told.get(*idx) != Some(*state));
            self.next = changed.map(|(idx, _)| idx).collect();
            self.told = states;
        }
        let state = self.told.get(self.next.pop_front()?)?;
        self.n_sent += 1;
        Some(Event::default().event("printer").id(self.n_sent.to_string()).data(state))
    }

    /// What is shown now, and then whatever follows it; `None` once nothing can be.
    async fn shown(&mut self) -> Option<Arc<Shown>> {
        let is_first = std::mem::take(&mut self.is_first);
        if !is_first {
            tokio::time::sleep(PACE).await;
        }
        if !is_first || self.newest.borrow().is_none() {
            self.newest.changed().await.ok()?;
        }
        self.newest.borrow_and_update().clone()
    }
}

fn states(view: &NowView) -> serde_json::Result<Vec<String>> {
    let state = |printer: PrinterNowJson| {
        let whole = serde_json::to_string(&printer)?;
        if whole.len() <= EVENT_MAX { Ok(whole) } else { serde_json::to_string(&printer.without_name()) }
    };
    printers(view).into_iter().map(state).collect()
}
