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
    /// What could not be made ready; each message tries again.
    Unready(Box<Channel>, Option<Store>),
}

impl Sender {
    /// Makes a channel ready, or else at each message anew: one that can't be keeps nothing else from going on, and what
    /// waits for it arrives once it can.
    pub(super) fn at_last(channel: &Channel, store: &Store) -> Self {
        Self::new(channel, store).unwrap_or_else(|fault| {
            tracing::error!(channel = channel.name, %fault, "the channel can't be made ready: nothing goes that way");
            let by = By::Unready(Box::new(channel.clone()), Some(store.clone()));
            Self { channel: channel.name.clone(), secrets: channel.way.secrets(), by }
        })
    }

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
        if let By::Unready(channel, store) = &self.by {
            let made = Self::made(channel, store.as_ref());
            *self = made.map_err(|fault| SendFault::new(format!("it can't be made ready: {fault}")))?;
        }
        let sent = match &mut self.by {
            By::Unready(..) => Err(SendFault::new("it can't be made ready")),
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
            By::Webhook(_) | By::Mail(_) | By::Command(_) | By::Log | By::Unready(..) => {}
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

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::alarm::Priority;
    use crate::notify::{MailPlan, MailTls, Route};
    use dwell_analysis::time::Timestamp;

    #[tokio::test]
    async fn a_channel_that_cannot_be_made_ready_only_fails_and_is_used_once_it_can() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("bench.db")).unwrap();
        let plan = |from: &str| MailPlan {
            server: "127.0.0.1".to_owned(),
            port: 9,
            tls: MailTls::None,
            login: None,
            from: from.to_owned(),
            to: vec!["ann@workshop.example".to_owned()],
            authority: None,
        };
        let route = Route { from: Priority::Low, returns: true, quiet: None };
        let channel = Channel { name: "post".to_owned(), route, way: Way::Mail(plan("nobody")) };
        let mut sender = Sender::at_last(&channel, &store);
        let made = Timestamp::from_ms(1_772_438_400_000);
        let message = Message { key: "k".to_owned(), kind: Kind::Test, made, notices: Vec::new(), n_dropped: 0 };
        let fault = sender.send(&message, &SendContext::default()).await.unwrap_err();
        assert!(fault.cause.contains("can't be made ready") && fault.cause.contains("nobody"), "{fault}");
        let By::Unready(channel, _) = &mut sender.by else { unreachable!("{sender:?}") };
        channel.way = Way::Log;
        assert_eq!(sender.send(&message, &SendContext::default()).await, Ok(()));
    }
}
