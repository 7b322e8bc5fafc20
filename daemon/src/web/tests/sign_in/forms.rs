//! What acts: the token that every form carries, whose bodies are taken and how many at a time.

use super::*;
use axum::body::Bytes;
use futures_util::{StreamExt, stream};
use std::convert::Infallible;
use written::posts;

/// Every address that a form may be sent to, as the routes' own source has them.
mod written {
    use std::fs;
    use std::path::Path;

    fn sources(folder: &Path, found: &mut Vec<String>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() && !path.ends_with("tests") {
                sources(&path, found);
            } else if path.extension().is_some_and(|kind| kind == "rs") && !path.ends_with("tests.rs") {
                found.push(fs::read_to_string(path).unwrap());
            }
        }
    }

    /// The literal paths of `.route("…", … post(…`.
    pub(super) fn posts() -> Vec<String> {
        let mut found = Vec::new();
        sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web"), &mut found);
        let routes = found.iter().flat_map(|source| source.split(".route(").skip(1));
        let posts = routes.filter(|route| route.split(".route(").next().is_some_and(|own| own.contains("post(")));
        posts.filter_map(|route| route.trim_start().strip_prefix('"')?.split('"').next().map(str::to_owned)).collect()
    }
}

fn concrete(path: &str) -> String {
    path.split('/').map(|part| if part.starts_with('{') { "1" } else { part }).collect::<Vec<_>>().join("/")
}

#[tokio::test]
async fn no_form_is_taken_without_the_token_whatever_its_address() {
    let open = Open::new(access());
    let cookie = open.signed_in().await;
    let mut paths: Vec<_> = posts().iter().map(|path| concrete(path)).collect();
    for known in ["/prints/1/outcome", "/alarms/1/1", "/alarms/returned/acknowledge", "/preflight"] {
        assert!(paths.iter().any(|path| path == known), "{known} is not among {paths:?}");
    }
    paths.extend(["/sign-out", "/nothing-here", "/prints", "/changes/x/adopt"].map(str::to_owned));
    // Its signature is its token, and it is no one's session.
    paths.retain(|path| !path.starts_with("/alarms/link/"));
    let local = ("host", "localhost:7870");
    for path in paths {
        for body in ["", "token=", "token=0123456789abcdef0123456789abcdef", "to=ken", "token=a&token=b"] {
            let far = open.post(FAR, &path, &[("cookie", &cookie)], body).await;
            assert_eq!(far.status, StatusCode::FORBIDDEN, "{path} {body} by a session");
            let near = open.post(NEAR, &path, &[local], body).await;
            assert_eq!(near.status, StatusCode::FORBIDDEN, "{path} {body} from here");
        }
        let twice = format!("token={0}&token={0}", open.site.token);
        assert_eq!(open.post(NEAR, &path, &[local], &twice).await.status, StatusCode::FORBIDDEN, "{path}");
        let (body, plain) = (format!("token={}", open.site.token), [local, ("content-type", "text/plain")]);
        let other = open.post(NEAR, &path, &plain, &body).await.status;
        assert_eq!(other, StatusCode::UNSUPPORTED_MEDIA_TYPE, "{path}");
        let right = open.post(NEAR, &path, &[local], &body).await.status;
        assert!(right != StatusCode::FORBIDDEN && right != StatusCode::UNSUPPORTED_MEDIA_TYPE, "{path}: {right}");
    }
}

#[tokio::test]
async fn a_form_of_another_site_or_another_port_is_not_taken_even_with_token_and_session() {
    let open = Open::new(access());
    let cookie = open.signed_in().await;
    let body = format!("token={}&what=all:clean", open.site.token);
    let send = async |more: (&str, &str)| {
        let fields = [("cookie", cookie.as_str()), more];
        open.post(FAR, "/prints/1/outcome", &fields, &body).await.status
    };
    for foreign in [
        ("origin", "http://elsewhere.example"),
        ("origin", "http://192.0.2.2:8080"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        assert_eq!(send(foreign).await, StatusCode::FORBIDDEN, "{foreign:?}");
    }
    assert!(open.site.store.reader().unwrap().outcomes(1).unwrap().is_empty());
    assert_eq!(send(("origin", "http://192.0.2.2:7870")).await, StatusCode::SEE_OTHER);
    assert_eq!(open.site.store.reader().unwrap().outcomes(1).unwrap().len(), 1);
}

#[tokio::test]
async fn what_was_sent_after_a_session_ended_is_not_taken_and_that_is_said() {
    let open = Open::new(access());
    let body = format!("token={}&what=all:clean", open.site.token);
    let answer = open.post(FAR, "/prints/1/outcome", &[], &body).await;
    assert_eq!(answer.status, StatusCode::UNAUTHORIZED);
    assert!(answer.text.contains("Nothing of what you sent was taken") && answer.text.contains("type=\"password\""));
    assert!(open.site.store.reader().unwrap().outcomes(1).unwrap().is_empty());
}

#[tokio::test]
async fn json_is_taken_where_programs_ask_and_from_no_other_site() {
    let open = Open::new(access());
    let shown = format!("Bearer {TOKEN}");
    let json = ("content-type", "application/json; charset=utf-8");
    let send = async |path: &str, fields: &[(&str, &str)]| open.post(FAR, path, fields, "{}").await.status;
    let bearer = ("authorization", shown.as_str());
    assert_eq!(send("/api/nothing-here", &[json, bearer]).await, StatusCode::NOT_FOUND);
    assert_eq!(send("/api/nothing-here", &[json]).await, StatusCode::UNAUTHORIZED);
    let cookie = open.signed_in().await;
    let session = ("cookie", cookie.as_str());
    assert_eq!(send("/api/nothing-here", &[json, session]).await, StatusCode::NOT_FOUND);
    let foreign = ("origin", "http://elsewhere.example");
    assert_eq!(send("/api/nothing-here", &[json, session, foreign]).await, StatusCode::FORBIDDEN);
    assert_eq!(send("/prints/1/outcome", &[json, session]).await, StatusCode::UNSUPPORTED_MEDIA_TYPE);
    // What a form of another site could send without a word of the browser's is no JSON.
    for kind in ["", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=q7w"] {
        let fields = [("content-type", kind), ("accept", "application/json"), session];
        let status = send("/api/prints/1/outcome", &fields).await;
        assert_eq!(status, StatusCode::UNSUPPORTED_MEDIA_TYPE, "{kind}");
    }
}

#[tokio::test]
async fn links_in_messages_work_without_a_sign_in() {
    let open = Open::new(access());
    let answer = open.get(FAR, "/alarms/link/a.b", &[]).await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
    assert!(answer.text.contains("No links here"), "{}", answer.text);
    assert_eq!(open.post(FAR, "/alarms/link/a.b", &[], "").await.status, StatusCode::NOT_FOUND);
}

/// A form with a file that comes as it is sent.
async fn upload(
    open: Arc<Open>,
    rest: impl futures_util::Stream<Item = Result<Bytes, Infallible>> + Send + 'static,
) -> Answer {
    let part = |head: &str| format!("--q7w\r\ncontent-disposition: form-data; {head}\r\n\r\n");
    let token = format!("{}{}\r\n", part("name=\"token\""), open.site.token);
    let head = token + &part("name=\"file\"; filename=\"lantern.gcode\"");
    let fields = [("host", "localhost:7870"), ("content-type", "multipart/form-data; boundary=q7w")];
    let (request, _) = asked("POST", "/preflight", &fields, "").into_parts();
    let body = Body::from_stream(stream::iter([Ok(Bytes::from(head))]).chain(rest));
    open.ask(NEAR, Request::from_parts(request, body)).await
}

// Tokio's clock stands still while a thread waits for the disk, so the turns are taken here and not by two uploads.
#[tokio::test(start_paused = true)]
async fn an_upload_that_finds_no_turn_is_told_to_come_again() {
    let open = Arc::new(Open::new(access()));
    let turns = open.site.uploads.try_acquire_many(2).unwrap();
    let answers = futures_util::future::join_all((0..20).map(|_| upload(Arc::clone(&open), stream::pending()))).await;
    for answer in answers {
        assert_eq!(answer.status, StatusCode::SERVICE_UNAVAILABLE);
        assert!(answer.text.contains("2 files are being read just now"), "{}", answer.text);
    }
    drop(turns);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_upload_has_its_turn_until_it_has_come_and_pages_stay_open_meanwhile() {
    let open = Arc::new(Open::new(access()));
    let (pieces, arrive) = tokio::sync::mpsc::channel::<Bytes>(1);
    let rest = stream::unfold(arrive, |mut arrive| async { Some((Ok(arrive.recv().await?), arrive)) });
    let sent = tokio::spawn(upload(Arc::clone(&open), rest));
    pieces.send(Bytes::from("G1 X1 Y1 E1\n")).await.unwrap();
    pieces.send(Bytes::from("G1 X2 Y1 E2\n")).await.unwrap();
    pieces.send(Bytes::from("G1 X3 Y1 E3\n")).await.unwrap();
    // What is taken off the channel may wait for its turn still.
    let has_turn = async {
        while open.site.uploads.available_permits() != 1 {
            tokio::time::sleep(std::time::Duration::from_millis(5)).await;
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(20), has_turn).await.unwrap();
    assert_eq!(open.get(NEAR, "/", &[("host", "localhost")]).await.status, StatusCode::OK);
    pieces.send(Bytes::from("\r\n--q7w--\r\n")).await.unwrap();
    drop(pieces);
    let answer = sent.await.unwrap();
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text);
    assert_eq!(open.site.uploads.available_permits(), 2);
}
