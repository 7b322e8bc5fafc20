//! Prints over a real record: one tap, its undo, what is looked for, and the part that is shown.

use super::{ask, at, form, site};
use crate::clock::Clock;
use crate::entry::Mode;
use crate::store::{Store, in_force};
use crate::web::Site;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use jiff::tz::TimeZone;
use std::sync::Arc;

/// The same record again, later: a site answers one request of a test.
fn again(store: &Store, now: u32) -> Site {
    let clock = Arc::new(Clock::rehearsal(at(now), 1.001));
    Site::new(store.clone(), Vec::new(), TimeZone::UTC, clock, false)
}

async fn open(site: Site, path: &str) -> (StatusCode, String) {
    ask(site, Request::get(path).header("host", "localhost:7870").body(Body::empty()).unwrap()).await
}

async fn say(site: Site, fields: &str) -> StatusCode {
    let body = format!("token={}&{fields}", site.token);
    ask(site, form(body)).await.0
}

async fn undo(site: Site, fields: &str) -> StatusCode {
    let request = Request::post("/prints/1/undo").header("host", "localhost:7870");
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    let body = Body::from(format!("token={}&{fields}", site.token));
    ask(site, request.body(body).unwrap()).await.0
}

fn stands(store: &Store) -> Vec<Mode> {
    in_force(&store.reader().unwrap().outcomes(1).unwrap()).iter().map(|row| row.mode).collect()
}

/// The value of a hidden field in the form that takes the newest word back.
fn field(page: &str, name: &str) -> String {
    let (_, form) = page.split_once("action=\"/prints/1/undo\"").unwrap();
    let (_, value) = form.split_once(&format!("name=\"{name}\" value=\"")).unwrap();
    value.split_once('"').unwrap().0.to_owned()
}

#[tokio::test]
async fn one_tap_says_it_two_say_it_once_and_undo_brings_back_what_stood() {
    let (_folder, site) = site(801);
    let store = site.store.clone();
    assert_eq!(say(site, "what=1:jam&severity=2&note=").await, StatusCode::SEE_OTHER);
    for now in [802, 803] {
        assert_eq!(say(again(&store, now), "what=all:clean").await, StatusCode::SEE_OTHER);
    }
    assert_eq!((stands(&store), store.reader().unwrap().outcomes(1).unwrap().len()), (vec![Mode::Clean], 2));

    let (_, page) = open(again(&store, 804), "/prints/1?done=reported").await;
    assert!(page.contains("Recorded. <strong>Whole print: clean</strong>"), "{page}");
    let taken = format!("what={}&said={}", field(&page, "what"), field(&page, "said").replace(':', "%3A"));
    for now in [805, 806] {
        assert_eq!(undo(again(&store, now), &taken).await, StatusCode::SEE_OTHER);
    }
    assert_eq!(stands(&store), [Mode::Jam]);
    let (_, page) = open(again(&store, 807), "/prints/1?done=undone").await;
    assert!(page.contains("Taken back. what stands now is <strong>T1: jam, 2 serious</strong>"), "{page}");
    let words: Vec<&str> = page.split("class=\"told\"").skip(1).collect();
    assert!(words.len() == 2 && words[0].contains("taken back") && words[1].contains("stands"), "{words:?}");
    // What stood is said with the time at which it was replaced no more, since nothing replaces it now.
    assert!(!page.contains("replaced by a later word"), "{page}");
}

#[tokio::test]
async fn an_undo_without_the_token_or_of_what_nobody_said_changes_nothing() {
    let (_folder, site) = site(801);
    let store = site.store.clone();
    assert_eq!(say(site, "what=all:clean").await, StatusCode::SEE_OTHER);
    let said = store.reader().unwrap().outcomes(1).unwrap()[0].at;
    let said = crate::stamp::write(said).replace(':', "%3A");
    let request = Request::post("/prints/1/undo").header("host", "localhost:7870");
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    let body = Body::from(format!("token=guessed&what=all:clean&said={said}"));
    assert_eq!(ask(again(&store, 802), request.body(body).unwrap()).await.0, StatusCode::FORBIDDEN);
    assert_eq!(undo(again(&store, 803), &format!("what=1:jam&said={said}")).await, StatusCode::NOT_FOUND);
    assert_eq!(undo(again(&store, 804), "what=all:clean&said=lately").await, StatusCode::BAD_REQUEST);
    assert_eq!(stands(&store), [Mode::Clean]);
}

#[tokio::test]
async fn a_print_that_nobody_spoke_of_waits_in_the_strip_until_somebody_does() {
    let (_folder, site) = site(801);
    let store = site.store.clone();
    let (_, page) = open(site, "/prints").await;
    let strip = page.split_once("How did it go?").unwrap().1;
    assert!(strip.contains("how 1 print came out") && strip.contains("value=\"all:clean\""), "{strip}");
    assert!(strip.contains("name=\"what\" value=\"1:under_extrusion\""), "{strip}");
    assert_eq!(say(again(&store, 802), "what=all:clean&back=list").await, StatusCode::SEE_OTHER);
    let (_, page) = open(again(&store, 803), "/prints?reported=1").await;
    assert!(!page.contains("How did it go?") && page.contains("action=\"/prints/1/undo\""), "{page}");
    // Taken back, it waits again.
    let taken = format!("what=all:clean&back=list&said={}", field(&page, "said").replace(':', "%3A"));
    assert_eq!(undo(again(&store, 804), &taken).await, StatusCode::SEE_OTHER);
    let (_, page) = open(again(&store, 805), "/prints?undone=1").await;
    assert!(page.contains("How did it go?") && page.contains("nothing stands now"), "{page}");
}

#[tokio::test]
async fn what_is_looked_for_is_found_and_what_can_not_be_looked_for_is_told_what_is_right() {
    for (path, status, told) in [
        ("/prints?said=none&end=completed&name=LANTERN&printer=bench", StatusCode::OK, "1 print</p>"),
        ("/prints?from=2026-03-02&to=2026-03-02", StatusCode::OK, "1 print</p>"),
        ("/prints?from=2026-03-03", StatusCode::OK, "None of 1 print is like that"),
        ("/prints?said=jam", StatusCode::OK, "None of 1 print"),
        ("/prints?said=", StatusCode::OK, "1 print</p>"),
        ("/prints?said=fire", StatusCode::BAD_REQUEST, "none, failure, clean, jam"),
        ("/prints?end=melted", StatusCode::BAD_REQUEST, "completed, cancelled, failed or unknown"),
        ("/prints?printer=gull", StatusCode::BAD_REQUEST, "not &quot;bench&quot;"),
        ("/prints?from=2026-02-30", StatusCode::BAD_REQUEST, "a day such as 2026-03-02"),
        ("/prints?from=2026-03-02&to=2026-03-01", StatusCode::BAD_REQUEST, "or a later one"),
        ("/prints?page=0", StatusCode::BAD_REQUEST, "a number from 1"),
        ("/prints?colour=red", StatusCode::BAD_REQUEST, "one of printer, end"),
    ] {
        let (_folder, site) = site(801);
        let (got, page) = open(site, path).await;
        assert!(got == status && page.contains(told), "{path}: {got} {page}");
    }
}

#[tokio::test]
async fn a_part_of_a_print_is_shown_as_it_was_asked_and_only_what_lies_inside() {
    for (query, status, told) in [
        ("", StatusCode::OK, "to Mon 2 Mar 2026, 08:11, 12 min"),
        ("?from=2026-03-02T08:02:00Z&to=2026-03-02T08:04:00Z", StatusCode::OK, "08:02 to Mon 2 Mar 2026, 08:04, 2 min"),
        ("?from=2026-03-01T08:02:00Z&to=2026-03-02T08:04:00Z", StatusCode::OK, "08:00 to Mon 2 Mar 2026, 08:04, 4 min"),
        ("?from=2026-03-05T08:02:00Z", StatusCode::BAD_REQUEST, "which runs from 2026-03-02T08:00:00Z"),
        ("?from=2026-03-02T08:04:00Z&to=2026-03-02T08:02:00Z", StatusCode::BAD_REQUEST, "an instant after from"),
        ("?from=soon", StatusCode::BAD_REQUEST, "an instant such as"),
        ("?near=2", StatusCode::BAD_REQUEST, "one of from, to, done"),
    ] {
        let (_folder, site) = site(801);
        let (got, page) = open(site, &format!("/prints/1{query}")).await;
        assert!(got == status && page.contains(told), "{query}: {got} {page}");
    }
}

#[tokio::test]
async fn a_word_of_a_tool_that_the_printer_does_not_have_is_told_which_are_right_and_not_recorded() {
    for (what, status) in [("7:jam", StatusCode::BAD_REQUEST), ("1:jam", StatusCode::SEE_OTHER)] {
        let (_folder, site) = site(801);
        let store = site.store.clone();
        let body = format!("token={}&what={what}&severity=2", site.token);
        let (found, page) = ask(site, form(body)).await;
        assert_eq!(found, status, "{what}: {page}");
        let is_told = page.contains("has no such tool; 0 to 1 would be right");
        assert_eq!(is_told, status == StatusCode::BAD_REQUEST, "{what}: {page}");
        assert_eq!(stands(&store).len(), usize::from(status == StatusCode::SEE_OTHER), "{what}");
    }
}

#[tokio::test]
async fn a_form_that_lacks_or_doubles_what_is_said_is_told_what_would_be_right_in_our_own_words() {
    for (fields, says) in
        [("severity=2", "a tool and a mode such as"), ("what=1:jam&what=1:jam", "each of its fields once")]
    {
        let (_folder, site) = site(801);
        let body = format!("token={}&{fields}", site.token);
        let (status, page) = ask(site, form(body)).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{page}");
        assert!(page.contains(says) && !page.contains("deserialize"), "{says}: {page}");
    }
}
