//! Delivers notices from the store's outbox to the channels: at least once, in order, with growing pauses. Owns the
//! rhythm of delivery; a notice is written nowhere but in the store.

mod channel;
mod command;
mod compose;
mod context;
mod courier;
mod heartbeat;
mod mail;
mod message;
mod mqtt;
mod post;
mod send;
mod signature;
mod template;
mod told;
mod trust;
mod webhook;

pub use channel::{
    Channel, Channels, CommandPlan, Heartbeat, MailPlan, MailTls, MqttPlan, MqttVersion, Quiet, Route, Way, WebhookPlan,
};
pub(crate) use compose::TOGETHER_MAX;
pub use compose::{Composed, Then, at_once, compose, held_back};
pub use courier::{Courier, Turn};
pub(crate) use heartbeat::Pulse;
pub use mail::is_mail_address;
pub use message::{Kind, Message, SendContext, SendFault};
pub(crate) use post::spawn;
pub use send::Sender;
pub use template::Template;
