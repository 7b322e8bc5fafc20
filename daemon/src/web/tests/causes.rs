//! The pages of *Causes* over a real record.

use super::{Live, ask, at, router, site};
use crate::entry::{Mode, Outcome, PrinterName};
use crate::study::{Known, Learning, Liners, Worked, advice};
use crate::web::Site;
use axum::body::Body;
use axum::http::header::REFRESH;
use axum::http::{Request, StatusCode};
use jiff::tz::TimeZone;
use std::sync::Arc;
use tokio::sync::watch;
use tower::ServiceExt;

fn get(path: &str) -> Request<Body> {
    Request::get(path).header("host", "localhost:7870").body(Body::empty()).unwrap()
}

/// The site with all worked out as of now.
fn told(site: Site) -> Site {
    let reader = site.store.reader().unwrap();
    let known = Known::of(&reader, &site.materials, Some(Learning::default())).unwrap();
    let advised = advice(&reader, &site.materials, &known, &Liners::new()).unwrap();
    let worked = Worked::of([&reader, &reader], &site.materials, known, advised, at(900)).unwrap();
    site.told(watch::channel(Some(Arc::new(worked))).1)
}

fn say(site: &Site, seconds: u32, mode: Mode) {
    let (job, started) = ("lantern.gcode".into(), at(0));
    let outcome = Outcome { at: at(seconds), job, started, tool: None, mode, severity: None, note: None };
    site.store.record_outcome(&PrinterName::new("bench").unwrap(), &outcome).unwrap();
}

#[tokio::test]
async fn until_it_is_worked_out_the_page_says_so_and_asks_again_by_itself() {
    for path in ["/causes", "/causes/jam"] {
        let (_folder, site) = site(801);
        let (_close, closing) = watch::channel(false);
        let answer = router(Live { site: Arc::new(site), closing }).oneshot(get(path)).await.unwrap();
        assert_eq!((answer.status(), answer.headers().get(REFRESH).unwrap().as_bytes()), (StatusCode::OK, &b"5"[..]));
    }
    let (_folder, site) = site(801);
    let (_close, closing) = watch::channel(false);
    let answer = router(Live { site: Arc::new(told(site)), closing }).oneshot(get("/causes")).await.unwrap();
    assert_eq!(answer.headers().get(REFRESH), None);
}

#[tokio::test]
async fn what_was_worked_out_is_shown_and_what_came_since_is_counted() {
    let (_folder, site) = site(801);
    say(&site, 750, Mode::Jam);
    let site = told(site);
    let again = || {
        let clock = Arc::clone(&site.clock);
        Site::new(site.store.clone(), Vec::new(), TimeZone::UTC, clock, false).told(site.worked.clone())
    };
    let (status, html) = ask(again(), get("/causes")).await;
    assert!(
        status == StatusCode::OK && html.contains("1 print, 2 tool-runs") && html.contains("/causes/jam"),
        "{html}"
    );
    assert!(html.contains("Worked out Mon 2 Mar 2026, 08:15.") && !html.contains("not yet in it"), "{html}");
    say(&site, 760, Mode::Clean);
    for path in ["/causes", "/causes/jam"] {
        let (_, html) = ask(again(), get(path)).await;
        assert!(html.contains("1 word on a print that came since is not yet in it"), "{html}");
    }
}

#[tokio::test]
async fn a_failure_mode_has_a_page_though_it_never_happened_and_what_is_none_has_no_page() {
    for (path, expected) in [
        ("/causes/blob", StatusCode::OK),
        ("/causes/clean", StatusCode::NOT_FOUND),
        ("/causes/fire", StatusCode::NOT_FOUND),
    ] {
        for is_told in [false, true] {
            let (_folder, site) = site(801);
            let site = if is_told { told(site) } else { site };
            assert_eq!(ask(site, get(path)).await.0, expected, "{path}, {is_told}");
        }
    }
}
