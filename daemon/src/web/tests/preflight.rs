//! A job file is sent to the dashboard: what is shown of it, whom it is not taken from, and what is told when it is
//! none.

use super::{ask, site};
use crate::arriving::Arriving;
use crate::gather::look;
use crate::preflight::{Known, Liner, ToolKnown, document};
use crate::web::preflight::UPLOAD_MAX;
use crate::web::views;
use axum::body::{Body, Bytes};
use axum::http::{Request, StatusCode};
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use dwell_dashboards::format;
use futures_util::{StreamExt, stream};
use std::convert::Infallible;
use std::io::{self, Read};
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

/// A job with something to say of either tool: T0 waits hot for an hour and a half, T1 is pushed cold.
const SPOILT: &str = "M83\nM109 S210 T0\nT0\nG1 Z0.2 F900\nG1 X20 Y20 E1 F2400\nPARK_A\nM109 S210 T1\nT1\n\
    G1 X40 Y20 E40 F2400\nG4 S5400\nG1 X60 Y20 E900 F600\nM104 S100 T1\nT0\nG1 X80 Y20 E1 F2400\nG4 S600\nT1\n\
    G1 X99 Y20 E1 F2400\n";

#[tokio::test]
async fn a_page_shows_the_figures_of_the_json_and_every_finding_in_its_order() {
    let (_folder, site) = site(801);
    let known = views::known(&site, None).unwrap().unwrap();
    let reader = site.store.reader().unwrap();
    let json = document(&look("<i>.gcode", SPOILT.as_bytes(), &known, Some(&reader)).unwrap());
    let request = form(&[word("token", &site.token), file("<i>.gcode", SPOILT)]);
    let (status, html) = ask(site, request).await;
    assert_eq!(status, StatusCode::OK);
    let bytes = format!("{} bytes, 17 lines, 1 layer", SPOILT.len());
    assert!(html.contains(&bytes) && html.contains("&lt;i&gt;.gcode"), "{html}");
    for tool in json["tools"].as_array().unwrap() {
        let number = |key: &str| tool[key].as_f64().unwrap();
        let waits = |key: &str| Seconds::new(tool["waits"][key].as_f64().unwrap());
        let dose = DoseMinutes::new(number("dose_min"));
        for shown in [
            format!("{} times, {} in all", tool["waits"]["count"], format::duration_fine(waits("total_s"))),
            format!(
                "{}, from {} on",
                format::duration_fine(waits("longest_s")),
                format::job_time(waits("longest_at_s"))
            ),
            format!("{}, {} of the limit", format::dose(dose), format::percent(number("dose_share"))),
            format!("{} of {}", tool["left_hot"], tool["left"]),
        ] {
            assert!(html.contains(&format!("<td>{shown}</td>")), "{shown}");
        }
    }
    let ids: Vec<_> =
        html.split("data-finding=\"").skip(1).map(|rest| rest.split('"').next().unwrap().to_owned()).collect();
    let findings = json["findings"].as_array().unwrap();
    assert_eq!(ids[..2], ["over_residence", "cold_restart"]);
    assert!(ids.contains(&"macros".to_owned()) && ids.contains(&"deep_standby".to_owned()), "{ids:?}");
    assert_eq!(ids, findings.iter().map(|finding| finding["id"].as_str().unwrap()).collect::<Vec<_>>());
    for finding in findings {
        for key in ["cause", "consequence", "action"] {
            let said = finding[key].as_str().unwrap().replace('<', "&lt;").replace('>', "&gt;");
            assert!(html.contains(&said), "{said}");
        }
    }
}

#[tokio::test]
async fn a_page_judges_by_what_the_configuration_says_of_the_printer() {
    for (liner, is_found) in [(Liner::Assumed, false), (Liner::Rated(Celsius::new(200.0)), true)] {
        let (_folder, mut site) = site(801);
        site.printers[0].tools = vec![ToolKnown { liner, ..ToolKnown::default() }];
        let request = form(&[word("token", &site.token), file("lantern.gcode", SPOILT)]);
        let (status, html) = ask(site, request).await;
        assert_eq!((status, html.contains("data-finding=\"over_liner\"")), (StatusCode::OK, is_found), "{html}");
    }
}

/// The body never ends, so whoever waited for the file would wait for good.
#[tokio::test]
async fn a_file_is_not_read_unless_the_page_s_token_came_before_it() {
    for token in [None, Some(""), Some("0123456789abcdef0123456789abcdef")] {
        let (_folder, site) = site(801);
        let before = token.map(|token| word("token", token)).unwrap_or_default();
        let head = Bytes::from(before + &file("lantern.gcode", SPOILT) + &word("token", &site.token));
        let body = stream::iter([Ok::<_, Infallible>(head)]).chain(stream::pending());
        let asked = tokio::time::timeout(Duration::from_secs(20), ask(site, posted(Body::from_stream(body)))).await;
        assert_eq!(asked.unwrap().0, StatusCode::FORBIDDEN, "{token:?}");
    }
    let (_folder, other) = site(801);
    assert_eq!(ask(other, form(&[])).await.0, StatusCode::FORBIDDEN, "an empty form");
}

#[tokio::test]
async fn what_is_no_job_file_is_told_on_the_page_beside_the_form() {
    let unread = StatusCode::UNPROCESSABLE_ENTITY;
    for (name, content, status, says) in [
        ("cat.png", "\u{89}PNG\r\n\u{1a}\n\0\0\0\rIHDR", unread, "cat.png: is no text: byte 9 is zero"),
        ("letter.txt", "Dear all,\nnothing moves.\n", unread, "letter.txt: no job file: of 2 lines none"),
        ("", "", StatusCode::BAD_REQUEST, "No file was chosen."),
    ] {
        let (_folder, site) = site(801);
        let parts = [word("token", &site.token), word("printer", "bench"), file(name, content)];
        let (found, html) = ask(site, form(&parts)).await;
        assert_eq!(found, status, "{name}");
        assert!(html.contains(says) && html.contains("type=\"file\""), "{html}");
    }
    let (_folder, other) = site(801);
    let parts = [word("token", &other.token), word("printer", "attic"), file("lantern.gcode", "G1\n")];
    let (status, html) = ask(other, form(&parts)).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(html.contains("attic"), "{html}");
    let (_folder, site) = site(801);
    let cut_off = posted(word("token", &site.token) + &file("lantern.gcode", "G1\n")[..60]);
    assert_eq!(ask(site, cut_off).await.0, StatusCode::BAD_REQUEST);
}

/// Says when its first bytes have been read.
struct Told<R> {
    source: R,
    is_read: std::sync::mpsc::Sender<()>,
}

impl<R: Read> Read for Told<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.source.read(buffer)?;
        self.is_read.send(()).map_err(io::Error::other)?;
        Ok(n)
    }
}

#[test]
fn a_file_is_read_while_it_arrives() {
    let (chunks, arrived) = tokio::sync::mpsc::channel(1);
    let (is_read, read) = std::sync::mpsc::channel();
    let looked = std::thread::spawn(move || {
        let source = Told { source: Arriving::new(arrived), is_read };
        look("lantern.gcode", source, &Known::default(), None).map(|view| (view.bytes, view.lines))
    });
    let mut sent = 0;
    for line in SPOILT.split_inclusive('\n') {
        chunks.blocking_send(Ok(Bytes::from(line))).unwrap();
        // The rest is not sent before this was read.
        read.recv_timeout(Duration::from_secs(20)).unwrap();
        sent += line.len();
    }
    drop(chunks);
    read.recv_timeout(Duration::from_secs(20)).unwrap();
    assert_eq!(looked.join().unwrap().unwrap(), (u64::try_from(sent).unwrap(), 17));
}

/// A reader that has had enough at once must not hold up what still comes.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_over_the_limit_is_told_so() {
    let (_folder, site) = site(801);
    let head = Bytes::from(word("token", &site.token) + &file("a", "\0"));
    let head = head.slice(..head.len() - 2);
    let chunk = Bytes::from(vec![b'G'; 1 << 20]);
    let chunks = stream::repeat(chunk).take((UPLOAD_MAX >> 20) + 1).map(Ok::<_, Infallible>);
    let body = Body::from_stream(stream::iter([Ok(head)]).chain(chunks));
    let (status, html) = ask(site, posted(body)).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(html.contains("larger than 536.9 MB") && html.contains("type=\"file\""), "{html}");
}
