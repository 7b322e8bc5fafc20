//! What is published when: after connecting that dwellwatch watches, then messages before what stands, one after the
//! other. Owns that nothing counts before its acknowledgement, and that a new connection is told all that stands.

use super::Task;
use super::link::{Heard, Options, Publisher};
use super::topics::Topics;
use crate::notify::SendFault;
use crate::store::{Store, StoreError};
use crate::study::{alarm_view, told_in_memory};
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::AlarmView;
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{Instant, sleep_until};

/// The record moves with each poll of each printer; what stands is looked up no more often than this.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// The first pause before the broker is tried again; doubled up to the longest.
const PAUSE: Duration = Duration::from_secs(1);
const PAUSE_MAX: Duration = Duration::from_secs(30);
const WATCHING: &str = "{\"state\":\"watching\"}";
const STOPPED: &str = "{\"state\":\"stopped\"}";

/// A message to publish.
#[derive(Debug)]
pub(super) struct Order {
    pub(super) told: String,
    /// Hears whether the broker has it.
    pub(super) arrived: oneshot::Sender<Result<(), SendFault>>,
}

/// The publication that is under way.
enum Doing {
    Greeting,
    Notice(oneshot::Sender<Result<(), SendFault>>),
    Standing(String, String),
    Farewell,
}

/// Decides what is published next.
pub(super) struct Driver {
    channel: String,
    options: Options,
    /// The connection that is, or is being made.
    link: Option<(Publisher, Task)>,
    /// When the next one is made, and how long is waited after that.
    again: Instant,
    pause: Duration,
    topics: Topics,
    /// What stands is read from it. Without one, dwellwatch is not this process: nothing but messages is published.
    store: Option<Store>,
    /// Why there is no connection.
    trouble: watch::Sender<Option<String>>,
    /// Said in the log, once until there is a connection again.
    has_failed: bool,
    is_greeted: bool,
    is_ending: bool,
    doing: Option<Doing>,
    waiting: Option<Order>,
    /// What should stand on each topic, and what does.
    standing: BTreeMap<String, String>,
    shown: BTreeMap<String, String>,
}

impl Driver {
    pub(super) fn new(
        channel: String,
        options: Options,
        topics: Topics,
        store: Option<Store>,
        trouble: watch::Sender<Option<String>>,
    ) -> Self {
        Self {
            channel,
            options,
            link: None,
            again: Instant::now(),
            pause: PAUSE,
            topics,
            store,
            trouble,
            has_failed: false,
            is_greeted: false,
            is_ending: false,
            doing: None,
            waiting: None,
            standing: BTreeMap::new(),
            shown: BTreeMap::new(),
        }
    }

    /// Publishes until its orders end and the broker knows, or can't be told.
    pub(super) async fn run(mut self, mut orders: mpsc::Receiver<Order>) {
        let (told, mut heard) = mpsc::channel(1);
        let mut look = tokio::time::interval(LOOK_EVERY);
        look.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        let mut revisions = self.store.as_ref().map(Store::revisions);
        if let Some(revisions) = &mut revisions {
            revisions.mark_changed();
        }
        loop {
            self.publish_next();
            tokio::select! {
                () = sleep_until(self.again), if self.link.is_none() => {
                    let (publisher, wire) = self.options.connect();
                    self.link = Some((publisher, Task(tokio::spawn(wire.run(told.clone())))));
                }
                said = heard.recv() => match said {
                    Some(Heard::Left) | None => return,
                    Some(said) => self.hear(said),
                },
                order = orders.recv(), if self.waiting.is_none() && !self.is_ending => match order {
                    Some(order) => self.waiting = Some(order),
                    None if self.trouble.borrow().is_some() => return,
                    None => self.is_ending = true,
                },
                _ = look.tick() => {
                    // A record that is gone moves no more; what it last said stays.
                    if let Some(moved) = revisions.as_mut().filter(|moved| moved.has_changed().unwrap_or(false)) {
                        moved.mark_unchanged();
                        self.look().await;
                    }
                }
            }
        }
    }

    fn hear(&mut self, said: Heard) {
        match said {
            Heard::Connected => {
                tracing::info!(channel = %self.channel, "connected to the broker");
                self.trouble.send_replace(None);
                self.pause = PAUSE;
                self.has_failed = false;
                self.is_greeted = self.store.is_none();
                self.shown.clear();
            }
            Heard::Lost(why) => {
                if !self.has_failed {
                    self.has_failed = true;
                    tracing::warn!(channel = %self.channel, why, "no connection to the broker");
                }
                if let Some(Doing::Notice(arrived)) = self.doing.take() {
                    // So do brokers whose maximum it is over.
                    answer(arrived, Err(SendFault { is_too_large: true, ..SendFault::new(why.clone()) }));
                }
                self.trouble.send_replace(Some(why));
                self.link = None;
                self.again = Instant::now() + self.pause;
                self.pause = (self.pause * 2).min(PAUSE_MAX);
            }
            Heard::Acknowledged(how) => self.acknowledged(how),
            Heard::Left => {}
        }
    }

    fn acknowledged(&mut self, how: Result<(), String>) {
        if let Err(why) = &how {
            tracing::warn!(channel = %self.channel, why, "the broker takes no publication");
        }
        match self.doing.take() {
            // What is refused is not tried again on this connection: the broker would refuse it as often.
            Some(Doing::Greeting) => self.is_greeted = true,
            Some(Doing::Notice(arrived)) => answer(arrived, how.map_err(SendFault::new)),
            Some(Doing::Standing(topic, told)) => {
                self.shown.insert(topic, told);
            }
            Some(Doing::Farewell) => self.leave(),
            None => {}
        }
    }

    /// Hands the next publication over, unless one is under way or there is no connection.
    fn publish_next(&mut self) {
        let Some((publisher, _)) = self.link.as_ref().filter(|_| self.doing.is_none()) else { return };
        if self.trouble.borrow().is_some() {
            return;
        }
        // Whoever gave up waiting sends it again.
        self.waiting.take_if(|order| order.arrived.is_closed());
        let (topic, is_retained, told, doing) = if !self.is_greeted {
            (self.topics.daemon(), true, WATCHING.to_owned(), Doing::Greeting)
        } else if let Some(Order { told, arrived }) = self.waiting.take() {
            (self.topics.notice(), false, told, Doing::Notice(arrived))
        } else if let Some((topic, told)) =
            self.standing.iter().find(|(topic, told)| self.shown.get(*topic) != Some(told))
        {
            (topic.clone(), true, told.clone(), Doing::Standing(topic.clone(), told.clone()))
        } else if self.is_ending && self.store.is_none() {
            self.doing = Some(Doing::Farewell);
            return self.leave();
        } else if self.is_ending {
            (self.topics.daemon(), true, STOPPED.to_owned(), Doing::Farewell)
        } else {
            return;
        };
        match (publisher.publish(&topic, is_retained, &told), doing) {
            (Ok(()), doing) => self.doing = Some(doing),
            (Err(why), Doing::Notice(arrived)) => answer(arrived, Err(SendFault::new(why))),
            (Err(why), Doing::Standing(topic, told)) => {
                tracing::warn!(channel = %self.channel, topic, why, "a topic can't be published to");
                self.shown.insert(topic, told);
            }
            (Err(why), Doing::Greeting | Doing::Farewell) => {
                tracing::warn!(channel = %self.channel, why, "the broker can't be told whether dwellwatch watches");
                self.is_greeted = true;
            }
        }
    }

    fn leave(&self) {
        let left = self.link.as_ref().map_or(Ok(()), |(publisher, _)| publisher.leave());
        if let Err(why) = left {
            tracing::debug!(why, "the connection to the broker is cut off");
        }
    }

    /// Looks up what stands.
    async fn look(&mut self) {
        let Some(store) = self.store.clone() else { return };
        let topics = self.topics.clone();
        let looked = tokio::task::spawn_blocking(move || {
            Ok::<_, StoreError>(topics.standing(&store.reader()?.printers()?, &standing(&store)?))
        });
        match looked.await {
            Ok(Ok(standing)) => self.standing = standing,
            Ok(Err(error)) => tracing::debug!(channel = %self.channel, %error, "what stands can't be looked up"),
            Err(error) => tracing::debug!(channel = %self.channel, %error, "what stands was not looked up"),
        }
    }
}

/// What stands: by the record, and by what the disk has not taken yet.
fn standing(store: &Store) -> Result<Vec<AlarmView>, StoreError> {
    // Read before the record: what is written meanwhile stands in both.
    let waiting = store.unwritten_alarms();
    let reader = store.reader()?;
    // Returned after the end of time: those that have not returned.
    let rows = reader.alarms(Some(Timestamp::from_ms(i64::MAX)), None)?;
    let mut alarms = rows.into_iter().map(alarm_view).collect();
    told_in_memory(&reader, &mut alarms, waiting)?;
    alarms.retain(|alarm| alarm.returned.is_none());
    Ok(alarms)
}

fn answer(arrived: oneshot::Sender<Result<(), SendFault>>, how: Result<(), SendFault>) {
    if arrived.send(how).is_err() {
        tracing::debug!("nobody waits for an acknowledgement any more");
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::alarm::{AlarmEffect, Priority, Rule, Subject, record_full};

    #[test]
    fn what_is_raised_while_the_disk_takes_nothing_stands_and_what_returns_does_not() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("bench.db")).unwrap();
        let at = |second: i64| Timestamp::from_ms(1_772_438_400_000 + second * 1000);
        let full = |second| record_full(at(second), Priority::High, "no room", None, None);
        let rules =
            || standing(&store).unwrap().into_iter().map(|alarm| (alarm.raised, alarm.state)).collect::<Vec<_>>();
        store.commit_own(vec![full(0)], false).unwrap();
        assert_eq!(rules(), [(at(0), "unacknowledged")]);
        store.takes_nothing(true).unwrap();
        let subject = Subject { rule: Rule::RecordFull, tool: None };
        let gone = AlarmEffect::Returned { subject, raised: at(0), at: at(5), is_superseded: false };
        store.commit_own(vec![gone, full(9)], false).unwrap();
        assert_eq!(rules(), [(at(9), "unacknowledged")]);
        store.takes_nothing(false).unwrap();
        store.flush().unwrap();
        assert_eq!(rules(), [(at(9), "unacknowledged")]);
    }
}
