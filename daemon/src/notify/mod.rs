//! Delivers notices from the store's outbox to the channels: at least once, in order, with growing pauses. Owns the
//! rhythm of delivery; a notice is written nowhere but in the store.

mod channel;
mod compose;
mod courier;
mod heartbeat;
mod message;
mod post;
mod send;
mod webhook;

pub use channel::{
    Channel, Channels, CommandPlan, Heartbeat, MailPlan, MailTls, MqttPlan, MqttVersion, Quiet, Route, Way, WebhookPlan,
};
pub use compose::{Composed, Then, at_once, compose};
pub use courier::{Courier, Turn};
pub(crate) use heartbeat::Pulse;
pub use message::{Kind, Message, NoticeLinks, SendContext, SendFault};
pub(crate) use post::spawn;
pub use send::Sender;
