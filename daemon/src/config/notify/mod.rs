//! The ways to reach a person, checked. Owns their names and routes, and what they have in common; what each way needs
//! is `way`'s.

mod way;

use super::checked::time_of_day;
use super::fault::{Key, Wrong, Wrongs, one_of, within};
use super::raw::{OneOrMany, RawHeartbeat, RawHook, RawNotify, RawSecret};
use super::secret::{Secret, Surroundings};
use crate::alarm::Priority;
use crate::host::Address;
use crate::notify::{Channel, Channels, Heartbeat, Quiet, Route, Way, WebhookPlan};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::time::Duration;

/// The channel that is there without being asked for.
const LOG: &str = "log";
const PRIORITIES: [(&str, Priority); 3] =
    [("low", Priority::Low), ("medium", Priority::Medium), ("high", Priority::High)];
/// A heartbeat every few seconds would be a poll, and one a day tells of a death too late.
const EVERY_S: RangeInclusive<f64> = 10.0..=86_400.0;
const EVERY_S_DEFAULT: f64 = 300.0;
/// What a channel without quiet hours of its own says where all others have some.
const NO_QUIET: &str = "none";

/// What every kind of channel may say.
struct RawRoute<'r> {
    name: Option<&'r str>,
    priority: Option<&'r str>,
    returns: Option<bool>,
    quiet: Option<&'r str>,
    passes: Option<&'r str>,
}

/// The route of a channel's raw form: every kind has these five.
macro_rules! route_of {
    ($raw:expr) => {
        RawRoute {
            name: $raw.name.as_deref(),
            priority: $raw.priority.as_deref(),
            returns: $raw.returns,
            quiet: $raw.quiet.as_deref(),
            passes: $raw.passes.as_deref(),
        }
    };
}

/// Where channels are read: the surroundings, whose clock quiet hours go by, and when it is quiet for all.
struct Reading<'r> {
    around: &'r Surroundings<'r>,
    zone: &'r TimeZone,
    quiet: Option<&'r str>,
    /// Hours for all were told, and could not be read.
    is_quiet_wrong: bool,
}

pub(super) fn channels(
    key: &Key,
    raw: &RawNotify,
    around: &Surroundings<'_>,
    zone: &TimeZone,
) -> Result<Channels, Wrongs> {
    let mut wrongs = Wrongs::default();
    let address = wrongs.keep(raw.address.as_deref().map(|text| base(&key.name("address"), text)).transpose());
    // Said once for all of them, what is wrong with it is also told once.
    let quiet_all = raw.quiet.as_deref().map(|text| hours(&key.name("quiet"), text).map(|_| text));
    let quiet_all = wrongs.keep(quiet_all.transpose());
    let reading = Reading { around, zone, quiet: quiet_all.flatten(), is_quiet_wrong: quiet_all.is_none() };
    let mut found = Vec::new();
    let webhooks = match &raw.webhook {
        None => Vec::new(),
        Some(OneOrMany::One(hook)) => vec![(key.name("webhook"), hook)],
        Some(OneOrMany::Many(hooks)) => numbered(&key.name("webhook"), hooks),
    };
    for (key, hook) in webhooks {
        found.push((key.clone(), reading.hook(&key, hook)));
    }
    for (key, raw) in numbered(&key.name("mail"), &raw.mail) {
        let way = way::mail(&key, raw, around).map(Way::Mail);
        found.push((key.clone(), reading.channel(&key, "mail", &route_of!(raw), way)));
    }
    for (key, raw) in numbered(&key.name("mqtt"), &raw.mqtt) {
        let way = way::mqtt(&key, raw, around).map(Way::Mqtt);
        found.push((key.clone(), reading.channel(&key, "mqtt", &route_of!(raw), way)));
    }
    for (key, raw) in numbered(&key.name("command"), &raw.command) {
        let way = way::command(&key, raw, around).map(Way::Command);
        found.push((key.clone(), reading.channel(&key, "command", &route_of!(raw), way)));
    }
    let channels = wrongs.keep(together(found));
    let beats = numbered(&key.name("heartbeat"), &raw.heartbeat);
    let heartbeats = wrongs.keep(Wrongs::each(beats.into_iter().map(|(key, raw)| heartbeat(&key, raw, around))));
    match (address.zip(quiet_all), channels, heartbeats) {
        (Some((address, _)), Some(channels), Some(heartbeats)) => Ok(Channels { channels, heartbeats, address }),
        _ => Err(wrongs),
    }
}

impl Reading<'_> {
    fn hook(&self, key: &Key, raw: &RawHook) -> Result<Channel, Wrongs> {
        match raw {
            RawHook::Whole(raw) => {
                let way = way::webhook(key, raw, self.around).map(Way::Webhook);
                self.channel(key, "webhook", &route_of!(raw), way)
            }
            // The short form says nothing of when: every change of every alarm goes that way, at any hour.
            RawHook::Address(text) => {
                let url = address(key, text.clone())?;
                let plan = WebhookPlan { url, headers: BTreeMap::new(), key: None, template: None, authority: None };
                let route = Route { from: Priority::Low, returns: true, quiet: None };
                Ok(Channel { name: "webhook".to_owned(), route, way: Way::Webhook(plan) })
            }
        }
    }

    fn channel(&self, key: &Key, kind: &str, raw: &RawRoute<'_>, way: Result<Way, Wrongs>) -> Result<Channel, Wrongs> {
        let mut wrongs = Wrongs::default();
        let way = wrongs.keep(way);
        let name = wrongs.keep(name(&key.name("name"), raw.name.unwrap_or(kind)));
        let route = wrongs.keep(self.route(key, raw));
        match (name, route, way) {
            (Some(name), Some(route), Some(way)) => Ok(Channel { name, route, way }),
            _ => Err(wrongs),
        }
    }

    fn route(&self, key: &Key, raw: &RawRoute<'_>) -> Result<Route, Wrong> {
        let priority = |name: &str, word: Option<&str>, otherwise| {
            word.map_or(Ok(otherwise), |word| one_of(&key.name(name), word, &PRIORITIES))
        };
        let passes = priority("passes", raw.passes, Priority::High)?;
        let quiet = match raw.quiet.or(self.quiet) {
            None | Some(NO_QUIET) if raw.passes.is_some() && !self.is_quiet_wrong => {
                let should = "quiet = \"22:00-07:00\" beside it or under notify, or no passes";
                return Err(Wrong::new(key.name("passes"), "found it where no hours are quiet", should));
            }
            None | Some(NO_QUIET) => None,
            Some(text) => {
                let (from, to) = hours(&key.name("quiet"), text)?;
                Some(Quiet { from, to, zone: self.zone.clone(), passes })
            }
        };
        Ok(Route {
            from: priority("priority", raw.priority, Priority::Low)?,
            returns: raw.returns.unwrap_or(true),
            quiet,
        })
    }
}

/// Each entry of a list with its key.
fn numbered<'r, T>(key: &Key, list: &'r [T]) -> Vec<(Key, &'r T)> {
    list.iter().enumerate().map(|(idx, one)| (key.nth(idx), one)).collect()
}

/// All of them after the log; no two of one name, since the record knows them by it.
fn together(found: Vec<(Key, Result<Channel, Wrongs>)>) -> Result<Vec<Channel>, Wrongs> {
    // A line in the log costs nobody anything, so every change of every alarm is one.
    let everything = Route { from: Priority::Low, returns: true, quiet: None };
    let mut channels = vec![Channel { name: LOG.to_owned(), route: everything, way: Way::Log }];
    let mut wrongs = Wrongs::default();
    for (key, found) in found {
        let Some(channel) = wrongs.keep(found) else { continue };
        if channels.iter().any(|other| other.name == channel.name) {
            let found = format!("found {:?} a second time", channel.name);
            let found: Result<(), Wrong> = Err(Wrong::new(key.name("name"), found, "another name for each channel"));
            wrongs.keep(found);
        } else {
            channels.push(channel);
        }
    }
    wrongs.none().map(|()| channels)
}

/// The record knows a channel by its name, and so do logs and commands.
fn name(key: &Key, text: &str) -> Result<String, Wrong> {
    let is_plain = |letter: char| letter.is_alphanumeric() || matches!(letter, '-' | '_' | '.' | ' ');
    if text == LOG {
        return Err(Wrong::new(key.clone(), "found \"log\", which is always there", "another name"));
    }
    if text.trim().is_empty() || text.chars().count() > 64 || !text.chars().all(is_plain) {
        let right = "1 to 64 letters, digits, blanks, hyphens, dots or underscores";
        return Err(Wrong::new(key.clone(), format!("found {text:?}"), right));
    }
    Ok(text.to_owned())
}

/// `22:00-07:00`.
fn hours(key: &Key, text: &str) -> Result<(jiff::civil::Time, jiff::civil::Time), Wrong> {
    let parts = text.split_once('-').and_then(|(from, to)| Some((time_of_day(from.trim())?, time_of_day(to.trim())?)));
    parts.filter(|(from, to)| from != to).ok_or_else(|| {
        let right = format!("two times of day such as \"22:00-07:00\", or {NO_QUIET:?} on a channel");
        Wrong::new(key.clone(), format!("found {text:?}"), right)
    })
}

/// An address that may hold a key; no fault repeats it.
fn address(key: &Key, text: String) -> Result<Secret, Wrong> {
    Address::parse(&text).map_err(|fault| Wrong::new(key.clone(), fault.to_string(), "an http or https address"))?;
    Ok(Secret::new(text))
}

fn secret_address(key: &Key, raw: &RawSecret, around: &Surroundings<'_>) -> Result<Secret, Wrong> {
    address(key, around.secret(key, raw)?)
}

/// Where links in messages lead.
fn base(key: &Key, text: &str) -> Result<String, Wrong> {
    let right = "where links in messages lead, such as \"https://bench.example\"";
    let wrong = |found: String| Wrong::new(key.clone(), found, right);
    Address::parse(text).map_err(|fault| wrong(fault.to_string()))?;
    if text.contains(['?', '#']) {
        return Err(wrong(format!("found {text:?}, which has a query or a fragment")));
    }
    Ok(text.trim_end_matches('/').to_owned())
}

fn heartbeat(key: &Key, raw: &RawHeartbeat, around: &Surroundings<'_>) -> Result<Heartbeat, Wrong> {
    let every = within(&key.name("every_s"), raw.every_s.unwrap_or(EVERY_S_DEFAULT), EVERY_S, "s")?;
    Ok(Heartbeat { url: secret_address(&key.name("url"), &raw.url, around)?, every: Duration::from_secs_f64(every) })
}
