//! The client against real sockets on loopback: each way a host can go wrong is told apart.

mod tls;

use super::*;
use crate::host::loopback::{head, http, serve};
use crate::host::{Headers, Query, Source};
use std::collections::BTreeMap;
use std::time::Instant;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

/// Long enough for loopback on a busy machine.
const ENOUGH: Duration = Duration::from_secs(5);

/// What a server does after it has read a request's head, which is handed in.
type Says = fn(&str) -> Vec<u8>;

/// A server that closes each connection after its answer, or holds it open.
async fn server(answer: Says, hold: bool) -> u16 {
    serve(answer, Duration::ZERO, if hold { ENOUGH * 10 } else { Duration::ZERO }).await
}

async fn get(port: u16, path: &str, deadline: Duration) -> Result<Value, FetchError> {
    let address = Address::parse(&format!("http://127.0.0.1:{port}{path}")).unwrap();
    let headers = Headers::new(&BTreeMap::from([("X-Entry".to_owned(), "sesame".to_owned())])).unwrap();
    let headers = Credentials { headers, query: Query::default() };
    Client::new(deadline).unwrap().get(&address, &headers).await
}

async fn failure(answer: Says) -> FetchError {
    get(server(answer, false).await, "/state", ENOUGH).await.unwrap_err()
}

#[tokio::test]
async fn a_document_comes_for_a_get_with_its_query_and_headers() {
    let echo: Says = |head| {
        let first = head.lines().next().unwrap();
        let key = head.lines().any(|line| line == "x-entry: sesame");
        http("200 OK", "", &serde_json::json!({ "first": first, "key": key }).to_string())
    };
    let found = get(server(echo, false).await, "/state?of=all", ENOUGH).await.unwrap();
    assert_eq!(found, serde_json::json!({ "first": "GET /state?of=all HTTP/1.1", "key": true }));
}

#[tokio::test]
async fn a_host_that_does_not_listen_refuses() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    let error = get(port, "/", ENOUGH).await.unwrap_err();
    assert!(matches!(error, FetchError::Refused) && error.is_transient(), "{error:?}");
}

#[tokio::test]
async fn silence_before_and_within_the_body_ends_at_the_deadline() {
    let silent: Says = |_| Vec::new();
    let halting: Says = |_| b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n{\"a\":".to_vec();
    for answer in [silent, halting] {
        let port = server(answer, true).await;
        let began = Instant::now();
        let error = get(port, "/", Duration::from_millis(300)).await.unwrap_err();
        assert!(matches!(error, FetchError::Deadline(_)) && error.is_transient(), "{error:?}");
        assert!((Duration::from_millis(300)..ENOUGH).contains(&began.elapsed()), "{:?}", began.elapsed());
    }
}

#[tokio::test]
async fn a_connection_that_ends_early_is_a_cut() {
    let before_the_head: Says = |_| Vec::new();
    let in_the_body: Says = |_| b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n{\"a\": 1".to_vec();
    // A body that is sound JSON and still is not the whole answer.
    let in_a_chunk: Says = |_| b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n7\r\n{\"a\":1}\r\n".to_vec();
    for answer in [before_the_head, in_the_body, in_a_chunk] {
        let error = failure(answer).await;
        assert!(matches!(error, FetchError::CutOff) && error.is_transient(), "{error:?}");
    }
}

#[tokio::test]
async fn what_is_not_http_and_what_is_not_json_are_told_apart() {
    let error = failure(|_| b"220 ready for orders\r\n\r\n".to_vec()).await;
    assert!(matches!(error, FetchError::NotHttp), "{error:?}");
    let bodies: [Says; 4] = [
        |_| http("200 OK", "", "<html>"),
        |_| http("204 Nothing", "", ""),
        |_| http("200 OK", "", "{\"actual\": NaN}"),
        |_| http("200 OK", "", "{} {}"),
    ];
    for answer in bodies {
        let error = failure(answer).await;
        assert!(matches!(error, FetchError::Body(_)) && !error.is_transient(), "{error:?}");
    }
}

#[tokio::test]
async fn each_status_says_whether_to_try_again_or_to_call_a_person() {
    let cases: [(Says, &str, bool); 6] = [
        (|_| http("500 Oh", "", "{}"), "500", true),
        (|_| http("429 Slow", "", "{}"), "429", true),
        (|_| http("404 No", "", "{}"), "404", false),
        (|_| http("401 Who", "", "{}"), "sign-in", false),
        (|_| http("403 Not", "", "{}"), "forbids", false),
        (|_| http("304 Same", "", ""), "304, needs to be 200", false),
    ];
    for (answer, says, transient) in cases {
        let error = failure(answer).await;
        assert!(error.to_string().contains(says), "{error}");
        assert_eq!(error.is_transient(), transient, "{error}");
    }
}

#[tokio::test]
async fn a_body_is_taken_up_to_the_limit_and_not_a_byte_over() {
    fn text(bytes: usize) -> String {
        format!("\"{}\"", "x".repeat(bytes - 2))
    }
    let port = server(|_| http("200 OK", "", &text(BODY_BYTES_MAX)), false).await;
    let found = get(port, "/", ENOUGH).await.unwrap();
    assert_eq!(found.as_str().map(str::len), Some(BODY_BYTES_MAX - 2));
    let error = failure(|_| http("200 OK", "", &text(BODY_BYTES_MAX + 1))).await;
    assert!(matches!(error, FetchError::TooLarge), "{error:?}");
    // Told alone it is refused before the body is read, of which nothing comes.
    let told: Says = |_| format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n", BODY_BYTES_MAX + 1).into_bytes();
    let error = get(server(told, true).await, "/", ENOUGH).await.unwrap_err();
    assert!(matches!(error, FetchError::TooLarge), "{error:?}");
    // No length told and no end: the limit has to hold while it streams.
    let endless: Says = |_| {
        let mut answer = b"HTTP/1.1 200 OK\r\n\r\n".to_vec();
        answer.resize(3 * BODY_BYTES_MAX, b' ');
        answer
    };
    let error = get(server(endless, true).await, "/", ENOUGH).await.unwrap_err();
    assert!(matches!(error, FetchError::TooLarge), "{error:?}");
}

#[tokio::test]
async fn a_redirect_is_followed_on_the_same_host_and_port_alone() {
    let moved: Says = |head| {
        if head.starts_with("GET /new ") {
            // The old address, which may hold a key, is not shown to the new one.
            let sound = head.contains("x-entry: sesame") && !head.contains("referer");
            return http("200 OK", "", &sound.to_string());
        }
        http("302 Found", "Location: /new\r\n", "")
    };
    assert_eq!(get(server(moved, false).await, "/old", ENOUGH).await.unwrap(), Value::Bool(true));

    let round: Says = |_| http("302 Found", "Location: /round\r\n", "");
    let error = get(server(round, false).await, "/round", ENOUGH).await.unwrap_err();
    assert!(matches!(error, FetchError::RedirectedTooOften), "{error:?}");

    // The port to send the client to comes in the path, as an answer knows nothing else.
    let away: Says = |head| {
        let port = head.trim_start_matches("GET /").split(' ').next().unwrap();
        http("302 Found", &format!("Location: http://127.0.0.1:{port}/\r\n"), "")
    };
    let elsewhere = server(|_| http("200 OK", "", "1"), false).await;
    let error = get(server(away, false).await, &format!("/{elsewhere}"), ENOUGH).await.unwrap_err();
    assert!(matches!(&error, FetchError::RedirectedAway(to) if to.ends_with(&elsewhere.to_string())), "{error:?}");
}

/// Asks with that tag.
async fn ask(answer: Says, tag: Option<&str>) -> Result<Answer, FetchError> {
    let address = Address::parse(&format!("http://127.0.0.1:{}/state", server(answer, false).await)).unwrap();
    let credentials = Credentials::default();
    Client::new(ENOUGH).unwrap().ask(&Question { address: &address, credentials: &credentials, tag }).await
}

#[tokio::test]
async fn a_tag_is_sent_back_as_it_came_and_the_host_may_say_that_nothing_changed() {
    let host: Says = |head| {
        let known = head.lines().any(|line| line == "if-none-match: W/\"7 a\"");
        let headers = "ETag: W/\"7 a\"\r\nDate: Sun, 06 Nov 1994 08:49:37 GMT\r\n";
        if known { http("304 Same", headers, "") } else { http("200 OK", headers, "{}") }
    };
    let first = ask(host, None).await.unwrap();
    assert_eq!((first.is_unchanged, &first.body[..]), (false, b"{}".as_slice()));
    assert_eq!(first.tag.as_deref(), Some("W/\"7 a\""));
    let again = ask(host, first.tag.as_deref()).await.unwrap();
    assert!(again.is_unchanged && again.body.is_empty());
    assert_eq!(again.date, Some(Timestamp::from_ms(784_111_777_000)));
    assert!(!ask(host, Some("\"6\"")).await.unwrap().is_unchanged);
    // One that the host would refuse to read is not kept.
    let long: Says = |_| http("200 OK", &format!("ETag: \"{}\"\r\n", "x".repeat(8000)), "{}");
    assert_eq!(ask(long, None).await.unwrap().tag, None);
}

#[tokio::test]
async fn every_link_and_the_type_come_along_and_json_is_asked_for_unpacked() {
    let host: Says = |head| {
        let asked = ["accept: application/json", "accept-encoding: identity"];
        let asked = asked.iter().all(|wanted| head.lines().any(|line| line == *wanted));
        http(
            "200 OK",
            "Link: </a>; rel=x\r\nLink: </b>\r\nContent-Type: text/html; charset=utf-8\r\n",
            &asked.to_string(),
        )
    };
    let answer = ask(host, None).await.unwrap();
    assert_eq!(answer.links, ["</a>; rel=x", "</b>"]);
    assert_eq!(
        (answer.media_type.as_deref(), &answer.body[..]),
        (Some("text/html; charset=utf-8"), b"true".as_slice())
    );
    // Its body is JSON, and still the host says that it is a page.
    let fault = answer.document().unwrap_err().to_string();
    assert_eq!(fault, "answer is text/html, needs to be JSON; is this a sign-in page?");
}

#[tokio::test]
async fn a_busy_host_says_how_long_it_wants_to_be_left_alone_in_either_form() {
    let cases: [(Says, u16, Option<u64>, &str); 4] = [
        (|_| http("429 Slow", "Retry-After: 7\r\n", ""), 429, Some(7), "; to be asked again in 7 s"),
        (|_| http("503 No", "", ""), 503, None, ""),
        (
            // By the host's own clock, which is decades behind.
            |_| {
                let dates = "Date: Sun, 06 Nov 1994 08:49:37 GMT\r\nRetry-After: Sun, 06 Nov 1994 08:49:57 GMT\r\n";
                http("503 No", dates, "")
            },
            503,
            Some(20),
            "; to be asked again in 20 s",
        ),
        (|_| http("503 No", "Retry-After: 86400\r\n", ""), 503, Some(300), "; to be asked again in 300 s"),
    ];
    for (answer, code, seconds, says) in cases {
        let error = failure(answer).await;
        assert_eq!(error, FetchError::Busy { status: code, retry_after: seconds.map(Duration::from_secs) });
        assert_eq!(error.to_string(), format!("host answers {code}, needs to be 200{says}"));
        assert!(error.is_transient());
    }
}

#[tokio::test]
async fn each_body_that_is_no_document_says_so_in_one_line() {
    let cases: [(Says, &str); 8] = [
        (|_| http("200 OK", "Content-Type: image/png\r\n", "{}"), "answer is image/png, needs to be JSON"),
        (|_| http("200 OK", "Content-Encoding: gzip\r\n", "{}"), "answer is encoded as gzip, needs to be plain"),
        (|_| http("200 OK", "", ""), "answer is empty, needs to be JSON"),
        (|_| http("200 OK", "", "{\"a\": 1e400}"), "answer has a number out of range at line 1 column 11"),
        (|_| http("200 OK", "", "{\"a\": NaN}"), "answer is not JSON: expected value at line 1 column 7"),
        (|_| http("200 OK", "", &"[".repeat(100_000)), "answer is nested deeper than 127 levels"),
        (|_| [http("200 OK", "", "   "), vec![]].concat(), "answer is empty, needs to be JSON"),
        (
            |_| b"HTTP/1.1 200 OK\r\nContent-Length: 3\r\nConnection: close\r\n\r\n\"\xff\"".to_vec(),
            "answer is not UTF-8 at byte 1",
        ),
    ];
    for (answer, says) in cases {
        let error = failure(answer).await;
        assert_eq!(error.to_string(), says);
        assert!(!error.is_transient());
    }
}

#[tokio::test]
async fn a_body_that_drips_ends_at_the_deadline_though_it_never_stands_still() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        let (mut socket, _) = listener.accept().await.unwrap();
        head(&mut socket).await;
        socket.write_all(b"HTTP/1.1 200 OK\r\n\r\n[").await.unwrap();
        while socket.write_all(b"0,").await.is_ok() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    });
    let began = Instant::now();
    let error = get(port, "/", Duration::from_millis(400)).await.unwrap_err();
    assert_eq!(error, FetchError::Deadline(Duration::from_millis(400)));
    assert!((Duration::from_millis(400)..ENOUGH).contains(&began.elapsed()), "{:?}", began.elapsed());
}

#[tokio::test]
async fn printers_without_an_authority_share_one_client_s_connections() {
    // Each connection answers with the number of requests that it has had.
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = Address::parse(&format!("http://{}/", listener.local_addr().unwrap())).unwrap();
    tokio::spawn(async move {
        while let Ok((mut socket, _)) = listener.accept().await {
            tokio::spawn(async move {
                for n in 1..10 {
                    head(&mut socket).await;
                    let answer = format!("HTTP/1.1 200 OK\r\nContent-Length: 1\r\n\r\n{n}");
                    if socket.write_all(answer.as_bytes()).await.is_err() {
                        return;
                    }
                }
            });
        }
    });
    let mut clients = Clients::new(ENOUGH);
    let mut counted = Vec::new();
    let authority = |seed| Some(Authority::new(tls::authority(seed).1.into_bytes()));
    let house = authority("house");
    for authority in [None, None, house.clone(), house, authority("other")] {
        let client = clients.of(&Source { authority, ..Source::default() }).unwrap();
        counted.push(client.get(&address, &Credentials::default()).await.unwrap());
    }
    assert_eq!(counted, [1, 2, 1, 2, 1]);
}

#[test]
fn an_authority_without_a_certificate_is_refused() {
    let of = |text: &str| Client::trusting(ENOUGH, &Authority::new(text.as_bytes().to_vec())).unwrap_err();
    assert!(matches!(of("no PEM at all"), ClientError::NoCertificate));
    let error = of("-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n");
    assert!(matches!(error, ClientError::Http(_)), "{error}");
}
