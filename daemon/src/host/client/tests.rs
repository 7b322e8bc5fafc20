//! The client against real sockets on loopback: each way a host can go wrong is told apart.

use super::*;
use crate::host::{Headers, Query};
use std::collections::BTreeMap;
use std::time::Instant;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// Long enough for loopback on a busy machine.
const ENOUGH: Duration = Duration::from_secs(5);

/// What a server does after it has read a request's head, which is handed in.
type Answer = fn(&str) -> Vec<u8>;

/// A server that answers every connection and then closes it, or holds it open. Ends with the test's runtime.
async fn server(answer: Answer, hold: bool) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((mut socket, _)) = listener.accept().await {
            tokio::spawn(async move {
                let head = head(&mut socket).await;
                // The client may have left; that is what some of the tests are about.
                if socket.write_all(&answer(&head)).await.is_ok() && hold {
                    tokio::time::sleep(ENOUGH * 10).await;
                }
            });
        }
    });
    port
}

async fn head(socket: &mut TcpStream) -> String {
    let mut head = Vec::new();
    let mut byte = [0];
    while !head.ends_with(b"\r\n\r\n") && socket.read(&mut byte).await.unwrap_or(0) == 1 {
        head.push(byte[0]);
    }
    String::from_utf8(head).unwrap()
}

fn http(status: &str, headers: &str, body: &str) -> Vec<u8> {
    let length = body.len();
    format!("HTTP/1.1 {status}\r\nConnection: close\r\n{headers}Content-Length: {length}\r\n\r\n{body}").into_bytes()
}

async fn get(port: u16, path: &str, deadline: Duration) -> Result<Value, FetchError> {
    let address = Address::parse(&format!("http://127.0.0.1:{port}{path}")).unwrap();
    let headers = Headers::new(&BTreeMap::from([("X-Entry".to_owned(), "sesame".to_owned())])).unwrap();
    let headers = Credentials { headers, query: Query::default() };
    Client::new(deadline).unwrap().get(&address, &headers).await
}

async fn failure(answer: Answer) -> FetchError {
    get(server(answer, false).await, "/state", ENOUGH).await.unwrap_err()
}

#[tokio::test]
async fn a_document_comes_for_a_get_with_its_query_and_headers() {
    let echo: Answer = |head| {
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
async fn https_to_a_host_that_does_not_speak_it_is_unreachable() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        let (mut socket, _) = listener.accept().await.unwrap();
        socket.write_all(&http("400 No", "", "plain")).await.unwrap();
    });
    let address = Address::parse(&format!("https://127.0.0.1:{port}/")).unwrap();
    let error = Client::new(ENOUGH).unwrap().get(&address, &Credentials::default()).await.unwrap_err();
    assert!(matches!(error, FetchError::Unreachable(_)), "{error:?}");
}

#[tokio::test]
async fn silence_before_and_within_the_body_ends_at_the_deadline() {
    let silent: Answer = |_| Vec::new();
    let halting: Answer = |_| b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n{\"a\":".to_vec();
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
    let before_the_head: Answer = |_| Vec::new();
    let in_the_body: Answer = |_| b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n{\"a\": 1".to_vec();
    // A body that is sound JSON and still is not the whole answer.
    let in_a_chunk: Answer = |_| b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n7\r\n{\"a\":1}\r\n".to_vec();
    for answer in [before_the_head, in_the_body, in_a_chunk] {
        let error = failure(answer).await;
        assert!(matches!(error, FetchError::CutOff) && error.is_transient(), "{error:?}");
    }
}

#[tokio::test]
async fn what_is_not_http_and_what_is_not_json_are_told_apart() {
    let error = failure(|_| b"220 ready for orders\r\n\r\n".to_vec()).await;
    assert!(matches!(error, FetchError::NotHttp), "{error:?}");
    let bodies: [Answer; 4] = [
        |_| http("200 OK", "", "<html>"),
        |_| http("204 Nothing", "", ""),
        |_| http("200 OK", "", "{\"actual\": NaN}"),
        |_| http("200 OK", "", "{} {}"),
    ];
    for answer in bodies {
        let error = failure(answer).await;
        assert!(matches!(error, FetchError::NotJson(_)) && !error.is_transient(), "{error:?}");
    }
}

#[tokio::test]
async fn each_status_says_whether_to_try_again_or_to_call_a_person() {
    let cases: [(Answer, &str, bool); 5] = [
        (|_| http("500 Oh", "", "{}"), "500", true),
        (|_| http("429 Slow", "", "{}"), "429", true),
        (|_| http("404 No", "", "{}"), "404", false),
        (|_| http("401 Who", "", "{}"), "sign-in", false),
        (|_| http("403 Not", "", "{}"), "forbids", false),
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
    // No length told and no end: the limit has to hold while it streams.
    let endless: Answer = |_| {
        let mut answer = b"HTTP/1.1 200 OK\r\n\r\n".to_vec();
        answer.resize(3 * BODY_BYTES_MAX, b' ');
        answer
    };
    let error = get(server(endless, true).await, "/", ENOUGH).await.unwrap_err();
    assert!(matches!(error, FetchError::TooLarge), "{error:?}");
}

#[tokio::test]
async fn a_redirect_is_followed_on_the_same_host_and_port_alone() {
    let moved: Answer = |head| {
        if head.starts_with("GET /new ") {
            return http("200 OK", "", &head.contains("x-entry: sesame").to_string());
        }
        http("302 Found", "Location: /new\r\n", "")
    };
    assert_eq!(get(server(moved, false).await, "/old", ENOUGH).await.unwrap(), Value::Bool(true));

    let round: Answer = |_| http("302 Found", "Location: /round\r\n", "");
    let error = get(server(round, false).await, "/round", ENOUGH).await.unwrap_err();
    assert!(matches!(error, FetchError::RedirectedTooOften), "{error:?}");

    // The port to send the client to comes in the path, as an answer knows nothing else.
    let away: Answer = |head| {
        let port = head.trim_start_matches("GET /").split(' ').next().unwrap();
        http("302 Found", &format!("Location: http://127.0.0.1:{port}/\r\n"), "")
    };
    let elsewhere = server(|_| http("200 OK", "", "1"), false).await;
    let error = get(server(away, false).await, &format!("/{elsewhere}"), ENOUGH).await.unwrap_err();
    assert!(matches!(&error, FetchError::RedirectedAway(to) if to.ends_with(&elsewhere.to_string())), "{error:?}");
}
