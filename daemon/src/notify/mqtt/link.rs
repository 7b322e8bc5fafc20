//! The two versions of the protocol behind one face. Owns the options of the connection; what is published is the
//! driver's.

use super::super::channel::{MqttPlan, MqttVersion};
use super::super::message::SendFault;
use super::super::trust;
use crate::host::use_ring;
use rand::RngExt;
use rumqttc::v5::mqttbytes::QoS as QoS5;
use rumqttc::v5::mqttbytes::v5::{LastWill as LastWill5, Packet as Packet5, PubAckReason};
use rumqttc::{LastWill, NetworkOptions, Packet, QoS, TlsConfiguration, Transport, v5};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;

/// A broker that does not answer a ping for so long is gone, and so, for it, is dwellwatch after one and a half.
const KEEP_ALIVE: Duration = Duration::from_secs(15);
/// TCP, TLS and the broker's acknowledgement, seconds.
const CONNECT_S: u64 = 10;
/// Nothing is subscribed to: only acknowledgements come in.
const INCOMING_BYTES_MAX: usize = 64 * 1024;
/// Ten thousand notices in one message are half of this.
const OUTGOING_BYTES_MAX: usize = 16 * 1024 * 1024;
/// Requests that wait to be written: a publication, and the end.
const REQUESTS: usize = 4;
/// What the broker says when dwellwatch is gone without a word.
pub(super) const GONE: &str = "{\"state\":\"gone\"}";

/// What comes of a connection.
#[derive(Debug)]
pub(super) enum Heard {
    Connected,
    /// Of the one publication that is under way, or why the broker refuses it.
    Acknowledged(Result<(), String>),
    /// The broker was told that it ends.
    Left,
    Lost(String),
}

/// Publishes.
#[derive(Debug)]
pub(super) enum Publisher {
    V3(rumqttc::AsyncClient),
    V5(v5::AsyncClient),
}

/// Writes and reads.
pub(super) enum Wire {
    V3(Box<rumqttc::EventLoop>),
    V5(Box<v5::EventLoop>),
}

/// What each connection is made with.
pub(super) enum Options {
    V3(Box<rumqttc::MqttOptions>),
    V5(Box<v5::MqttOptions>),
}

impl Options {
    /// With a topic for it, the broker says on that when dwellwatch is gone.
    pub(super) fn new(plan: &MqttPlan, will: Option<String>) -> Result<Self, SendFault> {
        use_ring();
        // A broker ends the older of two connections of one name, so no two may have one. 3.1.1 promises 23 letters.
        let name = format!("dwellwatch{:012x}", rand::rng().random::<u64>() >> 16);
        let transport = if plan.is_tls {
            let tls = trust::tls(plan.authority.as_ref())?;
            Transport::tls_with_config(TlsConfiguration::Rustls(Arc::new(tls)))
        } else {
            Transport::tcp()
        };
        let login = plan.login.as_ref().map(|(user, password)| (user.clone(), password.reveal().to_owned()));
        Ok(match plan.version {
            MqttVersion::V3 => {
                let mut options = rumqttc::MqttOptions::new(name, &plan.server, plan.port);
                options.set_transport(transport).set_keep_alive(KEEP_ALIVE).set_clean_session(true);
                options.set_max_packet_size(INCOMING_BYTES_MAX, OUTGOING_BYTES_MAX);
                if let Some(topic) = will {
                    options.set_last_will(LastWill::new(topic, GONE, QoS::AtLeastOnce, true));
                }
                if let Some((user, password)) = login {
                    options.set_credentials(user, password);
                }
                Self::V3(Box::new(options))
            }
            MqttVersion::V5 => {
                let mut options = v5::MqttOptions::new(name, &plan.server, plan.port);
                options.set_transport(transport).set_keep_alive(KEEP_ALIVE).set_clean_start(true);
                options.set_connection_timeout(CONNECT_S);
                if let Some(topic) = will {
                    options.set_last_will(LastWill5::new(topic, GONE, QoS5::AtLeastOnce, true, None));
                }
                if let Some((user, password)) = login {
                    options.set_credentials(user, password);
                }
                Self::V5(Box::new(options))
            }
        })
    }

    /// A connection to be made. Each is a new one of the library's too: what one had left to write is not written by the
    /// next, whose acknowledgements would then be of something else.
    pub(super) fn connect(&self) -> (Publisher, Wire) {
        match self {
            Self::V3(options) => {
                let (client, mut events) = rumqttc::AsyncClient::new(options.as_ref().clone(), REQUESTS);
                let mut network = NetworkOptions::new();
                network.set_connection_timeout(CONNECT_S);
                events.set_network_options(network);
                (Publisher::V3(client), Wire::V3(Box::new(events)))
            }
            Self::V5(options) => {
                let (client, events) = v5::AsyncClient::new(options.as_ref().clone(), REQUESTS);
                (Publisher::V5(client), Wire::V5(Box::new(events)))
            }
        }
    }
}

impl Publisher {
    /// Hands a publication over to be written; whether it arrives is heard.
    pub(super) fn publish(&self, topic: &str, is_retained: bool, told: &str) -> Result<(), String> {
        match self {
            Self::V3(client) => client
                .try_publish(topic, QoS::AtLeastOnce, is_retained, told.as_bytes())
                .map_err(|error| error.to_string()),
            Self::V5(client) => client
                .try_publish(topic, QoS5::AtLeastOnce, is_retained, told.as_bytes().to_vec())
                .map_err(|error| error.to_string()),
        }
    }

    pub(super) fn leave(&self) -> Result<(), String> {
        match self {
            Self::V3(client) => client.try_disconnect().map_err(|error| error.to_string()),
            Self::V5(client) => client.try_disconnect().map_err(|error| error.to_string()),
        }
    }
}

impl Wire {
    /// Keeps the connection until it is lost. By itself, since what it does must not be cut off half way.
    pub(super) async fn run(mut self, heard: mpsc::Sender<Heard>) {
        loop {
            let said = match self.next().await {
                Ok(None) => continue,
                Ok(Some(said)) => said,
                Err(why) => Heard::Lost(why),
            };
            let is_lost = matches!(said, Heard::Lost(_));
            if heard.send(said).await.is_err() || is_lost {
                return;
            }
        }
    }

    async fn next(&mut self) -> Result<Option<Heard>, String> {
        match self {
            Self::V3(events) => Ok(match events.poll().await.map_err(|error| error.to_string())? {
                rumqttc::Event::Incoming(Packet::ConnAck(_)) => Some(Heard::Connected),
                rumqttc::Event::Incoming(Packet::PubAck(_)) => Some(Heard::Acknowledged(Ok(()))),
                rumqttc::Event::Outgoing(rumqttc::Outgoing::Disconnect) => Some(Heard::Left),
                rumqttc::Event::Incoming(_) | rumqttc::Event::Outgoing(_) => None,
            }),
            Self::V5(events) => Ok(match events.poll().await.map_err(|error| error.to_string())? {
                v5::Event::Incoming(Packet5::ConnAck(_)) => Some(Heard::Connected),
                v5::Event::Incoming(Packet5::PubAck(acknowledged)) => {
                    Some(Heard::Acknowledged(match acknowledged.reason {
                        // Whoever is not there yet may still read what is retained.
                        PubAckReason::Success | PubAckReason::NoMatchingSubscribers => Ok(()),
                        refused => Err(format!("the broker refuses it: {refused:?}")),
                    }))
                }
                v5::Event::Outgoing(rumqttc::Outgoing::Disconnect) => Some(Heard::Left),
                v5::Event::Incoming(_) | v5::Event::Outgoing(_) => None,
            }),
        }
    }
}
