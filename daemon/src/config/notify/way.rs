//! What each way to a person needs, checked: addresses, logins, templates, programs.

use super::secret_address;
use crate::config::fault::{Key, Wrong, Wrongs, one_of, within};
use crate::config::printer::authority;
use crate::config::raw::{OneOrMany, RawCommand, RawMail, RawMqtt, RawSecret, RawWebhook};
use crate::config::secret::{Secret, Surroundings};
use crate::host::{Authority, Headers};
use crate::notify::{CommandPlan, MailPlan, MailTls, MqttPlan, MqttVersion, Template, WebhookPlan, is_mail_address};
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::ops::RangeInclusive;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::time::Duration;

const TLS: [(&str, MailTls); 3] =
    [("implicit", MailTls::Implicit), ("starttls", MailTls::StartTls), ("none", MailTls::None)];
const VERSIONS: [(&str, MqttVersion); 2] = [("3.1.1", MqttVersion::V3), ("5", MqttVersion::V5)];
/// Long enough for a program that rings somebody up, short enough not to hold up the next alarm for ever.
const DEADLINE_S: RangeInclusive<f64> = 1.0..=600.0;
const DEADLINE_S_DEFAULT: f64 = 30.0;
/// What a key of HMAC-SHA-256 should have at least, bytes: as many as the hash (RFC 2104, section 3), or half in text.
const KEY_BYTES_MIN: usize = 16;
/// Headers that a message brings itself, and those that are the connection's (RFC 9110, RFC 9112).
const OWN_HEADERS: [&str; 9] = [
    "content-type",
    "content-digest",
    "idempotency-key",
    "content-length",
    "transfer-encoding",
    "connection",
    "host",
    "expect",
    "upgrade",
];
/// What names the signature's (RFC 9421) begin with.
const SIGNATURE: &str = "signature";

pub(super) fn webhook(key: &Key, raw: &RawWebhook, around: &Surroundings<'_>) -> Result<WebhookPlan, Wrongs> {
    let mut wrongs = Wrongs::default();
    let url = wrongs.keep(secret_address(&key.name("url"), &raw.url, around));
    let headers = wrongs.keep(headers(&key.name("headers"), &raw.headers, around));
    let signing = wrongs.keep(signing(key, raw, around));
    let template = wrongs.keep(template(key, raw, around));
    let authority = wrongs.keep(own_authority(key, raw.authority_file.as_deref(), around));
    match (url, headers, signing, template, authority) {
        (Some(url), Some(headers), Some(key), Some(template), Some(authority)) => {
            Ok(WebhookPlan { url, headers, key, template, authority })
        }
        _ => Err(wrongs),
    }
}

fn headers(
    key: &Key,
    raw: &BTreeMap<String, RawSecret>,
    around: &Surroundings<'_>,
) -> Result<BTreeMap<String, Secret>, Wrongs> {
    let header = |(name, raw): (&String, &RawSecret)| {
        let key = key.name(name);
        let lower = name.to_lowercase();
        if OWN_HEADERS.contains(&lower.as_str()) || lower.starts_with(SIGNATURE) {
            return Err(Wrong::new(key, format!("found {name:?}, which each message has by itself"), "another header"));
        }
        let value = around.secret(&key, raw)?;
        Headers::new(&BTreeMap::from([(name.clone(), value.clone())]))
            .map_err(|fault| Wrong::new(key, fault.to_string(), "a header as HTTP allows it"))?;
        Ok((name.clone(), Secret::new(value)))
    };
    Wrongs::each(raw.iter().map(header)).map(|pairs| pairs.into_iter().collect())
}

/// The name and the key that a webhook is signed with.
fn signing(key: &Key, raw: &RawWebhook, around: &Surroundings<'_>) -> Result<Option<(String, Secret)>, Wrong> {
    let Some(secret) = &raw.key else {
        let named =
            raw.key_name.as_ref().map(|_| Wrong::new(key.name("key_name"), "found it without a key", "a key too"));
        return named.map_or(Ok(None), Err);
    };
    let Some(name) = raw.key_name.as_deref() else {
        return Err(Wrong::new(
            key.name("key"),
            "found it without a key_name",
            "key_name too, by which the receiver knows it",
        ));
    };
    if name.is_empty() || !name.chars().all(|letter| letter.is_ascii_graphic() || letter == ' ') {
        return Err(Wrong::new(key.name("key_name"), format!("found {name:?}"), "a name in plain letters"));
    }
    let secret = around.secret(&key.name("key"), secret)?;
    if secret.len() < KEY_BYTES_MIN {
        let found = format!("found a key of {} bytes", secret.len());
        return Err(Wrong::new(key.name("key"), found, format!("at least {KEY_BYTES_MIN}, made at random")));
    }
    Ok(Some((name.to_owned(), Secret::new(secret))))
}

/// The body's own shape, and its content type.
fn template(key: &Key, raw: &RawWebhook, around: &Surroundings<'_>) -> Result<Option<(Template, String)>, Wrong> {
    let (key_text, text) = match (&raw.template, &raw.template_file) {
        (None, None) => {
            let typed = raw.content_type.as_ref();
            let wrong = |_| Wrong::new(key.name("content_type"), "found it without a template", "a template too");
            return typed.map(wrong).map_or(Ok(None), Err);
        }
        (Some(_), Some(_)) => {
            return Err(Wrong::new(key.clone(), "found both template and template_file", "one of the two"));
        }
        (Some(text), None) => (key.name("template"), text.clone()),
        (None, Some(name)) => {
            let key = key.name("template_file");
            let text = String::from_utf8(around.file(&key, name)?);
            (key.clone(), text.map_err(|_| Wrong::new(key, format!("{name} is not UTF-8"), "a text file"))?)
        }
    };
    let right = "a template as README shows it";
    let content_type = raw.content_type.as_deref().unwrap_or("application/json");
    if !content_type.contains('/') || !content_type.chars().all(|letter| letter.is_ascii_graphic() || letter == ' ') {
        let key = key.name("content_type");
        return Err(Wrong::new(key, format!("found {content_type:?}"), "a media type such as \"text/plain\""));
    }
    let template = Template::new(text, content_type).map_err(|found| Wrong::new(key_text, found, right))?;
    Ok(Some((template, content_type.to_owned())))
}

pub(super) fn mail(key: &Key, raw: &RawMail, around: &Surroundings<'_>) -> Result<MailPlan, Wrongs> {
    let mut wrongs = Wrongs::default();
    let tls = raw.tls.as_deref().map_or(Ok(MailTls::Implicit), |word| one_of(&key.name("tls"), word, &TLS));
    let tls = wrongs.keep(tls.and_then(|tls| match tls {
        MailTls::None if !is_here(&raw.server) => {
            let found = format!("found \"none\" for {:?}, which is not on this machine", raw.server);
            Err(Wrong::new(key.name("tls"), found, "\"implicit\" or \"starttls\""))
        }
        MailTls::None | MailTls::Implicit | MailTls::StartTls => Ok(tls),
    }));
    let server = wrongs.keep(server(&key.name("server"), &raw.server));
    let login = wrongs.keep(login(key, raw.user.as_deref(), raw.password.as_ref(), around));
    let from = wrongs.keep(mail_address(&key.name("from"), &raw.from));
    let to_key = key.name("to");
    let to = wrongs.keep(match &raw.to {
        OneOrMany::One(to) => mail_address(&to_key, to).map(|to| vec![to]).map_err(Wrongs::from),
        OneOrMany::Many(to) if to.is_empty() => Err(Wrong::new(to_key, "found none", "at least one address").into()),
        OneOrMany::Many(to) => Wrongs::each(to.iter().enumerate().map(|(idx, to)| mail_address(&to_key.nth(idx), to))),
    });
    let authority = wrongs.keep(own_authority(key, raw.authority_file.as_deref(), around));
    match (tls, server, login, from.zip(to), authority) {
        (Some(tls), Some(server), Some(login), Some((from, to)), Some(authority)) => {
            // RFC 8314 and RFC 6409; without TLS it is a server on this machine.
            let usual = match tls {
                MailTls::Implicit => 465,
                MailTls::StartTls => 587,
                MailTls::None => 25,
            };
            Ok(MailPlan { server, port: raw.port.unwrap_or(usual), tls, login, from, to, authority })
        }
        _ => Err(wrongs),
    }
}

fn mail_address(key: &Key, text: &str) -> Result<String, Wrong> {
    if is_mail_address(text) {
        return Ok(text.to_owned());
    }
    let right = "an address such as \"bench@workshop.example\" or \"Bench <bench@workshop.example>\"";
    Err(Wrong::new(key.clone(), format!("found {text:?}"), right))
}

pub(super) fn mqtt(key: &Key, raw: &RawMqtt, around: &Surroundings<'_>) -> Result<MqttPlan, Wrongs> {
    let mut wrongs = Wrongs::default();
    let server = wrongs.keep(server(&key.name("server"), &raw.server));
    let version = raw.version.as_deref().unwrap_or("3.1.1");
    let version = wrongs.keep(one_of(&key.name("version"), version, &VERSIONS));
    let login = wrongs.keep(login(key, raw.user.as_deref(), raw.password.as_ref(), around));
    let topic = wrongs.keep(topic(&key.name("topic"), raw.topic.as_deref().unwrap_or("dwellwatch")));
    let authority = wrongs.keep(own_authority(key, raw.authority_file.as_deref(), around));
    match (server, version, login, topic, authority) {
        (Some(server), Some(version), Some(login), Some(topic), Some(authority)) => {
            let is_tls = raw.tls.unwrap_or(true);
            let port = raw.port.unwrap_or(if is_tls { 8883 } else { 1883 });
            Ok(MqttPlan { server, port, is_tls, version, login, topic, authority })
        }
        _ => Err(wrongs),
    }
}

/// The first part of every topic, which is published to: no wildcards, and none of the broker's own.
fn topic(key: &Key, text: &str) -> Result<String, Wrong> {
    let is_wrong = text.is_empty()
        || text.starts_with(['/', '$'])
        || text.ends_with('/')
        || text.contains(['+', '#'])
        || text.contains(char::is_control);
    if is_wrong {
        let right = "a topic such as \"dwellwatch\" or \"house/dwellwatch\", without + and #";
        return Err(Wrong::new(key.clone(), format!("found {text:?}"), right));
    }
    Ok(text.to_owned())
}

pub(super) fn command(key: &Key, raw: &RawCommand, around: &Surroundings<'_>) -> Result<CommandPlan, Wrongs> {
    let deadline_s = raw.deadline_s.unwrap_or(DEADLINE_S_DEFAULT);
    let mut wrongs = Wrongs::default();
    let deadline = wrongs.keep(within(&key.name("deadline_s"), deadline_s, DEADLINE_S, "s"));
    let run = wrongs.keep(run(&key.name("run"), &raw.run, around.folder));
    match (deadline, run) {
        (Some(deadline), Some(run)) => Ok(CommandPlan { run, deadline: Duration::from_secs_f64(deadline) }),
        _ => Err(wrongs),
    }
}

/// The program, which has to be there when dwellwatch starts, and its arguments.
fn run(key: &Key, raw: &[String], folder: &Path) -> Result<Vec<String>, Wrong> {
    let right = "a program's path and its arguments, such as [\"/usr/local/bin/ring\", \"--loud\"]";
    let Some((program, arguments)) = raw.split_first() else {
        return Err(Wrong::new(key.clone(), "found none", right));
    };
    let path = folder.join(program);
    let wrong = |found: String| Wrong::new(key.nth(0), found, right);
    let about = path.metadata().map_err(|error| wrong(format!("{}: {error}", path.display())))?;
    if !about.is_file() || about.permissions().mode() & 0o111 == 0 {
        return Err(wrong(format!("{} is no program that can be run", path.display())));
    }
    let path = path.to_str().ok_or_else(|| wrong(format!("{} is not UTF-8", path.display())))?;
    Ok([path.to_owned()].into_iter().chain(arguments.iter().cloned()).collect())
}

/// A server's name or IP address, without a port or a protocol.
fn server(key: &Key, text: &str) -> Result<String, Wrong> {
    let is_name = |text: &str| {
        !text.is_empty() && text.chars().all(|letter| letter.is_alphanumeric() || matches!(letter, '.' | '-' | '_'))
    };
    if is_name(text) || text.parse::<IpAddr>().is_ok() {
        return Ok(text.to_owned());
    }
    Err(Wrong::new(key.clone(), format!("found {text:?}"), "a host name such as \"mail.example\", the port under port"))
}

/// Whether a server is on this machine.
fn is_here(server: &str) -> bool {
    server == "localhost" || server.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

fn login(
    key: &Key,
    user: Option<&str>,
    password: Option<&RawSecret>,
    around: &Surroundings<'_>,
) -> Result<Option<(String, Secret)>, Wrong> {
    match (user, password) {
        (None, None) => Ok(None),
        (Some(user), Some(raw)) => Ok(Some((user.to_owned(), Secret::new(around.secret(&key.name("password"), raw)?)))),
        (Some(_), None) => Err(Wrong::new(key.name("user"), "found it without a password", "a password too")),
        (None, Some(_)) => Err(Wrong::new(key.name("password"), "found it without a user", "a user too")),
    }
}

fn own_authority(key: &Key, name: Option<&str>, around: &Surroundings<'_>) -> Result<Option<Authority>, Wrong> {
    name.map(|name| authority(&key.name("authority_file"), name, around)).transpose()
}
