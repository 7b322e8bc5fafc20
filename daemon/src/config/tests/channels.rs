//! What is said of the ways to reach a person, and each mistake in it.

use super::*;
use crate::notify::{Channel, Channels, MailTls, MqttVersion, Route};

const ALL: &str = r#"
[report]
zone = "Europe/Berlin"
[notify]
address = "https://bench.example/watch/"
quiet = "22:00-07:00"
[[notify.webhook]]
name = "pager"
priority = "high"
returns = false
quiet = "none"
url = { env = "PAGER" }
headers = { X-Entry = "hush-header" }
key_name = "bench 1"
key = "hush-hush-hush-hush"
template = "{{ rule }} on {{ printer }}"
content_type = "text/plain; charset=utf-8"
[[notify.webhook]]
url = "http://127.0.0.1:9/hush?key=hush"
[[notify.mail]]
passes = "medium"
server = "mail.example"
user = "bench"
password = "hush-password"
from = "Bench <bench@workshop.example>"
to = ["ann@workshop.example", "ben@workshop.example"]
[[notify.mail]]
name = "here"
quiet = "12:00-13:30"
server = "::1"
tls = "none"
from = "bench@workshop.example"
to = "ann@workshop.example"
[[notify.mqtt]]
server = "broker.example"
version = "5"
user = "bench"
password = "hush-broker"
topic = "house/dwellwatch"
[[notify.mqtt]]
name = "old"
server = "192.0.2.7"
tls = false
[[notify.command]]
run = ["/bin/sh", "-c", "true"]
deadline_s = 5
[[notify.heartbeat]]
url = "https://beats.example/hush"
every_s = 60
[[notify.heartbeat]]
url = { env = "PAGER" }
"#;

fn pager(name: &str) -> Option<std::ffi::OsString> {
    (name == "PAGER").then(|| "https://pager.example/hush".into())
}

fn read(channels: &str) -> Result<Config, ConfigError> {
    read_with(channels, Secrets::LookedUp)
}

fn read_with(channels: &str, secrets: Secrets) -> Result<Config, ConfigError> {
    Config::parse_in(&format!("{channels}{SMALL}"), Path::new("/etc/dwellwatch/dwellwatch.toml"), &pager, secrets)
}

fn all() -> Channels {
    read(ALL).unwrap().channels().clone()
}

fn of<'c>(channels: &'c Channels, name: &str) -> &'c Channel {
    channels.channels.iter().find(|channel| channel.name == name).unwrap()
}

#[test]
fn every_way_arrives_as_it_is_said() {
    let channels = all();
    let names: Vec<_> = channels.channels.iter().map(|channel| channel.name.as_str()).collect();
    assert_eq!(names, ["log", "pager", "webhook", "mail", "here", "mqtt", "old", "command"]);
    assert_eq!(channels.address.as_deref(), Some("https://bench.example/watch"));
    let Way::Webhook(plan) = &of(&channels, "pager").way else { panic!("a webhook") };
    assert_eq!(plan.url.reveal(), "https://pager.example/hush");
    assert_eq!(plan.headers["X-Entry"].reveal(), "hush-header");
    assert_eq!(
        plan.key.as_ref().map(|(name, key)| (name.as_str(), key.reveal())),
        Some(("bench 1", "hush-hush-hush-hush"))
    );
    assert_eq!(plan.template.as_ref().map(|(_, kind)| kind.as_str()), Some("text/plain; charset=utf-8"));
    let Way::Mail(plan) = &of(&channels, "mail").way else { panic!("mail") };
    assert_eq!((plan.server.as_str(), plan.port, plan.tls), ("mail.example", 465, MailTls::Implicit));
    assert_eq!(
        plan.login.as_ref().map(|(user, password)| (user.as_str(), password.reveal())),
        Some(("bench", "hush-password"))
    );
    assert_eq!(plan.to, ["ann@workshop.example", "ben@workshop.example"]);
    let Way::Mail(plan) = &of(&channels, "here").way else { panic!("mail") };
    assert_eq!((plan.port, plan.tls, plan.to.len()), (25, MailTls::None, 1));
    let Way::Mqtt(plan) = &of(&channels, "mqtt").way else { panic!("a broker") };
    assert_eq!((plan.port, plan.is_tls, plan.version), (8883, true, MqttVersion::V5));
    assert_eq!(plan.topic, "house/dwellwatch");
    let Way::Mqtt(plan) = &of(&channels, "old").way else { panic!("a broker") };
    assert_eq!((plan.port, plan.version, plan.topic.as_str()), (1883, MqttVersion::V3, "dwellwatch"));
    let Way::Command(plan) = &of(&channels, "command").way else { panic!("a command") };
    assert_eq!(
        (plan.run.as_slice(), plan.deadline),
        (["/bin/sh", "-c", "true"].map(str::to_owned).as_slice(), Duration::from_secs(5))
    );
    let beats: Vec<_> = channels.heartbeats.iter().map(|beat| (beat.url.reveal(), beat.every.as_secs())).collect();
    assert_eq!(beats, [("https://beats.example/hush", 60), ("https://pager.example/hush", 300)]);
}

#[test]
fn quiet_hours_are_everyone_s_but_of_those_with_their_own_and_go_by_the_report_s_clock() {
    let channels = all();
    let quiet = |name: &str| {
        let Route { quiet, .. } = &of(&channels, name).route;
        quiet.as_ref().map(|quiet| (quiet.from, quiet.to, quiet.passes, quiet.zone.iana_name().map(str::to_owned)))
    };
    let berlin = || Some("Europe/Berlin".to_owned());
    assert_eq!(quiet("mail"), Some((time(22, 0, 0, 0), time(7, 0, 0, 0), Priority::Medium, berlin())));
    assert_eq!(quiet("here"), Some((time(12, 0, 0, 0), time(13, 30, 0, 0), Priority::High, berlin())));
    assert_eq!((quiet("pager"), quiet("log")), (None, None));
    let route = |name: &str| (of(&channels, name).route.from, of(&channels, name).route.returns);
    assert_eq!((route("pager"), route("mail")), ((Priority::High, false), (Priority::Low, true)));
}

#[test]
fn an_address_alone_is_a_webhook_that_carries_everything_at_any_hour() {
    let channels = read("[notify]\nquiet = \"22:00-07:00\"\nwebhook = \"http://127.0.0.1:9/\"\n").unwrap();
    let Route { from, returns, quiet } = &of(channels.channels(), "webhook").route;
    assert!(*from == Priority::Low && *returns && quiet.is_none());
}

#[test]
fn no_secret_of_a_channel_is_shown() {
    let shown = format!("{:?}", read(ALL).unwrap());
    assert!(!shown.contains("hush") && shown.contains("••••"), "{shown}");
}

#[test]
fn who_needs_no_secret_needs_none_to_be_there_and_is_told_of_every_other_mistake() {
    let printer = "[printer.headers]\nX-Entry = { env = \"NONE\", form = \"basic\" }\n";
    let away = ALL.replace("\"PAGER\"", "\"NONE\"").replace("\"hush-hush-hush-hush\"", "{ file = \"none.key\" }");
    let text = format!("{}{SMALL}{printer}", away.replace("\"hush-password\"", "{ env = \"NONE\" }"));
    let config = |text: &str, secrets| Config::parse_in(text, Path::new("/etc/dwellwatch/d.toml"), &pager, secrets);
    let Err(ConfigError::Wrong(faults)) = config(&text, Secrets::LookedUp) else { panic!("no secret was missed") };
    assert_eq!(faults.len(), 5, "{faults:?}");
    let read = config(&text, Secrets::NotNeeded).unwrap();
    assert_eq!(read.channels().channels.len(), all().channels.len());
    for (from, to, key) in [
        ("env = \"NONE\" }\nheaders", "env = \"NONE\", file = \"a\" }\nheaders", "notify.webhook[0].url"),
        ("form = \"basic\"", "form = \"base\"", "printer[0].headers.X-Entry.form"),
        ("house/dwellwatch", "house/#", "notify.mqtt[0].topic"),
    ] {
        let wrong = text.replacen(from, to, 1);
        let Err(ConfigError::Wrong(faults)) = config(&wrong, Secrets::NotNeeded) else { panic!("no fault for {to}") };
        assert_eq!(faults.iter().map(|fault| fault.key.as_str()).collect::<Vec<_>>(), [key]);
    }
}

/// A piece of `ALL`, what stands there instead, the key that the fault names, and a piece of what it says.
const MISTAKES: &[(&str, &str, &str, &str)] = &[
    ("address = \"https:", "adress = \"https:", "notify.adress", "unknown field `adress`"),
    ("https://bench.example/watch/", "bench.example", "notify.address", "is no address"),
    ("https://bench.example/watch/", "https://bench.example/?a=1", "notify.address", "has a query"),
    ("22:00-07:00", "22-7", "notify.quiet", "\"22:00-07:00\""),
    ("12:00-13:30", "12:00-12:00", "notify.mail[1].quiet", "two times of day"),
    ("name = \"here\"", "name = \"mail\"", "notify.mail[1].name", "found \"mail\" a second time"),
    ("name = \"here\"", "name = \"log\"", "notify.mail[1].name", "always there"),
    ("name = \"pager\"", "name = \"a/b\"", "notify.webhook[0].name", "1 to 64 letters"),
    ("priority = \"high\"", "priority = \"urgent\"", "notify.webhook[0].priority", "\"low\", \"medium\", \"high\""),
    ("passes = \"medium\"", "passes = \"all\"", "notify.mail[0].passes", "\"low\", \"medium\", \"high\""),
    ("priority = \"high\"", "passes = \"low\"", "notify.webhook[0].passes", "no hours are quiet"),
    ("{ env = \"PAGER\" }\nheaders", "{ env = \"NONE\" }\nheaders", "notify.webhook[0].url.env", "NONE is not set"),
    ("X-Entry", "Signature", "notify.webhook[0].headers.Signature", "another header"),
    ("X-Entry", "signature-more", "notify.webhook[0].headers.signature-more", "another header"),
    ("X-Entry", "Content-Length", "notify.webhook[0].headers.Content-Length", "another header"),
    ("X-Entry", "HOST", "notify.webhook[0].headers.HOST", "another header"),
    ("key_name = \"bench 1\"", "", "notify.webhook[0].key", "without a key_name"),
    ("{{ rule }} on {{ printer }}", " ", "notify.webhook[0].template", "empty"),
    ("content_type = \"text/plain; charset=utf-8\"", "", "notify.webhook[0].template", "is no JSON"),
    ("\"hush-hush-hush-hush\"", "\"hush\"", "notify.webhook[0].key", "a key of 4 bytes"),
    ("key = \"hush-hush-hush-hush\"", "", "notify.webhook[0].key_name", "without a key"),
    ("{{ rule }}", "{{ rul }}", "notify.webhook[0].template", "undefined"),
    ("template = ", "template_file = ", "notify.webhook[0].template_file", "No such file"),
    ("\"text/plain; charset=utf-8\"", "\"text\"", "notify.webhook[0].content_type", "a media type"),
    ("server = \"mail.example\"", "server = \"mail.example:465\"", "notify.mail[0].server", "the port under port"),
    ("server = \"::1\"", "server = \"192.0.2.8\"", "notify.mail[1].tls", "not on this machine"),
    ("password = \"hush-password\"", "", "notify.mail[0].user", "without a password"),
    ("Bench <bench@workshop.example>", "Bench", "notify.mail[0].from", "an address such as"),
    ("\"ben@workshop.example\"", "\"ben\"", "notify.mail[0].to[1]", "found \"ben\""),
    ("version = \"5\"", "version = \"4\"", "notify.mqtt[0].version", "\"3.1.1\", \"5\""),
    ("house/dwellwatch", "house/#", "notify.mqtt[0].topic", "without + and #"),
    ("\"/bin/sh\"", "\"none.sh\"", "notify.command[0].run[0]", "/etc/dwellwatch/none.sh"),
    ("[\"/bin/sh\", \"-c\", \"true\"]", "[]", "notify.command[0].run", "found none"),
    ("\"/bin/sh\"", "\"/etc/passwd\"", "notify.command[0].run[0]", "no program"),
    ("deadline_s = 5", "deadline_s = 0", "notify.command[0].deadline_s", "1 to 600 s"),
    ("every_s = 60", "every_s = 1", "notify.heartbeat[0].every_s", "10 to 86400 s"),
];

#[test]
fn each_mistake_names_its_key_what_was_found_and_what_would_be_right() {
    for (from, to, key, says) in MISTAKES {
        let text = ALL.replacen(from, to, 1);
        assert_ne!(text, ALL, "{from}");
        let Err(ConfigError::Wrong(faults)) = read(&text) else { panic!("no fault for {to}") };
        let [fault] = faults.as_slice() else { panic!("{faults:?} for {to}") };
        assert_eq!(fault.key, *key, "{fault}");
        assert!(fault.to_string().contains(says) && !fault.to_string().contains("hush"), "{fault} should say {says}");
    }
}
