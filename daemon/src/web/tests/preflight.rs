//! A job file is sent to the dashboard: what is shown of it, whom it is not taken from, and what is told when it is
//! none.

use super::{ask, site};
use crate::gather::{OutlineOf, Unreadable};
use crate::jobfile::{JobOutline, LineFault, Unread};
use crate::preflight::sample::lantern;
use crate::preflight::{Known, document, judge, view};
use crate::web::preflight::UPLOAD_MAX;
use crate::web::{Site, views};
use axum::body::{Body, Bytes};
use axum::http::{Request, StatusCode};
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use dwell_dashboards::format;
use futures_util::{StreamExt, stream};
use std::convert::Infallible;
use std::io::Read;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

const BOUNDARY: &str = "q7w";

fn part(head: &str, content: &str) -> String {
    format!("--{BOUNDARY}\r\ncontent-disposition: form-data; {head}\r\n\r\n{content}\r\n")
}

fn word(name: &str, content: &str) -> String {
    part(&format!("name=\"{name}\""), content)
}

fn file(name: &str, content: &str) -> String {
    part(&format!("name=\"file\"; filename=\"{name}\""), content)
}

fn posted(body: impl Into<Body>) -> Request<Body> {
    let request = Request::post("/preflight").header("host", "localhost:7870");
    request.header("content-type", format!("multipart/form-data; boundary={BOUNDARY}")).body(body.into()).unwrap()
}

fn form(parts: &[String]) -> Request<Body> {
    posted(format!("{}--{BOUNDARY}--\r\n", parts.concat()))
}

fn reading(read: OutlineOf) -> (tempfile::TempDir, Site) {
    let (folder, mut site) = site(801);
    site.outline_of = read;
    (folder, site)
}

/// A job with something to say of either tool; as long as what was sent.
fn spoilt(bytes: u64) -> JobOutline {
    let mut outline = lantern();
    outline.bytes = bytes;
    outline.visits[1].restart.as_mut().unwrap().expected = Celsius::new(150.0);
    outline.tools[0].dose_max = DoseMinutes::new(61.0);
    outline.unread.macros = vec![("<b>PARK</b>".to_owned(), 2)];
    outline
}

fn read_spoilt(source: &mut dyn Read, _: &Known) -> Result<JobOutline, Unreadable> {
    let mut text = Vec::new();
    source.read_to_end(&mut text)?;
    Ok(spoilt(u64::try_from(text.len()).unwrap()))
}

#[expect(clippy::unnecessary_wraps, reason = "the shape of a reader")]
fn read_picture(_: &mut dyn Read, _: &Known) -> Result<JobOutline, Unreadable> {
    let faults = vec![(LineFault::NotAWord, 90, 1)];
    let unread = Unread { faults, ..Unread::default() };
    let begins = None;
    Ok(JobOutline { lines: 100, begins, unread, ..lantern() })
}

fn never(_: &mut dyn Read, _: &Known) -> Result<JobOutline, Unreadable> {
    unreachable!("nobody else's bytes are read")
}

#[tokio::test]
async fn a_page_shows_the_figures_of_the_json_and_every_finding_in_its_order() {
    let (_folder, site) = reading(read_spoilt);
    let known = views::known(&site, None).unwrap().unwrap();
    let outline = spoilt(6);
    let json = document(&view("<i>.gcode", &outline, &known, &judge(&outline, &known)));
    let request = form(&[word("token", &site.token), file("<i>.gcode", "G1 X1\n")]);
    let (status, html) = ask(site, request).await;
    assert_eq!(status, StatusCode::OK);
    assert!(html.contains("6 bytes, 4567 lines, 60 layers") && html.contains("&lt;i&gt;.gcode"), "{html}");
    for tool in json["tools"].as_array().unwrap() {
        let number = |key: &str| tool[key].as_f64().unwrap();
        let waits = |key: &str| Seconds::new(tool["waits"][key].as_f64().unwrap());
        let dose = DoseMinutes::new(number("dose_min"));
        for shown in [
            format!("{}, {} in all", tool["waits"]["count"], format::duration(waits("total_s"))),
            format!("{}, from {} on", format::duration(waits("longest_s")), format::job_time(waits("longest_at_s"))),
            format!("{}, {} of the limit", format::dose(dose), format::percent(number("dose_share"))),
            format!("{} of {}", tool["left_hot"], tool["left"]),
        ] {
            assert!(html.contains(&format!("<td>{shown}</td>")), "{shown}");
        }
    }
    let ids: Vec<_> =
        html.split("data-finding=\"").skip(1).map(|rest| rest.split('"').next().unwrap().to_owned()).collect();
    let findings = json["findings"].as_array().unwrap();
    assert_eq!(ids, ["over_residence", "cold_restart", "macros"]);
    assert_eq!(ids, findings.iter().map(|finding| finding["id"].as_str().unwrap()).collect::<Vec<_>>());
    for finding in findings {
        for key in ["cause", "consequence", "action"] {
            let said = finding[key].as_str().unwrap().replace('<', "&lt;").replace('>', "&gt;");
            assert!(html.contains(&said), "{said}");
        }
    }
}

#[tokio::test]
async fn a_file_is_not_read_unless_the_page_s_token_came_before_it() {
    let token = reading(never).1.token;
    for parts in [
        vec![file("lantern.gcode", "G1 X1\n")],
        vec![word("token", ""), file("lantern.gcode", "G1 X1\n")],
        vec![word("token", "0123456789abcdef0123456789abcdef"), file("lantern.gcode", "G1 X1\n")],
        vec![file("lantern.gcode", "G1 X1\n"), word("token", &token)],
        vec![],
    ] {
        let (_folder, mut site) = reading(never);
        site.token.clone_from(&token);
        assert_eq!(ask(site, form(&parts)).await.0, StatusCode::FORBIDDEN, "{parts:?}");
    }
}

#[tokio::test]
async fn what_is_no_job_file_is_told_on_the_page_beside_the_form() {
    let cases: [(OutlineOf, _, _, _, _); 2] = [
        (read_picture, "cat.png", "\u{89}PNG", StatusCode::UNPROCESSABLE_ENTITY, "cat.png: no job file: 90 of 100"),
        (read_spoilt, "", "", StatusCode::BAD_REQUEST, "No file was chosen."),
    ];
    for (read, name, content, status, says) in cases {
        let (_folder, site) = reading(read);
        let parts = [word("token", &site.token), word("printer", "bench"), file(name, content)];
        let (found, html) = ask(site, form(&parts)).await;
        assert_eq!(found, status, "{name}");
        assert!(html.contains(says) && html.contains("type=\"file\""), "{html}");
    }
    let (_folder, site) = reading(never);
    let parts = [word("token", &site.token), word("printer", "attic"), file("lantern.gcode", "G1\n")];
    let (status, html) = ask(site, form(&parts)).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(html.contains("attic"), "{html}");
    let (_folder, site) = reading(never);
    let cut_off = posted(word("token", &site.token) + &file("lantern.gcode", "G1\n")[..60]);
    assert_eq!(ask(site, cut_off).await.0, StatusCode::BAD_REQUEST);
}

static HAS_READ: AtomicBool = AtomicBool::new(false);

fn read_slowly(source: &mut dyn Read, known: &Known) -> Result<JobOutline, Unreadable> {
    let mut first = [0; 6];
    source.read_exact(&mut first)?;
    HAS_READ.store(true, Ordering::Release);
    read_spoilt(source, known)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_is_read_while_it_arrives() {
    let (_folder, site) = reading(read_slowly);
    let head =
        word("token", &site.token) + "--q7w\r\ncontent-disposition: form-data; name=\"file\"; filename=\"a\"\r\n\r\n";
    // More than a boundary's length, which has to be kept back.
    let early = stream::iter([Ok::<_, Infallible>(Bytes::from(head + &"G1 X1\n".repeat(100)))]);
    let late = stream::once(async {
        while !HAS_READ.load(Ordering::Acquire) {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        Ok(Bytes::from_static(b"G1 X1\n\r\n--q7w--\r\n"))
    });
    let asked = ask(site, posted(Body::from_stream(early.chain(late))));
    let (status, html) = tokio::time::timeout(Duration::from_secs(20), asked).await.unwrap();
    assert_eq!(status, StatusCode::OK);
    assert!(html.contains("600 bytes"), "101 lines, less the six bytes that were read first: {html}");
}

/// A reader that has had enough at once must not hold up what still comes.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_over_the_limit_is_told_so() {
    let (_folder, site) = reading(read_picture);
    let head = Bytes::from(word("token", &site.token) + &file("a", ""));
    let head = head.slice(..head.len() - 2);
    let chunk = Bytes::from(vec![b'G'; 1 << 20]);
    let chunks = stream::repeat(chunk).take((UPLOAD_MAX >> 20) + 1).map(Ok::<_, Infallible>);
    let body = Body::from_stream(stream::iter([Ok(head)]).chain(chunks));
    let (status, html) = ask(site, posted(body)).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(html.contains("larger than 536.9 MB") && html.contains("type=\"file\""), "{html}");
}
