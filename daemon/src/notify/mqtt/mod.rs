//! MQTT: messages on one topic, what stands on retained ones, and whether dwellwatch watches. Owns the connection and
//! its two tasks; a message has arrived when the broker has acknowledged it.

mod driver;
mod link;
mod topics;

use super::channel::MqttPlan;
use super::message::{Message, SendContext, SendFault};
use crate::store::Store;
use driver::{Driver, Order};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::JoinHandle;
use tokio::time::timeout;
use topics::Topics;

/// From asking to the broker's acknowledgement.
const DEADLINE: Duration = Duration::from_secs(10);
/// To tell the broker that dwellwatch stops; then it stops.
const FAREWELL: Duration = Duration::from_secs(3);

/// A broker, connected to for as long as this lives.
#[derive(Debug)]
pub(super) struct Mqtt {
    orders: mpsc::Sender<Order>,
    trouble: watch::Receiver<Option<String>>,
    driver: Task,
}

/// A task that does not outlive its owner.
#[derive(Debug)]
struct Task(JoinHandle<()>);

impl Drop for Task {
    fn drop(&mut self) {
        self.0.abort();
    }
}

impl Mqtt {
    pub(super) fn new(channel: &str, plan: &MqttPlan, store: Option<&Store>) -> Result<Self, SendFault> {
        let topics = Topics::new(&plan.topic);
        let options = link::Options::new(plan, store.map(|_| topics.daemon()))?;
        // One message is under way at a time.
        let (orders, ordered) = mpsc::channel(1);
        let (told, trouble) = watch::channel(Some("not connected yet".to_owned()));
        let driver = Driver::new(channel.to_owned(), options, topics, store.cloned(), told);
        Ok(Self { orders, trouble, driver: Task(tokio::spawn(driver.run(ordered))) })
    }

    pub(super) async fn send(&self, message: &Message, context: &SendContext) -> Result<(), SendFault> {
        let (arrived, arrival) = oneshot::channel();
        let order = Order { told: message.json(context).to_string(), arrived };
        let sent = async {
            let ended = || SendFault::new("the connection's task has ended");
            self.orders.send(order).await.map_err(|_| ended())?;
            arrival.await.unwrap_or_else(|_| Err(ended()))
        };
        match timeout(DEADLINE, sent).await {
            Ok(sent) => sent,
            Err(_) => Err(SendFault::new(match self.trouble.borrow().as_deref() {
                Some(trouble) => format!("no connection to the broker: {trouble}"),
                None => format!("the broker had not acknowledged it after {} s", DEADLINE.as_secs()),
            })),
        }
    }

    /// Tells the broker that dwellwatch stops, if it can be reached.
    pub(super) async fn close(self) {
        let Self { orders, mut driver, .. } = self;
        drop(orders);
        if timeout(FAREWELL, &mut driver.0).await.is_err() {
            tracing::debug!("the broker was not told that dwellwatch stops");
        }
    }
}
