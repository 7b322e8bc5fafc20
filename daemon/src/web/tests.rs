//! The dashboard against a real record: what it shows of a gap, whom it turns away, and what it never lets through.

mod ahead;
mod alarms;
mod api;
mod causes;
mod changes;
mod feed;
mod parts;
mod preflight;
mod prints;
mod reports;
mod setup;
mod sign_in;

use super::prints::Part;
use super::server::{Live, router};
use super::{Attempt, Site, views};
use crate::clock::Clock;
use crate::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, PrinterName, Reading, Settings};
use crate::pipeline::Pipeline;
use crate::preflight::Known;
use crate::store::{Commit, Store};
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{Contact, LaneKind, LanePiece};
use jiff::tz::TimeZone;
use std::io::{BufRead, BufReader, Write};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tower::ServiceExt;

const HOSTILE: &str = "</title><script>alert('x')</script>&\"";

fn at(seconds: u32) -> Timestamp {
    Timestamp::from_ms(1_772_438_400_000) + Seconds::new(f64::from(seconds))
}

fn heater(actual: f64, target: f64) -> Heater {
    let (actual, target) = (CentiCelsius::nearest(actual), CentiCelsius::nearest(target));
    Heater { actual, target, duty_thousandths: None, fan_thousandths: None }
}

fn reading(seconds: u32) -> Reading {
    let prints = seconds < 700;
    let state = if prints { JobState::Printing } else { JobState::Completed };
    let job = Job { state, name: Some(Arc::from("lantern.gcode")), fraction_millionths: None, byte: None };
    let tools = if prints {
        vec![heater(210.0, 210.0), heater(175.0, 175.0)]
    } else {
        vec![heater(31.0, 0.0), heater(30.0, 0.0)]
    };
    Reading { at: at(seconds), after_gap: false, job, active_tool: Some(0), tools, bed: None }
}

/// T0 prints for 700 s while T1 waits, without contact from 295 s to 400 s; cold from then to 800 s. It is `now` s.
fn site(now: u32) -> (tempfile::TempDir, Site) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.sqlite")).unwrap();
    let printer = PrinterName::new("bench").unwrap();
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    for seconds in (0..300).step_by(5).chain((400..=800).step_by(5)) {
        let step = pipeline.read(reading(seconds));
        let (effects, alarms) = (step.effects, step.alarms);
        store.commit(Commit { printer: printer.clone(), effects, alarms, notices: false }).unwrap();
    }
    let configured = Known { printer: Some(printer), ..Known::default() };
    // Faster than real time, so that the wall clock has no say.
    let clock = Arc::new(Clock::rehearsal(at(now), 1.001));
    (folder, Site::new(store, vec![configured], TimeZone::UTC, clock, false))
}

fn shape(lane: &[LanePiece]) -> Vec<(LaneKind, f64, f64)> {
    lane.iter().map(|piece| (piece.kind, (piece.from - at(0)).get(), (piece.to - at(0)).get())).collect()
}

async fn ask(site: Site, request: Request<Body>) -> (StatusCode, String) {
    let (_close, closing) = watch::channel(false);
    let response = router(Live { site: Arc::new(site), closing }).oneshot(request).await.unwrap();
    let status = response.status();
    let body = to_bytes(response.into_body(), 1 << 20).await.unwrap();
    (status, String::from_utf8(body.to_vec()).unwrap())
}

/// What a site answers, as far as tests look at it.
struct Answer {
    status: StatusCode,
    location: Option<String>,
    refresh: Option<String>,
    text: String,
}

/// Asks a site that goes on.
async fn answered(site: &Site, request: Request<Body>) -> Answer {
    let (_close, closing) = watch::channel(false);
    let response = router(Live { site: Arc::new(site.clone()), closing }).oneshot(request).await.unwrap();
    let header = |name: &str| response.headers().get(name).map(|value| value.to_str().unwrap().to_owned());
    let (status, location, refresh) = (response.status(), header("location"), header("refresh"));
    let body = to_bytes(response.into_body(), 1 << 20).await.unwrap();
    Answer { status, location, refresh, text: String::from_utf8(body.to_vec()).unwrap() }
}

fn form(body: String) -> Request<Body> {
    let request = Request::post("/prints/1/outcome").header("host", "localhost:7870");
    request.header("content-type", "application/x-www-form-urlencoded").body(Body::from(body)).unwrap()
}

#[test]
fn no_piece_of_a_lane_lies_over_a_gap() {
    let (_folder, site) = site(801);
    let view = views::now(&site).unwrap();
    let tools = &view.printers[0].tools;
    let lane = |kind| {
        let gap = (LaneKind::Gap, 295.0, 400.0);
        vec![(kind, 0.0, 295.0), gap, (kind, 400.0, 700.0), (LaneKind::Cold, 700.0, 800.0)]
    };
    assert_eq!(shape(&tools[0].history), lane(LaneKind::Working));
    assert_eq!(shape(&tools[1].history), lane(LaneKind::Waiting));
    let means: Vec<_> = tools[1].history.iter().map(|piece| piece.mean.map(|mean| mean.get().round())).collect();
    assert_eq!(means[0], means[2], "one span has one mean");
    assert_eq!((means[1], means[3]), (None, Some(30.0)));
    let print = views::print(&site, 1, Part::default()).unwrap().unwrap();
    assert_eq!(shape(&print.tools[1].lane), lane(LaneKind::Waiting)[..3]);
    assert_eq!(print.gap, Seconds::new(105.0));
}

#[test]
fn a_printer_that_has_said_nothing_for_longer_than_the_limit_is_silent() {
    let (_folder, heard) = site(815);
    let view = views::now(&heard).unwrap();
    assert!(matches!(view.printers[0].contact, Contact::In { since, newest } if (since, newest) == (at(400), at(800))));
    let (_folder, silent) = site(830);
    let view = views::now(&silent).unwrap();
    assert!(matches!(view.printers[0].contact, Contact::Silent { since, .. } if since == at(800)));
}

#[tokio::test]
async fn an_outcome_without_the_page_s_token_is_refused_and_not_recorded() {
    for token in ["", "&token=", "&token=0123456789abcdef0123456789abcdef"] {
        let (_folder, site) = site(801);
        let store = site.store.clone();
        let (status, _) = ask(site, form(format!("what=1:jam&severity=2{token}"))).await;
        assert_eq!(status, StatusCode::FORBIDDEN, "{token}");
        assert!(store.reader().unwrap().outcomes(1).unwrap().is_empty());
    }
}

#[tokio::test]
async fn an_outcome_with_the_token_is_recorded_as_it_was_said_and_a_hostile_note_is_escaped() {
    let (_folder, site) = site(801);
    let (store, token) = (site.store.clone(), site.token.clone());
    let note = "%3C%2Ftitle%3E%3Cscript%3Ealert%28%27x%27%29%3C%2Fscript%3E%26%22";
    let posted = form(format!("token={token}&what=1:jam&severity=2&note={note}"));
    assert_eq!(ask(site, posted).await.0, StatusCode::SEE_OTHER);
    let outcomes = store.reader().unwrap().outcomes(1).unwrap();
    assert_eq!(outcomes.len(), 1);
    assert_eq!(outcomes[0].note.as_deref(), Some(HOSTILE));
    assert_eq!(outcomes[0].tool.map(crate::entry::ToolNumber::idx), Some(1));

    let clock = Arc::new(Clock::rehearsal(at(900), 1.001));
    let site = Site::new(store, Vec::new(), TimeZone::UTC, clock, false);
    let page = Request::get("/prints/1").header("host", "localhost:7870").body(Body::empty()).unwrap();
    let (status, html) = ask(site, page).await;
    assert_eq!(status, StatusCode::OK);
    assert!(html.contains("alert(") && !html.contains("<script>alert"), "{html}");
}

#[tokio::test]
async fn what_cannot_be_understood_is_told_in_the_right_status() {
    let long = "x".repeat(501);
    let huge = "x".repeat(20_000);
    for (fields, expected) in [
        ("what=16:jam".to_owned(), StatusCode::BAD_REQUEST),
        ("what=all:fire".to_owned(), StatusCode::BAD_REQUEST),
        ("what=all:jam&severity=4".to_owned(), StatusCode::BAD_REQUEST),
        (format!("what=all:jam&note={long}"), StatusCode::BAD_REQUEST),
        (format!("what=all:jam&note={huge}"), StatusCode::PAYLOAD_TOO_LARGE),
        ("what=all:jam&severity=&note=".to_owned(), StatusCode::SEE_OTHER),
    ] {
        let (_folder, site) = site(801);
        let body = format!("token={}&{fields}", site.token);
        assert_eq!(ask(site, form(body)).await.0, expected, "{}", &fields[..20.min(fields.len())]);
    }
    for (path, host, expected) in [
        ("/prints/2", "localhost", StatusCode::NOT_FOUND),
        ("/prints/x", "localhost", StatusCode::NOT_FOUND),
        ("/elsewhere", "localhost", StatusCode::NOT_FOUND),
        ("/prints?before=soon", "localhost", StatusCode::BAD_REQUEST),
        ("/prints?from=soon", "localhost", StatusCode::BAD_REQUEST),
        ("/prints?from=2026-03-02&to=2026-03-02", "localhost", StatusCode::OK),
        ("/", "printer.example", StatusCode::MISDIRECTED_REQUEST),
    ] {
        let (_folder, site) = site(801);
        let request = Request::get(path).header("host", host).body(Body::empty()).unwrap();
        assert_eq!(ask(site, request).await.0, expected, "{path} at {host}");
    }
}

#[tokio::test]
async fn forms_that_are_turned_away_are_counted_and_our_own_are_not() {
    let (_folder, site) = site(801);
    let attempts = Arc::clone(&site.attempts);
    let (now, token) = (site.clock.now().at, site.token.clone());
    let (_close, closing) = watch::channel(false);
    let routes = router(Live { site: Arc::new(site), closing });
    let send = async |origin: Option<&str>, token: &str| {
        let request = Request::post("/prints/1/outcome")
            .header("host", "localhost:7870")
            .header("content-type", "application/x-www-form-urlencoded");
        let request = origin.into_iter().fold(request, |request, origin| request.header("origin", origin));
        let body = Body::from(format!("token={token}&what=all:clean"));
        routes.clone().oneshot(request.body(body).unwrap()).await.unwrap().status()
    };
    for _ in 0..5 {
        assert_eq!(send(Some("http://elsewhere.example"), &token).await, StatusCode::FORBIDDEN);
    }
    for _ in 0..20 {
        assert_eq!(send(None, &token).await, StatusCode::SEE_OTHER);
    }
    for _ in 0..4 {
        assert_eq!(send(None, "guessed").await, StatusCode::FORBIDDEN);
    }
    assert_eq!(attempts.are_many(now), None);
    assert_eq!(send(None, "guessed").await, StatusCode::FORBIDDEN);
    assert_eq!(attempts.are_many(now), Some(Some(Attempt::WrongToken)));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_live_page_follows_the_record_and_does_not_keep_the_server_from_ending() {
    let (_folder, site) = site(801);
    let store = site.store.clone();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let served = tokio::spawn(super::serve(listener, site, async { drop(stopped.await) }));
    let (told, mut events) = tokio::sync::mpsc::unbounded_channel();
    let page = std::thread::spawn(move || {
        let mut stream = std::net::TcpStream::connect(address).unwrap();
        stream.write_all(b"GET /live HTTP/1.1\r\nhost: localhost\r\n\r\n").unwrap();
        for line in BufReader::new(stream).lines().map_while(Result::ok).filter(|line| line.contains("headline")) {
            told.send(line).unwrap();
        }
    });
    let first = events.recv().await.unwrap();
    let wait = Duration::from_secs(5);
    let trouble = ["document heat: connection refused".to_owned()];
    store.note_polls(&PrinterName::new("bench").unwrap(), Timestamp::from_ms(0), &trouble, None);
    let second = tokio::time::timeout(wait, events.recv()).await.unwrap().unwrap();
    assert_ne!(first, second);
    stop.send(()).unwrap();
    tokio::time::timeout(Duration::from_secs(2), served).await.unwrap().unwrap();
    page.join().unwrap();
}
