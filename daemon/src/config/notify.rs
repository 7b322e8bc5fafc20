//! The ways to reach a person, checked. Owns their defaults, and what each must have.

use super::fault::{Key, Wrong};
use super::raw::RawNotify;
use super::secret::Secret;
use crate::alarm::Priority;
use crate::host::Address;
use crate::notify::{Channel, Channels, Route, Way, WebhookPlan};
use std::collections::BTreeMap;

/// The channel that is there without being asked for.
const LOG: &str = "log";
/// What the one webhook of the short form is called.
const WEBHOOK: &str = "webhook";

pub(super) fn channels(key: &Key, raw: &RawNotify) -> Result<Channels, Wrong> {
    // A line in the log costs nobody anything, so every change of every alarm is one.
    let everything = Route { from: Priority::Low, returns: true, quiet: None };
    let mut channels = vec![Channel { name: LOG.to_owned(), route: everything.clone(), way: Way::Log }];
    if let Some(text) = raw.webhook.as_deref() {
        let key = key.name("webhook");
        Address::parse(text).map_err(|fault| Wrong::new(key, fault.to_string(), "an http or https address"))?;
        let plan = WebhookPlan {
            url: Secret::new(text.to_owned()),
            headers: BTreeMap::new(),
            key: None,
            template: None,
            authority: None,
        };
        channels.push(Channel { name: WEBHOOK.to_owned(), route: everything, way: Way::Webhook(plan) });
    }
    Ok(Channels { channels, heartbeats: Vec::new(), address: None })
}
