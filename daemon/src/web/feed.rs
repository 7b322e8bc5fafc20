//! What *Now* shows, made once for all who read it. Owns that fifty readers cost no more than one, and what a reader
//! that comes back has seen already.

use super::Site;
use super::answer::blocking;
use super::views::{self, ViewError};
use dwell_dashboards::view::NowView;
use dwell_dashboards::{Inside, LivePiece, now_pieces};
use rand::distr::{Alphanumeric, SampleString};
use std::collections::VecDeque;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::Instant;

/// The shortest real time between two of them.
pub(super) const PACE: Duration = Duration::from_secs(1);

/// The longest: a page must turn to "no reading" even when the store has stopped moving.
const REST_MAX: Duration = Duration::from_secs(10);

/// So many are remembered, for pages that were made from them a moment ago.
const REMEMBERED: usize = 120;

/// What was shown at one instant.
#[derive(Debug)]
pub(super) struct Shown {
    /// Names it, also across a restart.
    pub(super) key: String,
    pub(super) view: NowView,
    pub(super) pieces: Vec<Piece>,
    made: Instant,
}

/// A piece with its digest.
#[derive(Debug)]
pub(super) struct Piece {
    pub(super) piece: LivePiece,
    pub(super) digest: u64,
}

/// Ids and digests of what a page holds.
pub(super) type Digests = Vec<(String, u64)>;

/// Makes what is shown, and hands it to all who read.
#[derive(Debug)]
pub(super) struct Feed {
    /// Tells this start from others in the names of what is shown.
    start: String,
    newest: watch::Sender<Option<Arc<Shown>>>,
    /// How many were made. Held while one is made, so that nobody makes another; so never to be waited for where nothing
    /// may wait for the disk.
    made: Mutex<u64>,
    /// What the last ones held, by their names; never held for longer than a look.
    digests: Mutex<VecDeque<(String, Digests)>>,
    /// Whether somebody makes them as they fall due.
    is_kept: Mutex<bool>,
}

impl Feed {
    pub(super) fn new() -> Self {
        let start = Alphanumeric.sample_string(&mut rand::rng(), 8);
        let (newest, made, digests) = (watch::Sender::new(None), Mutex::new(0), Mutex::default());
        Self { start, newest, made, digests, is_kept: Mutex::new(false) }
    }

    /// The newest, or one that is made now if that is old or the record has moved on. Blocks while it is made.
    pub(super) fn fresh(&self, site: &Site) -> Result<Arc<Shown>, ViewError> {
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        let newest = self.newest.borrow().clone();
        let revision = *site.store.revisions().borrow();
        if let Some(newest) = newest.filter(|newest| newest.view.revision == revision && newest.made.elapsed() < PACE) {
            return Ok(newest);
        }
        let mut view = views::now(site)?;
        *made += 1;
        view.made = format!("{}-{}", self.start, *made);
        let pieces: Vec<_> = now_pieces(&view).into_iter().map(digested).collect();
        self.remember(view.made.clone(), digests(&pieces));
        let shown = Arc::new(Shown { key: view.made.clone(), view, pieces, made: Instant::now() });
        self.newest.send_replace(Some(Arc::clone(&shown)));
        Ok(shown)
    }

    fn remember(&self, key: String, held: Digests) {
        let mut digests = self.digests.lock().unwrap_or_else(PoisonError::into_inner);
        digests.push_back((key, held));
        if digests.len() > REMEMBERED {
            digests.pop_front();
        }
    }

    /// What a page holds that was made as this; nothing if that is too long ago. Never waits for one that is being made.
    pub(super) fn held_by(&self, key: &str) -> Digests {
        let digests = self.digests.lock().unwrap_or_else(PoisonError::into_inner);
        let held = digests.iter().rev().find(|(made, _)| made == key);
        held.map(|(_, digests)| digests.clone()).unwrap_or_default()
    }

    /// All that is made from now on, newest only; `None` once nothing can be made. While anybody reads, what is shown is
    /// made as the record moves.
    pub(super) fn read(self: &Arc<Self>, site: &Arc<Site>) -> watch::Receiver<Option<Arc<Shown>>> {
        let mut is_kept = self.is_kept.lock().unwrap_or_else(PoisonError::into_inner);
        let newest = self.newest.subscribe();
        if !*is_kept {
            *is_kept = true;
            // What was shown before nobody read is no news.
            self.newest.send_if_modified(|newest| {
                newest.take_if(|newest| newest.made.elapsed() >= PACE);
                false
            });
            let (feed, site) = (Arc::clone(self), Arc::clone(site));
            tokio::spawn(async move { feed.keep(site).await });
        }
        newest
    }

    async fn keep(&self, site: Arc<Site>) {
        let mut revisions = site.store.revisions();
        while !self.is_over() {
            revisions.mark_unchanged();
            let made = blocking(Arc::clone(&site), |site| Ok(site.feed.fresh(site)?)).await;
            if let Err(refusal) = made {
                tracing::error!(?refusal, "the live page stops");
                self.newest.send_replace(None);
            }
            tokio::time::sleep(PACE).await;
            if let Ok(Err(gone)) = tokio::time::timeout(REST_MAX, revisions.changed()).await {
                // Nothing can be shown of a store that is gone.
                tracing::debug!(%gone, "the live page ends");
                self.newest.send_replace(None);
            }
        }
    }

    /// Whether nobody reads any more; whoever comes then begins anew.
    fn is_over(&self) -> bool {
        let mut is_kept = self.is_kept.lock().unwrap_or_else(PoisonError::into_inner);
        *is_kept = self.newest.receiver_count() > 0;
        !*is_kept
    }

    /// How many were made since the start.
    #[cfg(test)]
    pub(super) fn n_made(&self) -> u64 {
        *self.made.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps one from being made, as the disk does that is slow.
    #[cfg(test)]
    pub(super) fn hold_up(&self) -> std::sync::MutexGuard<'_, u64> {
        self.made.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn digested(piece: LivePiece) -> Piece {
    let mut hasher = DefaultHasher::new();
    match &piece.inside {
        Inside::Html(html) => html.hash(&mut hasher),
        Inside::Elements(ids) => ids.hash(&mut hasher),
    }
    Piece { digest: hasher.finish(), piece }
}

fn digests(pieces: &[Piece]) -> Digests {
    pieces.iter().map(|Piece { piece, digest }| (piece.id.clone(), *digest)).collect()
}
