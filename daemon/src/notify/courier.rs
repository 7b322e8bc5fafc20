//! One channel's way from the outbox to people: at least once, in order, with growing pauses, the same key and content at
//! each try. Owns the rhythm of delivery; a message is in the record, or in its memory while the disk takes nothing,
//! before it is sent. No channel waits for another.
//!
//! [`Courier`] takes the time as it is told it, so that a week passes in a test as it does in life; [`run`] is the task
//! that tells it the daemon's.

use super::channel::{Channel, Route, Way};
use super::compose::{Composed, TOGETHER_MAX, Then, at_once, compose, held_back};
use super::context::Contexts;
use super::message::SendFault;
use super::send::Sender;
use crate::app::{AppError, ended};
use crate::clock::Clock;
use crate::points::{Point, pass};
use crate::store::{Carrier, Draft, Notice, Outbox, Store, StoreError, Underway};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// The longest pause between two tries.
const PAUSE_MAX: Seconds = Seconds::minutes(10.0);
/// No receiver holds messages back for longer by asking to.
const WAIT_MAX: Seconds = Seconds::minutes(60.0);
/// A message that so many tries in a row found too large is made again as smaller ones.
const TOO_LARGE: u32 = 5;
/// How often is looked whether something has come.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// So much later for each notice that waits: looking through thousands of them is more than a glance, and they wait for
/// minutes anyway.
const LOOK_LATER: Duration = Duration::from_millis(1);

/// What a channel is to do now.
#[derive(Clone, Debug)]
pub enum Turn {
    /// Send this, and say what became of it.
    Send(Box<Underway>),
    /// Nothing.
    Rest,
}

/// One channel's deliveries.
#[derive(Debug)]
pub struct Courier {
    store: Store,
    carrier: Carrier,
    route: Route,
    /// Whether notices are held back and put together at all: a log is not called by too many.
    is_paced: bool,
    /// What had come at the last look, and when there will be something to do even if nothing comes.
    looked: Option<((i64, u64), Option<Timestamp>)>,
    /// How many notices waited then, and up to which row of the table none did.
    n_pending: u32,
    done_to: i64,
    /// Notices that go into one message, as far as the receiver has taught, and how many tries in a row have found one too
    /// large.
    most: usize,
    n_too_large: u32,
    /// Why the last try failed, as it was logged.
    failing: Option<String>,
}

impl Courier {
    /// The courier of one of the channels `all`.
    #[must_use]
    pub fn new(store: Store, channel: &Channel, all: &Arc<[String]>) -> Self {
        let carrier = Carrier { channel: channel.name.as_str().into(), all: Arc::clone(all) };
        let is_paced = !matches!(channel.way, Way::Log);
        let route = channel.route.clone();
        Self {
            store,
            carrier,
            route,
            is_paced,
            looked: None,
            n_pending: 0,
            done_to: 0,
            most: TOGETHER_MAX,
            n_too_large: 0,
            failing: None,
        }
    }

    /// What is to be done now.
    ///
    /// # Errors
    /// If the record can't be read or written, for a reason that does not pass.
    pub async fn turn(&mut self, now: Timestamp) -> Result<Turn, StoreError> {
        let mark = self.store.outbox_mark().await?;
        if let Some((looked, due)) = self.looked
            && looked == mark
            && due.is_none_or(|due| due > now)
        {
            return Ok(Turn::Rest);
        }
        loop {
            let Outbox { underway, pending, n_pending, done_to, sent } =
                self.store.outbox(&self.carrier, self.done_to, now).await?;
            (self.done_to, self.n_pending) = (done_to, u32::try_from(n_pending).unwrap_or(u32::MAX));
            let Composed { skipped, then } = if self.is_paced {
                compose(&pending, &self.route, &sent, now, self.most)
            } else {
                at_once(&pending, &self.route)
            };
            let held = underway.as_ref().filter(|_| self.is_paced);
            let held = held.and_then(|held| held_back(&held.message.notices, &self.route, now));
            // What is louder than all of a message that quiet hours hold back does not wait behind it.
            if let (Some(underway), Some(_), Then::Send(..)) = (&underway, held, &then) {
                self.unmake(underway.clone()).await?;
                continue;
            }
            let of =
                |idxs: &[usize]| -> Vec<Notice> { idxs.iter().filter_map(|idx| pending.get(*idx)).cloned().collect() };
            let message = match (&underway, &then) {
                (None, Then::Send(kind, notices)) => Some((*kind, of(notices))),
                (None, Then::Until(_) | Then::Nothing) | (Some(_), _) => None,
            };
            let draft = Draft { message, skipped: of(&skipped) };
            let (is_made, is_skipped) = (draft.message.is_some(), !draft.skipped.is_empty());
            let made =
                if is_made || is_skipped { self.store.make_message(&self.carrier, draft, now).await? } else { None };
            // There is more than was looked through, and none of that may be for this channel.
            if is_skipped && !is_made && pending.len() < n_pending {
                continue;
            }
            let due = match (underway.or(made), then) {
                (Some(underway), then) if let Some(end) = held => {
                    let due = underway.due.max(end);
                    Some(if let Then::Until(at) = then { due.min(at) } else { due })
                }
                (Some(underway), _) if underway.due <= now => {
                    self.looked = None;
                    return Ok(Turn::Send(Box::new(underway)));
                }
                (Some(underway), _) => Some(underway.due),
                (None, Then::Until(at)) => Some(at),
                (None, Then::Send(..) | Then::Nothing) => None,
            };
            self.looked = Some((mark, due));
            return Ok(Turn::Rest);
        }
    }

    /// Takes a message back that has not arrived, for others to be made of its notices.
    async fn unmake(&mut self, underway: Underway) -> Result<(), StoreError> {
        self.done_to = 0;
        self.store.unmake_message(&self.carrier, underway).await
    }

    /// The message has arrived, or has not.
    ///
    /// # Errors
    /// If the record can't be written, for a reason that does not pass; the message will be sent again then.
    pub async fn answered(
        &mut self,
        underway: Underway,
        answer: Result<(), SendFault>,
        now: Timestamp,
    ) -> Result<(), StoreError> {
        self.looked = None;
        let channel = &self.carrier.channel;
        match answer {
            Ok(()) => {
                self.n_too_large = 0;
                if self.failing.take().is_some() {
                    tracing::info!(%channel, key = underway.message.key, "messages arrive again");
                }
                self.store.delivered(&self.carrier, underway, now).await
            }
            Err(SendFault { cause, wait, is_too_large }) => {
                self.n_too_large = if is_too_large { self.n_too_large + 1 } else { 0 };
                let n_notices = underway.message.notices.len();
                if self.n_too_large >= TOO_LARGE && n_notices > 1 {
                    (self.most, self.n_too_large) = (n_notices / 2, 0);
                    tracing::warn!(%channel, n_notices, %cause, "a message is too large: smaller ones go instead");
                    return self.unmake(underway).await;
                }
                let asked = wait.map_or(Seconds::ZERO, |wait| Seconds::new(wait.as_secs_f64()));
                let asked = if asked < WAIT_MAX { asked } else { WAIT_MAX };
                let own = pause(underway.attempts);
                if self.failing.as_ref() != Some(&cause) {
                    tracing::warn!(%channel, key = underway.message.key, %cause, "a message was not delivered");
                    self.failing = Some(cause);
                }
                self.store.postponed(&self.carrier, underway, now + if own < asked { asked } else { own }).await
            }
        }
    }
}

/// Delivers by a channel until the daemon stops; what is left then waits in the store for the next start.
///
/// # Errors
/// If the store is gone.
pub(crate) async fn run(
    mut courier: Courier,
    mut sender: Sender,
    contexts: Contexts,
    clock: Arc<Clock>,
    stopped: watch::Receiver<bool>,
) -> Result<(), AppError> {
    let stop = ended(stopped);
    tokio::pin!(stop);
    // A channel may have been taken out of the configuration.
    courier.store.settle_notices(&courier.carrier, clock.now().at).await?;
    loop {
        tokio::select! {
            delivered = deliver_due(&mut courier, &mut sender, &contexts, &clock) => match delivered {
                // It waits in the store; the disk's or another process's trouble may pass.
                Err(error) if error.is_transient() => tracing::warn!(%error, "the outbox can't be used"),
                other => other?,
            },
            () = &mut stop => break,
        }
        tokio::select! {
            () = tokio::time::sleep(LOOK_EVERY + LOOK_LATER * courier.n_pending) => {}
            () = &mut stop => break,
        }
    }
    sender.close().await;
    Ok(())
}

/// Delivers, in order, until there is nothing to do now.
async fn deliver_due(
    courier: &mut Courier,
    sender: &mut Sender,
    contexts: &Contexts,
    clock: &Clock,
) -> Result<(), StoreError> {
    while let Turn::Send(underway) = courier.turn(clock.now().at).await? {
        // The log is nobody who could have it twice.
        let is_told = courier.is_paced;
        if is_told {
            pass(Point::NoticeRead);
        }
        let context = contexts.of(&underway.message, sender.draws()).await;
        let answer = sender.send(&underway.message, &context).await;
        if is_told && answer.is_ok() {
            pass(Point::NoticeSent);
        }
        let arrived = answer.is_ok().then_some(Point::NoticeDelivered);
        courier.answered(*underway, answer, clock.now().at).await?;
        if let Some(point) = arrived.filter(|_| is_told) {
            pass(point);
        }
    }
    Ok(())
}

/// The pause after so many failed tries: a second, doubled each time, up to ten minutes.
fn pause(attempts: u32) -> Seconds {
    let doubled = 2_u32.checked_pow(attempts).map_or(PAUSE_MAX, |seconds| Seconds::new(f64::from(seconds)));
    if doubled < PAUSE_MAX { doubled } else { PAUSE_MAX }
}
