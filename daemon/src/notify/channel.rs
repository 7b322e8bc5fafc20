//! The ways to reach a person, as the configuration has them. Owns their shape; how each sends is its own file's.

use super::template::Template;
use crate::alarm::Priority;
use crate::config::Secret;
use crate::host::Authority;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::time::Duration;

/// All that reaches people.
#[derive(Clone, Debug, Default)]
pub struct Channels {
    /// In the order of the configuration; no two of one name.
    pub channels: Vec<Channel>,
    /// Tells somebody outside that dwellwatch lives.
    pub heartbeats: Vec<Heartbeat>,
    /// Where links in messages lead, such as `https://bench.example`; `None` leaves links out.
    pub address: Option<String>,
}

/// One way to reach people.
#[derive(Clone, Debug)]
pub struct Channel {
    /// Its name, as the record's deliveries have it.
    pub name: String,
    /// What goes that way, and when.
    pub route: Route,
    /// How.
    pub way: Way,
}

/// What goes a way, and when.
#[derive(Clone, Debug)]
pub struct Route {
    /// From which priority on.
    pub from: Priority,
    /// Whether it is also told when an alarm returns.
    pub returns: bool,
    /// When it is quiet; what does not pass then comes together afterwards.
    pub quiet: Option<Quiet>,
}

/// Hours in which only what is urgent passes.
#[derive(Clone, Debug)]
pub struct Quiet {
    /// Begins.
    pub from: Time,
    /// Ends, on the next day if it is not after the beginning.
    pub to: Time,
    /// Whose clock.
    pub zone: TimeZone,
    /// From which priority on notices pass.
    pub passes: Priority,
}

/// How a channel sends.
#[derive(Clone, Debug)]
pub enum Way {
    /// One POST a message.
    Webhook(WebhookPlan),
    /// One mail a message.
    Mail(MailPlan),
    /// Published to a broker.
    Mqtt(MqttPlan),
    /// A program of the person's.
    Command(CommandPlan),
    /// A line in the log.
    Log,
}

impl Way {
    /// What no message of a fault may repeat.
    pub(super) fn secrets(&self) -> Vec<Secret> {
        match self {
            Self::Webhook(plan) => {
                let keys = plan.key.iter().map(|(_, key)| key);
                [&plan.url].into_iter().chain(plan.headers.values()).chain(keys).cloned().collect()
            }
            Self::Mail(MailPlan { login, .. }) | Self::Mqtt(MqttPlan { login, .. }) => {
                login.iter().map(|(_, password)| password.clone()).collect()
            }
            Self::Command(_) | Self::Log => Vec::new(),
        }
    }
}

/// A webhook.
#[derive(Clone, Debug)]
pub struct WebhookPlan {
    /// Where; may hold a key, so that only its origin is ever shown.
    pub url: Secret,
    /// Sent with each request.
    pub headers: BTreeMap<String, Secret>,
    /// Signs the request (RFC 9421, HMAC-SHA-256): the key's name, and the key.
    pub key: Option<(String, Secret)>,
    /// The body's own shape, and its content type; `None` is dwellwatch's JSON.
    pub template: Option<(Template, String)>,
    /// Trusted besides the machine's own.
    pub authority: Option<Authority>,
}

/// A mail server and who is written to.
#[derive(Clone, Debug)]
pub struct MailPlan {
    /// Host name of the server.
    pub server: String,
    /// Port.
    pub port: u16,
    /// How the way there is kept secret.
    pub tls: MailTls,
    /// Name and password.
    pub login: Option<(String, Secret)>,
    /// Sender's address.
    pub from: String,
    /// Receivers' addresses.
    pub to: Vec<String>,
    /// Trusted besides the machine's own.
    pub authority: Option<Authority>,
}

/// How a mail's way is kept secret.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MailTls {
    /// From the first byte (RFC 8314).
    Implicit,
    /// From STARTTLS on (RFC 3207); without it nothing is sent.
    StartTls,
    /// Not at all: for a server on this machine.
    None,
}

/// An MQTT broker.
#[derive(Clone, Debug)]
pub struct MqttPlan {
    /// Host name of the broker.
    pub server: String,
    /// Port.
    pub port: u16,
    /// Whether the way is TLS.
    pub is_tls: bool,
    /// The version spoken.
    pub version: MqttVersion,
    /// Name and password.
    pub login: Option<(String, Secret)>,
    /// First part of every topic.
    pub topic: String,
    /// Trusted besides the machine's own.
    pub authority: Option<Authority>,
}

/// A version of MQTT.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MqttVersion {
    /// 3.1.1.
    V3,
    /// 5.
    V5,
}

/// A program that is given the message as JSON on its standard input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CommandPlan {
    /// The program's path and its arguments; no shell reads them.
    pub run: Vec<String>,
    /// After so long it is ended.
    pub deadline: Duration,
}

/// Tells somebody outside, at intervals, that dwellwatch lives and watches; whoever misses it looks.
#[derive(Clone, Debug)]
pub struct Heartbeat {
    /// Where; may hold a key.
    pub url: Secret,
    /// How often.
    pub every: Duration,
}
