//! One channel, ready to send: a [`Sender`] is made of a [`Channel`]. Owns which way is taken, and that no fault tells a
//! secret; each way is its own file's. When to send is the courier's.

use super::channel::{Channel, CommandPlan, Way};
use super::command;
use super::mail::Mail;
use super::message::{Kind, Message, SendContext, SendFault};
use super::mqtt::Mqtt;
use super::webhook::Webhook;
use crate::config::Secret;
use crate::store::Store;

/// A channel, ready to send.
#[derive(Debug)]
pub struct Sender {
    channel: String,
    /// What no fault may tell, however it got into the words of a receiver or of a library.
    secrets: Vec<Secret>,
    by: By,
}

#[derive(Debug)]
enum By {
    Webhook(Box<Webhook>),
    Mail(Box<Mail>),
    Mqtt(Mqtt),
    Command(CommandPlan),
    Log,
}

impl Sender {
    /// Makes a channel ready; a broker is connected to from here on, so this needs a runtime. The store is where what
    /// stands on a broker's topics is read from.
    ///
    /// # Errors
    /// If it can't be made ready, as without TLS on this machine.
    pub fn new(channel: &Channel, store: &Store) -> Result<Self, SendFault> {
        Self::made(channel, Some(store))
    }

    /// A channel for one message beside a daemon that may run: a broker is not told that dwellwatch watches or stops.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn beside(channel: &Channel) -> Result<Self, SendFault> {
        Self::made(channel, None)
    }

    fn made(channel: &Channel, store: Option<&Store>) -> Result<Self, SendFault> {
        let by = match &channel.way {
            Way::Webhook(plan) => By::Webhook(Box::new(Webhook::new(plan)?)),
            Way::Mail(plan) => By::Mail(Box::new(Mail::new(&channel.name, plan)?)),
            Way::Mqtt(plan) => By::Mqtt(Mqtt::new(&channel.name, plan, store)?),
            Way::Command(plan) => By::Command(plan.clone()),
            Way::Log => By::Log,
        };
        Ok(Self { channel: channel.name.clone(), secrets: channel.way.secrets(), by })
    }

    /// Sends a message once. It has arrived when this is `Ok`; after a fault it may have arrived too, and is sent again
    /// with the same key.
    ///
    /// # Errors
    /// If it is not known to have arrived.
    pub async fn send(&mut self, message: &Message, context: &SendContext) -> Result<(), SendFault> {
        let sent = match &mut self.by {
            By::Webhook(webhook) => webhook.send(message, context).await,
            By::Mail(mail) => mail.send(message, context).await,
            By::Mqtt(mqtt) => mqtt.send(message, context).await,
            By::Command(plan) => command::run(&self.channel, plan, message, context).await,
            By::Log => {
                log(message, context);
                Ok(())
            }
        };
        sent.map_err(|fault| SendFault { cause: without(&fault.cause, &self.secrets), ..fault })
    }

    /// Whether it shows charts.
    pub(super) fn draws(&self) -> bool {
        matches!(self.by, By::Mail(_))
    }

    /// Ends it in order: a broker is told that dwellwatch stops.
    pub async fn close(self) {
        match self.by {
            By::Mqtt(mqtt) => mqtt.close().await,
            By::Webhook(_) | By::Mail(_) | By::Command(_) | By::Log => {}
        }
    }
}

/// One line a notice.
fn log(message: &Message, context: &SendContext) {
    let line = |message: &Message| {
        let subject = dwell_dashboards::message::subject(&super::told::view(message, context));
        tracing::warn!(key = message.key, "{subject}");
    };
    if message.kind == Kind::Test {
        return line(message);
    }
    for notice in &message.notices {
        let (key, notices) = (notice.key().to_owned(), vec![notice.clone()]);
        line(&Message { key, kind: Kind::Single, made: message.made, notices, n_dropped: 0 });
    }
    if message.n_dropped > 0 {
        tracing::warn!(n = message.n_dropped, "notices were dropped, as more waited than is kept");
    }
}

/// A text with dots for every secret in it.
fn without(text: &str, secrets: &[Secret]) -> String {
    let told = secrets.iter().map(Secret::reveal).filter(|secret| !secret.is_empty());
    told.fold(text.to_owned(), |text, secret| text.replace(secret, "••••"))
}
