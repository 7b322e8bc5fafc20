//! Server-sent events that keep *Now* current. Owns what one reader has been sent, and that no event has more than
//! [`EVENT_MAX`] bytes; what is shown is made by the feed, once for all readers.
//!
//! `set`: an element's id on the first line, then the HTML that it holds from now on. `part`: the same, of which more
//! follows. `list`: an element's id, then the ids of the elements that it holds from now on, in their order. The last
//! event of all that is new carries the name of what was shown as its `id`, by which a reader that comes back is known.

use super::feed::{Digests, Feed, PACE, Piece, Shown};
use super::server::Live;
use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use dwell_dashboards::Inside;
use futures_util::Stream;
use futures_util::stream::unfold;
use std::collections::{HashMap, HashSet, VecDeque};
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// No event has more bytes, and no update unless it puts in what holds others.
pub(super) const EVENT_MAX: usize = 2000;

/// What an event has beside its id and text: its name and the field names.
const EVENT_FRAME: usize = 96;

/// Between updates while more is new than one may carry.
const CATCHING_UP: Duration = Duration::from_millis(100);

/// What a page says of itself when it begins to listen.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Since {
    /// What it was made as.
    since: Option<String>,
}

/// What differs from the page at once, then whenever what is shown does. Ends when nothing can be shown, so that the
/// page says that it is old, and when the server closes.
pub(super) async fn live(
    State(live): State<Live>,
    Query(since): Query<Since>,
    headers: HeaderMap,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    // A browser that comes back by itself asks under the old address, and tells what it got last.
    let last = headers.get("last-event-id").and_then(|id| id.to_str().ok()).map(str::to_owned);
    let held = last.or(since.since).map(|key| live.site.feed.held_by(&key)).unwrap_or_default();
    let mut newest = Feed::read(&live.site.feed, &live.site);
    newest.mark_changed();
    let reader = Reader { newest, closing: live.closing, sent: Sent::new(held), waiting: VecDeque::new(), rest: None };
    Sse::new(unfold(reader, Reader::next)).keep_alive(KeepAlive::default())
}

struct Reader {
    newest: watch::Receiver<Option<Arc<Shown>>>,
    closing: watch::Receiver<bool>,
    sent: Sent,
    waiting: VecDeque<Event>,
    /// How long to wait before more is looked for.
    rest: Option<Duration>,
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
        loop {
            if let Some(event) = self.waiting.pop_front() {
                return Some(event);
            }
            if let Some(rest) = self.rest.take() {
                tokio::time::sleep(rest).await;
            }
            if self.sent.is_whole {
                self.newest.changed().await.ok()?;
            }
            // Whoever was slow goes on with the newest, not with what was missed.
            let has_begun = self.sent.has_begun;
            let Some(shown) = self.newest.borrow_and_update().clone() else {
                // Nothing was made yet, or nothing can be any more.
                if has_begun {
                    return None;
                }
                self.newest.changed().await.ok()?;
                self.sent.is_whole = false;
                self.sent.has_begun = true;
                continue;
            };
            self.sent.has_begun = true;
            self.waiting.extend(self.sent.update(&shown));
            self.rest = Some(if self.sent.is_whole { PACE } else { CATCHING_UP });
        }
    }
}

/// What a reader's page holds.
struct Sent {
    held: HashMap<String, u64>,
    /// Whether it has all of what was shown last.
    is_whole: bool,
    has_begun: bool,
    /// The piece that is looked at first the next time, so that each has its turn.
    turn: usize,
}

impl Sent {
    fn new(held: Digests) -> Self {
        Self { held: held.into_iter().collect(), is_whole: true, has_begun: false, turn: 0 }
    }

    /// The events of one update: first what holds others, and with it all that it holds; then as much as it may carry.
    fn update(&mut self, shown: &Shown) -> Vec<Event> {
        let there: HashSet<&str> = shown.pieces.iter().map(|piece| piece.piece.id.as_str()).collect();
        self.held.retain(|id, _| there.contains(id.as_str()));
        let (mut events, mut bytes) = (Vec::new(), 0);
        let mut idx = 0;
        while let Some(piece) = shown.pieces.get(idx) {
            idx += 1;
            if piece.piece.holds == 0 && matches!(piece.piece.inside, Inside::Html(_)) || !self.is_new(piece) {
                continue;
            }
            bytes += self.send(piece, &mut events);
            if matches!(piece.piece.inside, Inside::Html(_)) {
                for within in shown.pieces.iter().skip(idx).take(piece.piece.holds) {
                    bytes += self.send(within, &mut events);
                }
                idx += piece.piece.holds;
            }
        }
        self.is_whole = true;
        // What everybody looks at first comes first; the rest in turn.
        let n = shown.pieces.len();
        let is_first = |idx: &usize| shown.pieces.get(*idx).is_some_and(|piece| piece.piece.id.starts_with("now-"));
        let turn = self.turn;
        let order = (0..n).filter(is_first).chain((0..n).map(|idx| (idx + turn) % n).filter(|idx| !is_first(idx)));
        for idx in order {
            let Some(piece) = shown.pieces.get(idx).filter(|piece| self.is_new(piece)) else { continue };
            if bytes > 0 && bytes + size(piece) > EVENT_MAX {
                self.is_whole = false;
                self.turn = idx;
                break;
            }
            bytes += self.send(piece, &mut events);
        }
        // What was sent last names the whole, once it is.
        if self.is_whole
            && let Some(last) = events.pop()
        {
            events.push(last.id(shown.key.clone()));
        }
        events
    }

    fn is_new(&self, piece: &Piece) -> bool {
        self.held.get(&piece.piece.id) != Some(&piece.digest)
    }

    fn send(&mut self, piece: &Piece, events: &mut Vec<Event>) -> usize {
        self.held.insert(piece.piece.id.clone(), piece.digest);
        events.extend(encoded(piece));
        size(piece)
    }
}

/// About so many bytes on the wire, rounded up.
fn size(piece: &Piece) -> usize {
    let text = match &piece.piece.inside {
        Inside::Html(html) => html.len() + 6 * html.matches('\n').count(),
        Inside::Elements(ids) => ids.iter().map(|id| id.len() + 1).sum(),
    };
    EVENT_FRAME + piece.piece.id.len() + text
}

fn encoded(piece: &Piece) -> Vec<Event> {
    let id = &piece.piece.id;
    let event = |name: &str, text: &str| Event::default().event(name).data(format!("{id}\n{text}"));
    let (last, text) = match &piece.piece.inside {
        Inside::Html(html) => ("set", html.clone()),
        Inside::Elements(ids) => ("list", ids.join(" ")),
    };
    let mut chunks = chunks(&text, EVENT_MAX - EVENT_FRAME - id.len());
    let end = chunks.pop().unwrap_or_default();
    let mut events: Vec<_> = chunks.into_iter().map(|chunk| event("part", chunk)).collect();
    events.push(event(last, end));
    events
}

/// Cuts a text so that no part has more bytes on the wire, between characters.
fn chunks(text: &str, bytes_max: usize) -> Vec<&str> {
    let (mut parts, mut from, mut bytes) = (Vec::new(), 0, 0);
    for (at, letter) in text.char_indices() {
        // A line that ends begins a field of its own.
        let weighs = letter.len_utf8() + if letter == '\n' { 6 } else { 0 };
        if bytes + weighs > bytes_max {
            parts.push(text.get(from..at).unwrap_or_default());
            (from, bytes) = (at, 0);
        }
        bytes += weighs;
    }
    parts.push(text.get(from..).unwrap_or_default());
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_text_is_cut_between_letters_and_no_part_is_too_long_on_the_wire() {
        let text = "21 °C\n▲".repeat(400);
        let parts = chunks(&text, 100);
        assert_eq!(parts.concat(), text);
        let weighs = |part: &&str| part.len() + 6 * part.matches('\n').count();
        assert!(parts.len() > 40 && parts.iter().all(|part| weighs(part) <= 100));
        assert_eq!(chunks("", 100), [""]);
    }
}
