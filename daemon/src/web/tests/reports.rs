//! *Reports* over a real record: the archive, any period, what is refused, and what is said before anything is worked out.

use super::{ask, at, reading, site};
use crate::entry::{HotEnd, PrinterName, Reading, Settings};
use crate::pipeline::Pipeline;
use crate::store::{Commit, Store};
use crate::study::{Known, Liners, Worked, archive};
use crate::web::Site;
use crate::web::server::{Live, router};
use axum::body::Body;
use axum::http::{HeaderMap, Request, StatusCode};
use dwell_analysis::polymer::Materials;
use dwell_analysis::units::Seconds;
use dwell_dashboards::week::IsoWeek;
use jiff::tz::TimeZone;
use serde_json::Value;
use std::sync::Arc;
use tokio::sync::watch;
use tower::ServiceExt;

fn get(path: &str) -> Request<Body> {
    Request::get(path).header("host", "localhost:7870").body(Body::empty()).unwrap()
}

/// The site at 800 s, told of what was worked out of its record.
fn worked() -> (tempfile::TempDir, Site) {
    let (folder, site) = site(800);
    let reader = site.store.reader().unwrap();
    let known = Known::of(&reader, &Materials::default(), None).unwrap();
    let worked = Worked::anew(&reader, &Materials::default(), known, &Liners::default(), at(800)).unwrap();
    (folder, site.told(watch::channel(Some(Arc::new(worked))).1))
}

async fn headers(site: Site, path: &str) -> (StatusCode, HeaderMap) {
    let (_close, closing) = watch::channel(false);
    let response = router(Live { site: Arc::new(site), closing }).oneshot(get(path)).await.unwrap();
    (response.status(), response.headers().clone())
}

#[tokio::test]
async fn the_archive_lists_the_weeks_that_have_a_reading_and_no_other() {
    let (_folder, site) = worked();
    let (status, page) = ask(site, get("/reports")).await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("href=\"/reports/2026-W10\""), "{page}");
    assert!(!page.contains("2026-W09") && !page.contains("2026-W11"), "{page}");
    let row = page.split_once("2 March to 8 March 2026").unwrap().1.split_once("</tr>").unwrap().0;
    let numbers: Vec<&str> = row.split("<td>").skip(1).map(|cell| cell.split('<').next().unwrap()).collect();
    assert_eq!(numbers, ["1", "0", "1"], "one print, none failed, nobody said how it came out");
}

#[tokio::test]
async fn days_that_are_asked_for_have_an_address_of_their_own_and_wrong_ones_are_told_what_is_right() {
    let (_folder, site) = worked();
    let (status, headers) = headers(site, "/reports?from=2026-03-01&to=2026-03-31").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert_eq!(headers["location"], "/reports/2026-03-01..2026-03-31");
    for (query, says) in [
        ("from=2026-03-31&to=2026-03-01".to_owned(), "earlier"),
        ("from=2026-02-30&to=2026-03-01".to_owned(), "no day of the calendar"),
        ("from=2020-01-01&to=2026-03-01".to_owned(), "up to 400 would be right"),
        ("from=2026-03-01".to_owned(), "no day of the calendar"),
    ] {
        let (_folder, site) = worked();
        let (status, page) = ask(site, get(&format!("/reports?{query}"))).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{query}");
        assert!(page.contains(says) && page.contains("role=\"alert\""), "{query}: {page}");
    }
}

#[tokio::test]
async fn a_week_and_any_days_are_pages_of_the_site_under_its_strict_policy() {
    for path in ["/reports/2026-W10", "/reports/2026-02-20..2026-03-02"] {
        let (_folder, site) = worked();
        let (status, headers) = headers(site, path).await;
        assert_eq!(status, StatusCode::OK);
        assert!(!headers["content-security-policy"].to_str().unwrap().contains("unsafe"), "{headers:?}");
        let (_folder, site) = worked();
        let (_, page) = ask(site, get(path)).await;
        assert!(page.contains("aria-label=\"Pages\"") && page.contains("1 print began: 1 completed."), "{page}");
        assert!(!page.contains("<style") && !page.contains(" style="), "{page}");
    }
    for path in ["/reports/2026-W54", "/reports/yesterday", "/reports/2026-03-31..2026-03-01"] {
        let (_folder, site) = worked();
        assert_eq!(ask(site, get(path)).await.0, StatusCode::NOT_FOUND, "{path}");
    }
}

#[tokio::test]
async fn before_anything_is_worked_out_the_page_says_so_and_asks_again_by_itself() {
    let (_folder, site) = site(800);
    let (status, headers) = headers(site, "/reports/2026-W10").await;
    assert_eq!((status, headers["refresh"].to_str().unwrap()), (StatusCode::OK, "5"));
    let (_folder, site) = super::site(800);
    let (_, page) = ask(site, get("/reports/2026-W10")).await;
    assert!(page.contains("is being worked out") && !page.contains("What failed"), "{page}");
}

#[tokio::test]
async fn programs_are_given_a_report_of_any_days_with_every_name_that_the_document_has() {
    let (_folder, site) = worked();
    let (_, document) = ask(site, get("/api/openapi.json")).await;
    let document: Value = serde_json::from_str(&document).unwrap();
    let required = document["components"]["schemas"]["Report"]["required"].as_array().unwrap();
    let mut named: Vec<&str> = required.iter().map(|name| name.as_str().unwrap()).collect();
    named.sort_unstable();
    for period in ["2026-W10", "2026-03-01..2026-03-31"] {
        let (_folder, site) = worked();
        let (status, body) = ask(site, get(&format!("/api/reports/{period}"))).await;
        assert_eq!(status, StatusCode::OK, "{body}");
        let report: Value = serde_json::from_str(&body).unwrap();
        let mut told: Vec<&str> = report.as_object().unwrap().keys().map(String::as_str).collect();
        told.sort_unstable();
        assert_eq!((told, &report["period"]), (named.clone(), &Value::from(period)));
    }
}

#[test]
fn every_week_with_a_reading_is_listed_once_a_year_at_a_time() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("bench.db")).unwrap();
    let printer = PrinterName::new("bench").unwrap();
    store.ensure_printer(&printer, HotEnd::Separate, 2).unwrap();
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    let three_years = Seconds::new(3.0 * 365.0 * 86_400.0);
    for reading in [Reading { at: at(1) - three_years, ..reading(1) }, reading(801)] {
        let step = pipeline.read(reading);
        let commit = Commit { printer: printer.clone(), effects: step.effects, alarms: step.alarms, notices: false };
        store.commit(commit).unwrap();
    }
    store.flush().unwrap();
    let (mut pages, mut next) = (Vec::new(), Some(IsoWeek::parse("2026-W10").unwrap()));
    while let Some(newest) = next {
        let (weeks, earlier) = archive(&store.reader().unwrap(), &TimeZone::UTC, newest).unwrap();
        assert!(earlier.is_none_or(|earlier| earlier < newest));
        pages.push(weeks.iter().map(|row| row.week.to_string()).collect::<Vec<_>>());
        next = earlier;
    }
    assert_eq!(pages, [vec!["2026-W10"], vec![], vec!["2023-W09"]]);
}
