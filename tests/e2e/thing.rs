//! What a search finds on a device that describes itself as a W3C Thing: one of another make, and our own behind keys.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_tests::daemon::Daemon;
use dwell_tests::device::{Device, Entry, are_left_out};
use dwell_tests::keyed::{KEY, KeyPlace, KeyedDevice};
use dwellwatch::entry::{CentiCelsius, JobState};
use dwellwatch::host::discover::{Found, Hint, HintForm, SecretPlace, search};
use dwellwatch::host::{Address, Client, Credentials, DEADLINE, Headers, Query, TemperatureUnit};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");

/// The rehearsed printer's seed, printed by every check that can fail.
const SEED: u64 = 31;

/// Simulated seconds a second: a turn of a nozzle takes a few.
const RATE: f64 = 20.0;

/// Slow enough for a watch of seconds to see heaters follow their set points.
const WATCHED_RATE: f64 = 4.0;

/// For values that go on by themselves to be told.
const PATIENCE: Duration = Duration::from_secs(20);

fn client() -> Client {
    Client::new(DEADLINE).unwrap()
}

async fn found(thing: &str, credentials: &Credentials) -> Found {
    search(&client(), &[Address::parse(thing).unwrap()], credentials).await
}

fn shows(name: &str, value: &str) -> Credentials {
    let headers = BTreeMap::from([(name.to_owned(), value.to_owned())]);
    Credentials { headers: Headers::new(&headers).unwrap(), query: Query::default() }
}

/// Every member of the documents by its name, wherever it stands.
async fn values(found: &Found, credentials: &Credentials) -> Value {
    let mut values = json!({});
    for document in &found.documents {
        match client().get(&document.address, credentials).await.unwrap() {
            Value::Object(members) => values.as_object_mut().unwrap().extend(members),
            value => values[&document.name] = value,
        }
    }
    values
}

/// The hint of a property, which is a member of one document or a document of its own.
fn hint<'f>(found: &'f Found, property: &str) -> &'f Hint {
    let pointer = format!("/{property}");
    let member = found.documents.iter().flat_map(|document| &document.hints).find(|hint| hint.pointer == pointer);
    let own = || {
        let own = found.documents.iter().find(|document| document.name == property.to_lowercase())?;
        own.hints.iter().find(|hint| hint.pointer.is_empty())
    };
    member.or_else(own).unwrap_or_else(|| unreachable!("no hint of {property}: {found:?}"))
}

/// What the description says of the values has to have come through.
fn holds_all_hints(found: &Found) {
    for name in ["nozzle0", "nozzle1", "target0", "target1", "bed", "bedTarget"] {
        let hint = hint(found, name);
        assert_eq!(hint.form, Some(HintForm::Temperature(TemperatureUnit::Celsius)), "{hint:?}");
        assert!(hint.words.iter().any(|words| words.contains("temperature of the")), "{hint:?}");
    }
    assert_eq!(hint(found, "progress").form, Some(HintForm::Percent));
    let words = ["idle", "heating", "printing", "paused", "complete", "cancelled", "failed"];
    assert_eq!(hint(found, "state").values, words);
}

/// What comes is what the device has told, and goes on.
async fn follows(found: &Found, credentials: &Credentials, has_told: impl Fn(&str, &Value) -> bool) {
    let of = |values: &Value, name: &str| values.get(name).or_else(|| values.get(name.to_lowercase())).cloned();
    let first = values(found, credentials).await;
    let until = Instant::now() + PATIENCE;
    loop {
        let now = values(found, credentials).await;
        for name in ["nozzle0", "nozzle1", "target0", "activeTool", "state", "progress"] {
            let value = of(&now, name).unwrap_or_else(|| unreachable!("no {name} in {now}"));
            assert!(!value.is_null() && has_told(name, &value), "seed {SEED}: {name} is {value}, which was never told");
        }
        if ["nozzle0", "nozzle1", "progress"].iter().all(|name| now[name] != first[name]) {
            return;
        }
        assert!(Instant::now() < until, "seed {SEED}: nothing moves: {first} {now}");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

#[tokio::test]
async fn a_device_of_another_make_is_found_in_one_document_with_its_units_and_words() {
    if are_left_out() {
        return;
    }
    let device = Device::start(Entry::Open, SEED, RATE);
    let open = Credentials::default();
    let found = found(&device.thing(), &open).await;
    assert_eq!(found.documents.len(), 1, "{found:?}");
    assert_eq!((found.secrets.len(), &found.remarks), (0, &Vec::new()), "{found:?}");
    assert!(found.documents[0].origin.contains("Thing Description"), "{found:?}");
    holds_all_hints(&found);
    follows(&found, &open, |name, value| device.has_told(name, value)).await;
}

#[tokio::test]
async fn a_device_of_another_make_behind_a_password_says_so_and_opens_to_it() {
    if are_left_out() {
        return;
    }
    let device = Device::start(Entry::Password { user: "bench", password: KEY }, SEED, RATE);
    let shut = found(&device.thing(), &Credentials::default()).await;
    assert!(shut.documents.is_empty(), "{shut:?}");
    assert_eq!(shut.secrets.iter().map(|secret| &secret.place).collect::<Vec<_>>(), [&SecretPlace::Basic]);
    assert!(shut.remarks.iter().any(|line| line.contains("(401)") && line.contains("password")), "{shut:?}");
    // bench:sesame in base 64, as RFC 7617 has it.
    let shown = shows("Authorization", "Basic YmVuY2g6c2VzYW1l");
    let open = found(&device.thing(), &shown).await;
    assert_eq!(open.documents.len(), 1, "{open:?}");
    holds_all_hints(&open);
    follows(&open, &shown, |name, value| device.has_told(name, value)).await;
}

#[tokio::test]
async fn a_device_behind_a_key_says_where_it_goes_and_opens_to_it() {
    let query = Query::new(vec![("entry".to_owned(), KEY.to_owned())]);
    let cases = [
        (KeyPlace::Bearer, SecretPlace::Bearer { header: "Authorization".to_owned() }, 1),
        (KeyPlace::Header, SecretPlace::Header("X-Entry".to_owned()), 1),
        (KeyPlace::Query, SecretPlace::Query("entry".to_owned()), 10),
    ];
    for (place, secret, documents) in cases {
        let device = KeyedDevice::start(place, SEED, RATE);
        let shown = match place {
            KeyPlace::Bearer => shows("Authorization", &format!("Bearer {KEY}")),
            KeyPlace::Header => shows("X-Entry", KEY),
            KeyPlace::Query => Credentials { headers: Headers::default(), query: query.clone() },
        };
        let shut = found(&device.thing(), &Credentials::default()).await;
        assert!(shut.documents.is_empty(), "{place:?}: {shut:?}");
        assert_eq!(shut.secrets.iter().map(|secret| &secret.place).collect::<Vec<_>>(), [&secret]);
        let open = found(&device.thing(), &shown).await;
        assert_eq!(open.documents.len(), documents, "{place:?}: {open:?}");
        holds_all_hints(&open);
        follows(&open, &shown, |name, value| device.has_told(name, value)).await;
        assert!(device.asked().iter().all(|line| line.starts_with("GET /")), "{:?}", device.asked());
    }
}

/// `discover`, `check` and `run`, one after the other on what the one before gave; `key` is a file that holds the key.
/// Gives the section and the readings of a few seconds.
fn discovered_and_watched(thing: &str, options: &[&str], folder: &Path) -> (String, Vec<dwellwatch::entry::Reading>) {
    let discover = Command::new(PROGRAM)
        .args(["discover", thing, "--watch", "10", "--name", "bench"])
        .args(options)
        .current_dir(folder)
        .output()
        .unwrap();
    let (section, said) = (text(&discover.stdout), text(&discover.stderr));
    assert!(discover.status.success(), "{said}");
    fs::write(folder.join("bench.toml"), &section).unwrap();
    let check = Command::new(PROGRAM).args(["check", "--config", "bench.toml"]).current_dir(folder).output().unwrap();
    assert!(check.status.success(), "{section}\n{}{}", text(&check.stdout), text(&check.stderr));
    assert!(!text(&check.stdout).contains(KEY) && !said.contains(KEY) && !section.contains(KEY));
    let mut daemon = Daemon::start(PROGRAM, folder, &section);
    std::thread::sleep(Duration::from_secs(6));
    assert!(daemon.stop().success(), "{}", daemon.log());
    assert!(!daemon.log().contains(KEY));
    (section, daemon.readings("bench"))
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// What was recorded is what the device has told: its own numbers under its own names.
fn recorded_as_told(section: &str, readings: &[dwellwatch::entry::Reading], has_told: impl Fn(&str, &Value) -> bool) {
    assert!(readings.len() > 3, "{section}");
    for reading in readings {
        let heat =
            |degrees: Option<CentiCelsius>| json!(degrees.unwrap_or_else(|| unreachable!("{section}")).celsius().get());
        let [t0, t1] = reading.tools.as_slice() else { unreachable!("two tools: {section}") };
        let bed = reading.bed.unwrap_or_else(|| unreachable!("a bed: {section}"));
        for (name, value) in [
            ("nozzle0", heat(t0.actual)),
            ("target0", heat(t0.target)),
            ("nozzle1", heat(t1.actual)),
            ("target1", heat(t1.target)),
            ("bed", heat(bed.actual)),
            ("bedTarget", heat(bed.target)),
            ("activeTool", json!(reading.active_tool)),
        ] {
            assert!(value.is_null() || has_told(name, &value), "seed {SEED}: {name} {value} was never told\n{section}");
        }
        assert!(matches!(reading.job.state, JobState::Heating | JobState::Printing), "{:?}", reading.job.state);
        assert!(reading.job.fraction_millionths.is_some(), "{section}");
    }
}

#[test]
fn a_device_of_another_make_is_discovered_checked_and_watched() {
    if are_left_out() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let device = Device::start(Entry::Open, SEED, WATCHED_RATE);
    let (section, readings) = discovered_and_watched(&device.thing(), &[], folder.path());
    recorded_as_told(&section, &readings, |name, value| device.has_told(name, value));
}

#[test]
fn a_device_of_another_make_behind_a_password_is_discovered_checked_and_watched() {
    if are_left_out() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("key.txt"), format!("bench:{KEY}\n")).unwrap();
    let device = Device::start(Entry::Password { user: "bench", password: KEY }, SEED, WATCHED_RATE);
    let header = ["--header", "Authorization: basic file:key.txt"];
    let (section, readings) = discovered_and_watched(&device.thing(), &header, folder.path());
    assert!(section.contains("form = \"basic\""), "{section}");
    recorded_as_told(&section, &readings, |name, value| device.has_told(name, value));
}

#[test]
fn devices_behind_keys_are_discovered_checked_and_watched() {
    for (place, option, key) in [
        (KeyPlace::Bearer, "--header", "Authorization: bearer file:key.txt"),
        (KeyPlace::Header, "--header", "X-Entry: file:key.txt"),
        (KeyPlace::Query, "--query", "entry=file:key.txt"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("key.txt"), KEY).unwrap();
        let device = KeyedDevice::start(place, SEED, WATCHED_RATE);
        let (section, readings) = discovered_and_watched(&device.thing(), &[option, key], folder.path());
        recorded_as_told(&section, &readings, |name, value| device.has_told(name, value));
        assert!(device.asked().iter().all(|line| line.starts_with("GET /")), "{:?}", device.asked());
    }
}
