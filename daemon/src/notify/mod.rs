//! Delivers notices from the store's outbox to the channels: at least once, in order, with growing pauses. Owns the
//! rhythm of delivery; a notice is written nowhere but in the store.

mod channel;
mod command;
mod mail;
mod message;
mod mqtt;
mod notifier;
mod send;
mod signature;
mod template;
mod told;
mod trust;
mod webhook;

pub use channel::{
    Channel, Channels, CommandPlan, Heartbeat, MailPlan, MailTls, MqttPlan, MqttVersion, Quiet, Route, Way, WebhookPlan,
};
pub use mail::is_mail_address;
pub use message::{Kind, Message, SendContext, SendFault};
pub use notifier::Notifier;
pub use send::Sender;
pub use template::Template;
