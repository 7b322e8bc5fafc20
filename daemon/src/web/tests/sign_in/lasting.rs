//! What goes on for long: bodies that drip, and feeds of a session that is over.

use super::*;
use axum::body::{BodyDataStream, Bytes};
use futures_util::stream::unfold;
use futures_util::{FutureExt, StreamExt};
use std::convert::Infallible;
use std::time::Duration;
use tokio::time::{Instant, sleep, timeout};

/// A letter each second, for ever.
fn dripping() -> Body {
    Body::from_stream(unfold((), |()| async {
        sleep(Duration::from_secs(1)).await;
        Some((Ok::<_, Infallible>(Bytes::from_static(b"x")), ()))
    }))
}

#[tokio::test(start_paused = true)]
async fn no_form_that_anybody_may_send_can_drip_for_longer_than_ten_seconds() {
    let open = Open::new(access());
    for path in ["/sign-in", "/alarms/link/made-up"] {
        let (began, mut request) = (Instant::now(), asked("POST", path, &[], ""));
        *request.body_mut() = dripping();
        assert_eq!(open.ask(FAR, request).await.status, StatusCode::REQUEST_TIMEOUT, "{path}");
        assert_eq!((Instant::now() - began).as_secs(), 10, "{path}");
    }
}

impl Open {
    /// A feed of a session, once it has begun.
    async fn feed(&self, path: &str, cookie: &str) -> BodyDataStream {
        let mut request = asked("GET", path, &[("cookie", cookie), ("accept", "text/event-stream")], "");
        request.extensions_mut().insert(Peer(FAR.parse().unwrap()));
        let response = self.routes.clone().oneshot(request).await.unwrap();
        assert_eq!(response.status(), StatusCode::OK, "{path}");
        let mut feed = response.into_body().into_data_stream();
        assert!(feed.next().await.unwrap().is_ok(), "{path}");
        feed
    }
}

/// Whether a feed ends by itself.
async fn ends(mut feed: BodyDataStream) -> bool {
    timeout(Duration::from_secs(20), async { while feed.next().await.is_some() {} }).await.is_ok()
}

#[tokio::test]
async fn a_feed_ends_with_its_session_and_no_other_does() {
    let open = Open::new(access());
    for path in ["/live", "/api/live"] {
        let (cookie, other) = (open.signed_in().await, open.signed_in().await);
        let (feed, mut goes_on) = (open.feed(path, &cookie).await, open.feed(path, &other).await);
        let body = format!("token={}", open.site.token);
        let answer = open.post(FAR, "/sign-out", &[("cookie", &cookie)], &body).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER);
        assert!(ends(feed).await, "{path}");
        let has_ended = std::iter::from_fn(|| goes_on.next().now_or_never()).any(|next| next.is_none());
        assert!(!has_ended, "{path}");
    }
}

#[tokio::test]
async fn a_feed_ends_when_the_time_of_its_session_is_over() {
    let open = Open::new(access());
    let now = open.site.clock.now().at;
    let begun = now - crate::access::SESSION_LASTS + dwell_analysis::units::Seconds::new(3.0);
    let (_, cookie) = open.site.gate.sessions().unwrap().begin(begun);
    let feed = open.feed("/live", &format!("dwellwatch_session={cookie}")).await;
    assert!(ends(feed).await);
}
