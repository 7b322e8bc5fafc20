//! The JSON API and what is measured: who is answered how, what is taken, and that what is not known has no sample.

use super::*;
use axum::http::HeaderMap;
use serde_json::{Value, json};

/// What comes back, with its head.
async fn answer(site: Site, request: Request<Body>) -> (StatusCode, HeaderMap, String) {
    let (_close, closing) = watch::channel(false);
    let response = router(Live { site: Arc::new(site), closing }).oneshot(request).await.unwrap();
    let (status, headers) = (response.status(), response.headers().clone());
    let body = to_bytes(response.into_body(), 1 << 20).await.unwrap();
    (status, headers, String::from_utf8(body.to_vec()).unwrap())
}

fn get(path: &str) -> Request<Body> {
    Request::get(path).header("host", "localhost:7870").body(Body::empty()).unwrap()
}

fn post(path: &str, kind: &str, origin: Option<&str>, body: &str) -> Request<Body> {
    let request = Request::post(path).header("host", "localhost:7870").header("content-type", kind);
    let request = origin.into_iter().fold(request, |request, origin| request.header("origin", origin));
    request.body(Body::from(body.to_owned())).unwrap()
}

async fn document() -> Value {
    let (_folder, site) = site(801);
    let (status, headers, body) = answer(site, get("/api/openapi.json")).await;
    assert_eq!((status, headers["content-type"].to_str().unwrap()), (StatusCode::OK, "application/json"));
    serde_json::from_str(&body).unwrap()
}

#[tokio::test]
async fn every_address_of_the_document_is_one_and_what_is_none_is_a_problem() {
    let document = document().await;
    assert_eq!(document["openapi"], "3.1.0");
    let paths = document["paths"].as_object().unwrap();
    assert!(paths.len() > 10, "{paths:?}");
    for (path, described) in paths {
        let asked = path.replace("{id}", "1").replace("{period}", "2026-W10").replace("{act}", "acknowledge");
        for method in described.as_object().unwrap().keys().filter(|_| path != "/api/live") {
            let (_folder, site) = site(801);
            let request = if method == "get" { get(&asked) } else { post(&asked, "application/json", None, "{}") };
            let (status, headers, body) = answer(site, request).await;
            let described = &described[method]["responses"][status.as_str()];
            let kind = headers["content-type"].to_str().unwrap();
            assert!(described["content"][kind].is_object(), "{method} {path}: {status} {kind} is not told of: {body}");
        }
        let (_folder, site) = site(801);
        let odd = Request::delete(&asked).header("host", "localhost").body(Body::empty()).unwrap();
        let (status, headers, _) = answer(site, odd).await;
        let allowed = if described["post"].is_object() { "POST" } else { "GET, HEAD" };
        assert_eq!((status.as_u16(), headers["allow"].to_str().unwrap()), (405, allowed), "{path}");
    }
}

#[tokio::test]
async fn what_is_not_as_the_document_has_it_is_told_in_the_right_status_and_says_what_would_be_right() {
    for (path, expected, says) in [
        ("/api/nothing", 404, "/api/openapi.json"),
        ("/api/", 404, "/api/openapi.json"),
        ("/api/prints/7", 404, "no print 7"),
        ("/api/prints/x", 400, "a whole number of 1"),
        ("/api/prints?printer=gull", 404, "it knows bench"),
        ("/api/prints?limit=1001", 400, "of 1 to 1000"),
        ("/api/prints?limit=1&limit=1", 400, "twice"),
        ("/api/prints?colour=red", 400, "it takes printer, from, to, limit"),
        ("/api/prints?from=soon", 400, "2026-03-02T08:00:00Z"),
        ("/api/now?limit=1", 400, "it takes none"),
        ("/api/spans?from=2020-01-01T00:00:00Z", 422, "31 days"),
        ("/api/causes", 503, "ask again"),
    ] {
        let (_folder, site) = site(801);
        let (status, headers, body) = answer(site, get(path)).await;
        let problem: Value = serde_json::from_str(&body).unwrap();
        assert_eq!(headers["content-type"], "application/problem+json", "{path}");
        assert_eq!((status.as_u16(), &problem["status"]), (expected, &json!(expected)), "{path}: {body}");
        assert!(problem["detail"].as_str().unwrap().contains(says), "{path}: {body}");
        assert_eq!(headers.contains_key("retry-after"), expected == 503, "{path}");
    }
    for (accepts, expected) in
        [("text/html", 406), ("application/json;q=0", 406), ("text/html, */*;q=0.1", 200), ("application/*", 200)]
    {
        let (_folder, site) = site(801);
        let request = Request::get("/api/now").header("host", "localhost").header("accept", accepts);
        let (status, ..) = answer(site, request.body(Body::empty()).unwrap()).await;
        assert_eq!(status.as_u16(), expected, "{accepts}");
    }
}

#[tokio::test]
async fn what_the_asker_has_already_is_not_sent_again() {
    let (_folder, first) = site(801);
    let (_, headers, body) = answer(first, get("/api/prints")).await;
    let tag = headers["etag"].to_str().unwrap().to_owned();
    assert!(body.contains("lantern.gcode"), "{body}");
    for (held, expected) in [(tag.as_str(), 304), ("\"another\"", 200)] {
        let (_folder, site) = site(801);
        let request = Request::get("/api/prints").header("host", "localhost").header("if-none-match", held);
        let (status, _, body) = answer(site, request.body(Body::empty()).unwrap()).await;
        assert_eq!((status.as_u16(), body.is_empty()), (expected, expected == 304));
    }
}

#[tokio::test]
async fn a_word_is_taken_as_json_of_no_other_site_and_recorded_as_it_was_said() {
    let jam = r#"{"tool": 1, "mode": "jam", "severity": 2, "note": "ground"}"#;
    let path = "/api/prints/1/outcome";
    for (kind, origin, body, expected) in [
        ("text/plain", None, jam, 415),
        ("application/x-www-form-urlencoded", None, jam, 415),
        ("application/json", Some("http://elsewhere.example"), jam, 403),
        ("application/json", None, "{", 400),
        ("application/json", None, r#"{"mode": "fire"}"#, 422),
        ("application/json", None, r#"{"mode": "jam", "severity": 4}"#, 422),
        ("application/json", None, r#"{"tool": 2, "mode": "jam", "severity": 2}"#, 422),
        ("application/json", None, r#"{"mode": "jam", "colour": "red"}"#, 422),
        ("application/json; charset=utf-8", Some("http://localhost:7870"), jam, 200),
    ] {
        let (_folder, site) = site(801);
        let store = site.store.clone();
        let (status, _, said) = answer(site, post(path, kind, origin, body)).await;
        assert_eq!(status.as_u16(), expected, "{kind} {origin:?} {body}: {said}");
        let outcomes = store.reader().unwrap().outcomes(1).unwrap();
        assert_eq!(outcomes.len(), usize::from(expected == 200), "{kind} {origin:?} {body}");
        if let [outcome] = outcomes.as_slice() {
            assert_eq!((outcome.mode.word(), outcome.note.as_deref()), ("jam", Some("ground")));
            let told: Value = serde_json::from_str(&said).unwrap();
            assert_eq!((&told["outcomes"][0]["tool"], &told["outcomes"][0]["severity"]), (&json!(1), &json!(2)));
        }
    }
    let (_folder, site) = site(801);
    let (status, _, said) = answer(site, post("/api/alarms/99/acknowledge", "application/json", None, "{}")).await;
    assert_eq!(status, StatusCode::NOT_FOUND, "{said}");
}

#[tokio::test]
async fn the_document_says_of_what_may_be_absent_that_it_is_never_null() {
    let document = document().await;
    let print = &document["components"]["schemas"]["Print"];
    assert_eq!(print["properties"]["name"]["type"], json!(["string"]));
    assert_eq!(print["properties"]["ended"]["type"], json!(["string", "null"]));
    let required = print["required"].as_array().unwrap();
    assert!(required.contains(&json!("ended")) && !required.contains(&json!("name")), "{print}");
}

#[tokio::test]
async fn a_silent_printer_has_no_temperature_and_one_that_is_heard_has_its_own() {
    for (now, samples, contact) in [(801, 2, "1.0"), (900, 0, "0.0")] {
        let (_folder, site) = site(now);
        let (status, headers, text) = answer(site, get("/metrics")).await;
        assert_eq!(status, StatusCode::OK);
        let kind = headers["content-type"].to_str().unwrap();
        assert_eq!(kind, "application/openmetrics-text; version=1.0.0; charset=utf-8");
        assert!(text.contains(&format!("dwellwatch_contact{{printer=\"bench\"}} {contact}\n")), "{text}");
        assert_eq!(text.lines().filter(|line| line.starts_with("dwellwatch_nozzle_celsius{")).count(), samples);
        assert!(text.contains("dwellwatch_prints_total{printer=\"bench\",end=\"completed\"} 1\n"), "{text}");
        assert!(text.ends_with("# EOF\n"), "{text}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_feed_tells_a_printer_when_it_has_changed_in_events_under_two_kilobytes() {
    let (_folder, site) = site(801);
    let store = site.store.clone();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let served = tokio::spawn(crate::web::serve(listener, site, async { drop(stopped.await) }));
    let (told, mut lines) = tokio::sync::mpsc::unbounded_channel();
    let reader = std::thread::spawn(move || {
        let mut stream = std::net::TcpStream::connect(address).unwrap();
        stream.write_all(b"GET /api/live HTTP/1.1\r\nhost: localhost\r\n\r\n").unwrap();
        for line in BufReader::new(stream).lines().map_while(Result::ok) {
            if line.starts_with("id: ") || line.starts_with("data: ") {
                told.send(line).unwrap();
            }
        }
    });
    let mut event = async || {
        let mut next = async || tokio::time::timeout(Duration::from_secs(20), lines.recv()).await.unwrap().unwrap();
        let (id, data) = (next().await, next().await);
        assert!(data.len() < 2048, "{data}");
        let id: u64 = id.strip_prefix("id: ").unwrap().parse().unwrap();
        (id, serde_json::from_str::<Value>(data.strip_prefix("data: ").unwrap()).unwrap())
    };
    let (first, state) = event().await;
    assert_eq!((&state["printer"], &state["tools"][0]["actual_c"]), (&json!("bench"), &json!(31.0)));
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    let mut warm = reading(805);
    warm.tools[0] = heater(35.5, 0.0);
    // As long as a host can make it.
    warm.job.name = Some(Arc::from("lantern".repeat(400)));
    let done = pipeline.read(warm);
    let printer = PrinterName::new("bench").unwrap();
    store.commit(Commit { printer, effects: done.effects, alarms: done.alarms, notices: false }).unwrap();
    let (second, state) = event().await;
    assert!(second > first && state["tools"][0]["actual_c"] == json!(35.5), "{state}");
    assert!(state["job"]["state"].is_string() && state["job"].get("name").is_none(), "{state}");
    stop.send(()).unwrap();
    tokio::time::timeout(Duration::from_secs(5), served).await.unwrap().unwrap();
    reader.join().unwrap();
}

#[tokio::test]
async fn a_word_is_taken_back_by_what_names_it_and_by_nothing_else() {
    let (_folder, site) = site(801);
    let jam = r#"{"tool": 1, "mode": "jam"}"#;
    let said = answered(&site, post("/api/prints/1/outcome", "application/json", None, jam)).await;
    let print: Value = serde_json::from_str(&said.text).unwrap();
    let at = print["outcomes"][0]["at"].clone();
    let stands = || site.store.reader().unwrap().outcomes(1).unwrap()[0].undone.is_none();
    for (word, expected) in [
        (json!({"mode": "jam", "said": at}), 404),
        (json!({"tool": 1, "mode": "jam", "said": "yesterday"}), 422),
        (json!({"tool": 1, "mode": "jam"}), 422),
        (json!({"tool": 1, "mode": "jam", "said": at}), 200),
    ] {
        let body = word.to_string();
        let answer = answered(&site, post("/api/prints/1/undo", "application/json", None, &body)).await;
        assert_eq!((answer.status.as_u16(), stands()), (expected, expected != 200), "{word}: {}", answer.text);
    }
}
