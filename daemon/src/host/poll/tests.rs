//! A host from poll to poll, over real sockets on loopback and by a clock that the test sets: what is remembered, what
//! is asked again and when, and whose time counts.

#[path = "../../../../tests/fuzz/claim.rs"]
mod claim;

use super::*;
use crate::config::Config;
use crate::entry::{CentiCelsius, Heater, JobState};
use crate::host::field::Field;
use crate::host::loopback::{http, serve};
use crate::host::{DEADLINE, Selector, TimeField, TimeForm};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

const BENCH: &str = r#"
[[printer]]
name = "bench"
[[printer.document]]
name = "state"
url = "http://127.0.0.1:PORT/state?key=hush"
[[printer.document]]
name = "heat"
url = "http://127.0.0.1:PORT/heat"
[printer.job]
state = { document = "state", path = "/phase", words = { busy = "printing" } }
[[printer.tool]]
actual = { document = "heat", path = "/left/now" }
"#;

/// What a path answers: status, headers, body.
type Page = (&'static str, String, String);

/// A host whose pages the test sets, and which keeps what it was asked.
struct FakeHost {
    port: u16,
    pages: Arc<Mutex<BTreeMap<&'static str, Page>>>,
    heads: Arc<Mutex<Vec<String>>>,
}

impl FakeHost {
    /// Starts with a sound document of either kind.
    async fn start() -> Self {
        let pages: Arc<Mutex<BTreeMap<&'static str, Page>>> = Arc::default();
        let heads: Arc<Mutex<Vec<String>>> = Arc::default();
        let (told, kept) = (Arc::clone(&pages), Arc::clone(&heads));
        let by_page = move |head: &str| {
            kept.lock().unwrap_or_else(PoisonError::into_inner).push(head.to_owned());
            answer(&told.lock().unwrap_or_else(PoisonError::into_inner), head)
        };
        let host = Self { port: serve(by_page, Duration::ZERO, Duration::ZERO).await, pages, heads };
        host.set("/state", "200 OK", "", &json!({ "phase": "busy" }).to_string());
        host.set("/heat", "200 OK", "", &json!({ "left": { "now": 210 } }).to_string());
        host
    }

    fn set(&self, path: &'static str, status: &'static str, headers: &str, body: &str) {
        self.pages.lock().unwrap().insert(path, (status, headers.to_owned(), body.to_owned()));
    }

    /// How often that path was asked.
    fn asked(&self, path: &str) -> usize {
        let heads = self.heads.lock().unwrap();
        heads.iter().filter(|head| head.starts_with(&format!("GET {path}"))).count()
    }

    /// The host as configured, with the heat asked for so often.
    fn host(&self, heat_every: Option<u64>) -> Host {
        let printer = self.printer();
        let mut source = (*printer.source).clone();
        source.documents[1].every = heat_every.map(Duration::from_secs);
        Host::new(Client::new(DEADLINE).unwrap(), Arc::new(source), printer.map)
    }

    /// The host with its own time at `/time` of the state.
    fn timed(&self) -> Host {
        let printer = self.printer();
        let field = Field { document: 0, paths: Selector::parse("/time").unwrap().into() };
        let map = PrinterMap { time: Some(TimeField { field, form: TimeForm::UnixSeconds }), ..(*printer.map).clone() };
        Host::new(Client::new(DEADLINE).unwrap(), printer.source, Arc::new(map))
    }

    fn printer(&self) -> crate::config::Printer {
        let text = BENCH.replace("PORT", &self.port.to_string());
        Config::parse(&text, Path::new("bench.toml")).unwrap().printers()[0].clone()
    }

    /// The state at the host's time, answered by the host's `Date`.
    fn tell_time(&self, told: f64, date_s: u64) {
        let date = httpdate::fmt_http_date(std::time::UNIX_EPOCH + Duration::from_secs(START_S + date_s));
        let told = told + 1_772_438_400.0;
        self.set(
            "/state",
            "200 OK",
            &format!("Date: {date}\r\n"),
            &json!({ "phase": "busy", "time": told }).to_string(),
        );
    }
}

fn answer(pages: &BTreeMap<&'static str, Page>, head: &str) -> Vec<u8> {
    let path = head.split([' ', '?']).nth(1).unwrap();
    let nothing = ("404 No", String::new(), String::new());
    let (status, headers, body) = pages.get(path).unwrap_or(&nothing);
    let tag = headers.lines().find_map(|line| line.strip_prefix("ETag: "));
    let same = tag.is_some_and(|tag| head.lines().any(|line| line == format!("if-none-match: {tag}")));
    let (status, body) = if same { (&"304 Same", "") } else { (status, body.as_str()) };
    http(status, headers, body)
}

const START_S: u64 = 1_772_438_400;

fn at(s: f64) -> Timestamp {
    Timestamp::from_ms(1_772_438_400_000) + Seconds::new(s)
}

async fn poll(host: &mut Host, s: f64) -> Polled {
    host.poll(|| at(s), false).await
}

fn reading(polled: Polled) -> Reading {
    polled.reading.unwrap().unwrap()
}

fn actual(polled: Polled) -> Option<CentiCelsius> {
    reading(polled).tools[0].actual
}

#[tokio::test]
async fn a_document_that_has_not_changed_is_not_sent_again_and_still_counts() {
    let fake = FakeHost::start().await;
    fake.set("/heat", "200 OK", "ETag: \"a\"\r\n", "{\"left\":{\"now\":210,\"want\":1,\"want\":2}}");
    let mut host = fake.host(None);
    for s in [0.0, 1.0, 2.0] {
        let polled = poll(&mut host, s).await;
        assert_eq!(polled.troubles, ["document heat: key /left/want stands twice and is left out"]);
        assert_eq!(actual(polled), CentiCelsius::nearest(210.0));
    }
    let same = |fake: &FakeHost| {
        fake.heads.lock().unwrap().iter().filter(|head| head.contains("if-none-match: \"a\"")).count()
    };
    assert_eq!((fake.asked("/heat"), same(&fake)), (3, 2));
    // A tag of what did not arrive whole, or is gone, is not asked about.
    fake.set("/heat", "500 Oh", "", "");
    assert_eq!(actual(poll(&mut host, 3.0).await), None);
    fake.set("/heat", "200 OK", "ETag: \"a\"\r\n", "{\"left\":{\"now\":211}}");
    assert_eq!(actual(poll(&mut host, 4.0).await), CentiCelsius::nearest(211.0));
    assert_eq!(same(&fake), 3);
}

#[tokio::test]
async fn a_slow_document_is_asked_for_when_due_and_counts_in_between() {
    let fake = FakeHost::start().await;
    let mut host = fake.host(Some(30));
    for s in 0..30 {
        assert_eq!(actual(poll(&mut host, f64::from(s)).await), CentiCelsius::nearest(210.0), "{s}");
    }
    assert_eq!((fake.asked("/heat"), fake.asked("/state")), (1, 30));
    // A refresh that fails takes its fields away at once, and is tried again soon.
    fake.set("/heat", "404 No", "", "");
    let polled = poll(&mut host, 29.95).await;
    let line = format!("document heat from http://127.0.0.1:{}/heat: host answers 404, needs to be 200", fake.port);
    assert_eq!(polled.troubles, std::slice::from_ref(&line));
    assert_eq!(actual(polled), None);
    fake.set("/heat", "200 OK", "", "{\"left\":{\"now\":211}}");
    let polled = poll(&mut host, 33.0).await;
    assert_eq!(polled.troubles, [line]);
    assert_eq!((actual(polled), fake.asked("/heat")), (None, 2));
    assert_eq!(actual(poll(&mut host, 35.0).await), CentiCelsius::nearest(211.0));
    assert_eq!(fake.asked("/heat"), 3);
}

#[tokio::test]
async fn each_fault_of_one_document_leaves_the_other_s_fields() {
    let fake = FakeHost::start().await;
    let mut host = fake.host(None);
    let deep = "[".repeat(100_000);
    let cases = [
        ("404 No", "", "", "host answers 404, needs to be 200"),
        ("403 Not", "", "", "host forbids it (403); the key under printer.headers or printer.query lacks the right"),
        (
            "200 OK",
            "Content-Type: text/html\r\n",
            "<p>",
            "answer is text/html, needs to be JSON; is this a sign-in page?",
        ),
        ("200 OK", "", deep.as_str(), "answer is nested deeper than 127 levels"),
        ("200 OK", "", "", "answer is empty, needs to be JSON"),
        (
            "302 Off",
            "Location: http://127.0.0.1:9/\r\n",
            "",
            "redirected away to http://127.0.0.1:9; if that is right, configure that address",
        ),
        ("302 Off", "Location: /heat\r\n", "", "redirected more than 3 times"),
    ];
    for (n, (status, headers, body, says)) in cases.into_iter().enumerate() {
        fake.set("/heat", status, headers, body);
        let polled = poll(&mut host, 100.0 * f64::from(u32::try_from(n).unwrap())).await;
        assert_eq!(polled.troubles, [format!("document heat from http://127.0.0.1:{}/heat: {says}", fake.port)]);
        assert_eq!(polled.hold, None);
        let reading = reading(polled);
        assert_eq!((reading.job.state, reading.tools), (JobState::Printing, vec![Heater::default()]));
    }
}

#[tokio::test]
async fn a_text_that_is_no_number_and_a_key_that_stands_twice_give_no_number() {
    let fake = FakeHost::start().await;
    let mut host = fake.host(None);
    for (n, body) in ["{\"left\":{\"now\":\"NaN\"}}", "{\"left\":{\"now\":210,\"now\":21}}"].into_iter().enumerate() {
        fake.set("/heat", "200 OK", "", body);
        assert_eq!(actual(poll(&mut host, f64::from(u32::try_from(n).unwrap())).await), None, "{body}");
    }
    let keys = ["a", "b\\n", "c", "d"].map(|key| format!("\"{key}\":1,\"{key}\":2")).join(",");
    fake.set("/heat", "200 OK", "", &format!("{{{keys}}}"));
    let polled = poll(&mut host, 2.0).await;
    assert_eq!(polled.troubles, ["document heat: keys /a, /b\\n, /c and more stand twice and are left out"]);
}

#[tokio::test]
async fn a_needed_document_that_asks_for_a_wait_has_the_whole_host_left_alone() {
    let fake = FakeHost::start().await;
    let mut host = fake.host(None);
    fake.set("/state", "503 No", "Retry-After: 7\r\n", "");
    let polled = poll(&mut host, 0.0).await;
    assert_eq!(polled.hold, Some(Duration::from_secs(7)));
    let error = polled.reading.unwrap_err();
    assert!(error.is_transient(), "{error}");
    let line = error.to_string();
    assert!(line.ends_with("/state?••••: host answers 503, needs to be 200; to be asked again in 7 s"), "{line}");
    let polled = poll(&mut host, 6.5).await;
    assert_eq!((polled.hold, polled.troubles), (Some(Duration::from_millis(500)), vec![line]));
    assert_eq!((fake.asked("/state"), fake.asked("/heat")), (1, 1));
    fake.set("/state", "200 OK", "", "{\"phase\":\"busy\"}");
    let polled = poll(&mut host, 7.0).await;
    assert_eq!((polled.hold, reading(polled).job.state), (None, JobState::Printing));
    // Without a wait of its own nothing is held.
    fake.set("/state", "429 Slow", "", "");
    assert_eq!(poll(&mut host, 8.0).await.hold, None);
}

#[tokio::test]
async fn a_refused_sign_in_is_not_tried_again_for_a_minute() {
    let fake = FakeHost::start().await;
    let mut host = fake.host(None);
    fake.set("/heat", "401 Who", "", "");
    for s in 0..60 {
        let polled = poll(&mut host, f64::from(s)).await;
        assert_eq!((polled.hold, actual(polled)), (None, None));
    }
    assert_eq!((fake.asked("/heat"), fake.asked("/state")), (1, 60));
    fake.set("/state", "401 Who", "", "");
    let polled = poll(&mut host, 60.0).await;
    assert_eq!(polled.hold, Some(Duration::from_mins(1)));
    assert!(polled.refused.is_some() && polled.reading.is_err());
    poll(&mut host, 119.0).await.reading.unwrap_err();
    assert_eq!(fake.asked("/state"), 61);
    fake.set("/state", "200 OK", "", "{\"phase\":\"busy\"}");
    assert_eq!(reading(poll(&mut host, 120.0).await).job.state, JobState::Printing);
}

#[tokio::test]
async fn a_reading_is_from_when_the_host_says_by_its_clock_s_difference_from_ours() {
    let fake = FakeHost::start().await;
    let mut host = fake.timed();
    assert_eq!(host.skew(), None);
    // An hour and a half ahead by the host's date, known to half a second; its values are two seconds old.
    fake.tell_time(5398.0, 5400);
    let polled = poll(&mut host, 0.0).await;
    assert_eq!((polled.troubles.as_slice(), polled.skew), ([].as_slice(), host.skew()));
    let skew = polled.skew.unwrap();
    assert!((skew.ahead.get() - 5400.5).abs() < 1e-9 && (skew.within.get() - 0.501).abs() < 1e-9, "{skew:?}");
    assert_eq!(reading(polled).at, at(-2.5));
    // The same time: nothing new, and no miss.
    fake.tell_time(5398.0, 5401);
    assert!(matches!(poll(&mut host, 1.0).await.reading, Ok(None)));
    // Set back to the right time: said, measured anew, and ours counts for that reading.
    fake.tell_time(2.0, 2);
    let polled = poll(&mut host, 2.0).await;
    assert_eq!(
        polled.troubles,
        [
            "the host's clock or ours was set: the host's went back by 90 min against ours",
            "the host's time went back by 90 min; our clock counts"
        ]
    );
    assert_eq!(reading(polled).at, at(2.0));
    fake.tell_time(2.9, 3);
    assert_eq!(reading(poll(&mut host, 3.0).await).at, at(2.4));
}

#[tokio::test]
async fn a_poll_that_makes_no_reading_uses_up_no_time_of_the_host() {
    let fake = FakeHost::start().await;
    let mut host = fake.timed();
    for s in [0.0, 1.0] {
        fake.set("/state", "200 OK", "", &json!({ "phase": "dozing", "time": START_S }).to_string());
        assert!(matches!(poll(&mut host, s).await.reading, Err(PollError::Map(_))));
    }
    fake.set("/state", "200 OK", "", &json!({ "phase": "busy", "time": START_S }).to_string());
    assert_eq!(reading(poll(&mut host, 1.5).await).at, at(0.0));
}

#[tokio::test]
async fn without_a_time_where_it_is_mapped_our_clock_counts_and_it_is_said() {
    let fake = FakeHost::start().await;
    let mut host = fake.timed();
    let polled = poll(&mut host, 5.0).await;
    assert_eq!(polled.troubles, ["the host's time at /time: nothing is there; our clock counts"]);
    assert_eq!(reading(polled).at, at(5.0));
    // No date, so that the clocks can't be compared: five seconds are too far.
    fake.set("/state", "200 OK", "", &json!({ "phase": "busy", "time": START_S + 1 }).to_string());
    let polled = poll(&mut host, 6.0).await;
    assert_eq!(polled.troubles, ["the host's time is 5 s behind ours; our clock counts"]);
    assert_eq!((reading(polled).at, host.skew()), (at(6.0), None));
}

#[tokio::test]
async fn our_clock_s_own_jump_forgets_the_difference() {
    let fake = FakeHost::start().await;
    let mut host = fake.timed();
    fake.tell_time(0.0, 0);
    poll(&mut host, 0.0).await;
    fake.tell_time(1.0, 1);
    let polled = host.poll(|| at(3601.0), true).await;
    assert!(polled.troubles.is_empty(), "{:?}", polled.troubles);
    assert!((polled.skew.unwrap().ahead.get() + 3599.5).abs() < 1e-9);
    let reading = reading(polled);
    assert_eq!((reading.at, reading.after_gap), (at(3600.5), true));
}

#[tokio::test]
async fn the_clock_of_another_host_of_the_same_printer_is_not_measured() {
    let (fake, other) = (FakeHost::start().await, FakeHost::start().await);
    fake.tell_time(1.0, 1);
    other.set("/heat", "200 OK", "Date: Sun, 06 Nov 1994 08:49:37 GMT\r\n", "{\"left\":{\"now\":210}}");
    let mut host = fake.timed();
    let mut source = (*host.source).clone();
    source.documents[1] = other.printer().source.documents[1].clone();
    host.source = Arc::new(source);
    let polled = poll(&mut host, 1.0).await;
    assert!(polled.troubles.is_empty() && polled.skew.is_some(), "{:?}", polled.troubles);
    assert!((polled.skew.unwrap().ahead.get() - 0.5).abs() < 1e-9, "{:?}", polled.skew);
    assert_eq!(actual(polled), CentiCelsius::nearest(210.0));
}

/// Pieces that a parser, or a map, may stumble over.
const PIECES: [&[u8]; 14] = [
    b"{",
    b"}",
    b"[",
    b"]",
    b",",
    b"\"",
    b"null",
    b"NaN",
    b"-1e400",
    b"1e308",
    b"\"now\":7,",
    b"\\ud800",
    b"\xff",
    b"\xef\xbb\xbf",
];

/// The document with up to four changes: a byte, a stretch left out, written twice or moved, a piece put in.
fn mutated(sound: &[u8], rng: &mut ChaCha8Rng) -> Vec<u8> {
    let mut body = sound.to_vec();
    for _ in 0..rng.random_range(1..=4) {
        let from = rng.random_range(0..=body.len());
        let until = (from + rng.random_range(0..40)).min(body.len());
        let place = rng.random_range(0..=body.len());
        match rng.random_range(0..5) {
            0 if from < body.len() => body[from] = rng.random(),
            1 => drop(body.drain(from..until)),
            2 => drop(body.splice(place..place, body[from..until].to_vec())),
            3 if from < body.len() => body[from] = *b"0123456789.-eE".get(place % 14).unwrap(),
            _ => drop(body.splice(place..place, PIECES[rng.random_range(0..PIECES.len())].to_vec())),
        }
    }
    body
}

#[test]
fn whatever_the_bytes_are_each_number_of_a_reading_stands_in_its_place() {
    let map = claim::map();
    let sound = include_bytes!("../../../../tests/fuzz/seeds/sound.json");
    let whole = claim::holds(&map, sound).unwrap();
    assert!(whole.tools.iter().all(|tool| tool.actual.is_some()) && whole.job.byte.is_some(), "{whole:?}");
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let changed = (0..5000).filter_map(|_| claim::holds(&map, &mutated(sound, &mut rng)));
    // Most are no document, and a claim about few readings would be none.
    let other = changed.filter(|reading| *reading != whole).count();
    assert!(other > 300, "{other}");
}
