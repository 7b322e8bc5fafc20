//! Part changes are recorded on *Parts*: as they were said, in the person's own time; what is not understood is told.

use super::{answered, at, site};
use crate::entry::{Part, PartEvent, PartReason};
use crate::study::{Known, Learning, Liners, Worked, advice};
use crate::web::Site;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use jiff::tz::TimeZone;
use std::sync::Arc;
use tokio::sync::watch;

const LINER: &str = "printer=bench&tool=1&part=liner&event=fitted&reason=failed&note=the+white+one&at=";

fn page(path: &str) -> Request<Body> {
    Request::get(path).header("host", "localhost:7870").body(Body::empty()).unwrap()
}

fn posted(token: &str, fields: &str) -> Request<Body> {
    let request = Request::post("/parts").header("host", "localhost:7870");
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    request.body(Body::from(format!("token={token}&{fields}"))).unwrap()
}

/// The same site, its record gone through as it is now.
fn worked(site: Site) -> Site {
    let (reader, materials) = (site.store.reader().unwrap(), Materials::default());
    let known = Known::of(&reader, &materials, Some(Learning::default())).unwrap();
    let advice = advice(&reader, &materials, &known, &Liners::default()).unwrap();
    let worked = Worked::of([&reader, &reader], &materials, known, advice, at(801)).unwrap();
    site.told(watch::channel(Some(Arc::new(worked))).1)
}

#[tokio::test]
async fn a_change_is_recorded_as_it_was_said_and_shows_at_once() {
    let (_folder, site) = site(801);
    let site = worked(site);
    let answer = answered(&site, posted(&site.token, LINER)).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    let rows = site.store.reader().unwrap().parts(None).unwrap();
    let change = &rows[0].change;
    assert_eq!((rows.len(), change.tool.idx(), change.part, change.event), (1, 1, Part::Liner, PartEvent::Fitted));
    assert_eq!((change.reason, change.note.as_deref()), (Some(PartReason::Failed), Some("the white one")));
    assert!((change.at - at(801)).get().abs() < 5.0, "without a time it is now");
    let shown = answered(&site, page(&answer.location.unwrap())).await;
    assert!(shown.text.contains("Recorded: bench T1, liner fitted, Mon 2 Mar 2026, 08:13"), "{}", shown.text);
    assert!(shown.text.contains("is being worked out. <a href=\"/parts\">Look again</a>"), "{}", shown.text);
    assert!(shown.text.contains("the white one"), "{}", shown.text);
    assert_eq!(shown.refresh, None, "it would take away what is typed into the form");
    let later = worked(site);
    let shown = answered(&later, page("/parts")).await;
    assert!(shown.text.contains("<dt>Wear</dt><dd>0 h</dd>") && !shown.text.contains("Look again"), "{}", shown.text);
}

#[tokio::test]
async fn what_is_removed_is_in_use_no_more_at_once_and_its_life_is_told_once_it_is_known() {
    let (_folder, site) = site(801);
    let fitted = LINER.replace("&at=", "&at=2026-03-02T08:00:00Z");
    assert_eq!(answered(&site, posted(&site.token, &fitted)).await.status, StatusCode::SEE_OTHER);
    let site = worked(site);
    assert!(answered(&site, page("/parts")).await.text.contains("id=\"tool-0-1-liner\""));
    let removed = LINER.replace("fitted", "removed");
    assert_eq!(answered(&site, posted(&site.token, &removed)).await.status, StatusCode::SEE_OTHER);
    let shown = answered(&site, page("/parts")).await.text;
    assert!(!shown.contains("id=\"tool-0-1-liner\"") && shown.contains("Liner removed"), "{shown}");
    let shown = answered(&worked(site), page("/parts")).await.text;
    assert!(shown.contains("liner failed after 0.2 h hot"), "{shown}");
}

#[tokio::test]
async fn a_time_that_is_typed_in_is_on_the_clock_of_the_pages() {
    let (_folder, mut site) = site(801);
    site.zone = TimeZone::get("Europe/Berlin").unwrap();
    let typed = LINER.replace("&at=", "&at=2026-02-28T22:30");
    assert_eq!(answered(&site, posted(&site.token, &typed)).await.status, StatusCode::SEE_OTHER);
    let rows = site.store.reader().unwrap().parts(None).unwrap();
    // 2026-02-28T21:30:00Z.
    assert_eq!(rows[0].change.at, Timestamp::from_ms(1_772_314_200_000));
}

#[tokio::test]
async fn what_comes_from_elsewhere_is_not_recorded() {
    let (_folder, site) = site(801);
    for token in ["", "0123456789abcdef0123456789abcdef"] {
        assert_eq!(answered(&site, posted(token, LINER)).await.status, StatusCode::FORBIDDEN);
    }
    let mut foreign = posted(&site.token, LINER);
    foreign.headers_mut().insert("origin", "http://elsewhere.example".parse().unwrap());
    assert_eq!(answered(&site, foreign).await.status, StatusCode::FORBIDDEN);
    assert!(site.store.reader().unwrap().parts(None).unwrap().is_empty());
}

#[tokio::test]
async fn what_can_not_be_right_is_told_beside_what_was_typed_and_not_recorded() {
    let (_folder, site) = site(801);
    let ahead = crate::stamp::write(at(801) + Seconds::minutes(5.0));
    for (of, to, says) in [
        ("tool=1", "tool=2", "tool 2: <code>bench</code> has no such tool; 0 to 1 would be right"),
        ("tool=1", "tool=one", "the tool is &quot;one&quot;, no number from 0 on"),
        ("printer=bench", "printer=attic", "the record has no printer &quot;attic&quot;"),
        ("part=liner", "part=belt", "the part is &quot;belt&quot;; one of &quot;liner&quot;, &quot;nozzle&quot;"),
        ("event=fitted", "event=lost", "the event is &quot;lost&quot;; one of &quot;fitted&quot;, &quot;removed&quot;"),
        ("reason=failed", "reason=fun", "the reason is &quot;fun&quot;; one of &quot;failed&quot;"),
        ("&at=", &format!("&at={ahead}"), "the time is Mon 2 Mar 2026, 08:18, which is still to come"),
        ("&at=", "&at=yesterday", "a day and time such as 2026-03-02T08:00 would be right"),
        ("&at=", "&at=1996-03-02T08:00", "more than twenty years ago"),
        ("the+white+one", &"x".repeat(501), "the note is longer than 500 characters"),
    ] {
        let answer = answered(&site, posted(&site.token, &LINER.replace(of, to))).await;
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{to}");
        assert!(answer.text.contains(says), "{says}: {}", answer.text);
    }
    assert!(site.store.reader().unwrap().parts(None).unwrap().is_empty());
    let typed = answered(&site, posted(&site.token, &LINER.replace("&at=", "&at=yesterday"))).await.text;
    assert!(typed.contains("value=\"the white one\"") && typed.contains("open>"), "{typed}");
}

#[tokio::test]
async fn the_same_minute_again_is_told_and_what_was_said_first_stands() {
    let (_folder, site) = site(801);
    let typed = LINER.replace("&at=", "&at=2026-03-02T08:01:00Z");
    assert_eq!(answered(&site, posted(&site.token, &typed)).await.status, StatusCode::SEE_OTHER);
    let again = answered(&site, posted(&site.token, &typed.replace("failed", "preventive"))).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.text.contains("has that part as fitted on Mon 2 Mar 2026, 08:01"), "{}", again.text);
    let rows = site.store.reader().unwrap().parts(None).unwrap();
    assert_eq!((rows.len(), rows[0].change.reason), (1, Some(PartReason::Failed)));
}

#[tokio::test]
async fn a_second_tap_is_told_and_records_no_second_part() {
    let (_folder, site) = site(801);
    assert_eq!(answered(&site, posted(&site.token, LINER)).await.status, StatusCode::SEE_OTHER);
    let again = answered(&site, posted(&site.token, LINER)).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.text.contains("it is recorded already"), "{}", again.text);
    assert_eq!(site.store.reader().unwrap().parts(None).unwrap().len(), 1);
    // A part that is taken out and put in again within the minute is no second tap, nor is one of another tool.
    for other in [LINER.replace("fitted", "removed"), LINER.to_owned(), LINER.replace("tool=1", "tool=0")] {
        assert_eq!(answered(&site, posted(&site.token, &other)).await.status, StatusCode::SEE_OTHER, "{other}");
    }
    assert_eq!(site.store.reader().unwrap().parts(None).unwrap().len(), 4);
}

#[tokio::test]
async fn a_part_that_is_removed_and_was_never_told_to_be_fitted_has_no_life_and_says_so() {
    let never = "its life can&#39;t be counted";
    for (fitted, says) in [(None, true), (Some(LINER.replace("&at=", "&at=2026-03-02T08:00:00Z")), false)] {
        let (_folder, site) = site(801);
        if let Some(fitted) = fitted {
            assert_eq!(answered(&site, posted(&site.token, &fitted)).await.status, StatusCode::SEE_OTHER);
        }
        let removed = answered(&site, posted(&site.token, &LINER.replace("fitted", "removed"))).await;
        let shown = answered(&site, page(&removed.location.unwrap())).await.text;
        assert!(shown.contains("Recorded: bench T1, liner removed"), "{shown}");
        assert_eq!(shown.replace("can't", "can&#39;t").contains(never), says, "{shown}");
    }
}
