//! Suggestions are adopted and declined on *Changes*: what is recorded of it, what is refused in words, and that what a
//! person did shows at once though the record was gone through before.

use super::{answered, at, site};
use crate::store::Store;
use crate::study::{Known, Learning, Worked, keep_advice};
use crate::web::Site;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use dwell_analysis::advice::{Basis, Change, ModeEffect, RiskMove, Step, Suggestion};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{FailureMode, State};
use dwell_analysis::units::Celsius;
use dwell_dashboards::seen_as;
use dwell_dashboards::view::{AdviceView, SuggestionView};
use std::sync::Arc;
use tokio::sync::watch;

const STANDBY: &str = "bench-t1-pla-standby_c";

fn standby(to: f64) -> Change {
    Change::Standby(Step { from: Some(Celsius::new(175.0)), to: Celsius::new(to) })
}

fn suggestion(to: f64) -> SuggestionView {
    let risk = |value: f64| Estimate { value, low: 0.5 * value, high: 1.5 * value, n: 40 };
    let (now, after) = (risk(0.3), risk(0.1));
    let (mode, state) = (FailureMode::Jam, State::Learned);
    let (n, events, own_n, own_events, falls) = (40, 12, 40, 12, 0.96);
    SuggestionView {
        id: STANDBY.to_owned(),
        setting: "standby_c",
        printer: "bench".to_owned(),
        tool: 1,
        material: Some("PLA".to_owned()),
        beside: None,
        middle: None,
        meant: None,
        plan: None,
        is_adopted: false,
        suggestion: Suggestion {
            change: standby(to),
            effects: vec![ModeEffect { mode, now, after, falls, state, n, events, own_n, own_events }],
            meant: vec![mode],
            risk: Some(RiskMove { now, after, sure: falls }),
            minutes: Estimate { value: 1.0, low: 0.5, high: 1.5, n: 9 },
            gain: None,
            basis: Basis::Learned,
            rule: None,
            n_courses: 9,
            n_waits: 9,
            n_long_waits: 9,
        },
    }
}

fn say(store: &Store, suggestions: Vec<SuggestionView>) -> AdviceView {
    let advice = AdviceView { as_of: Some(at(800)), prints: 1, reported: 0, asked: Vec::new(), suggestions };
    keep_advice(store, &advice, at(800)).unwrap();
    advice
}

/// A site whose record was gone through once: it advises to wait at 155 °C.
fn advised() -> (tempfile::TempDir, Site) {
    let (folder, site) = site(801);
    let advice = say(&site.store, vec![suggestion(155.0)]);
    let (reader, materials) = (site.store.reader().unwrap(), Materials::default());
    let known = Known::of(&reader, &materials, Some(Learning::default())).unwrap();
    let worked = Worked::of([&reader, &reader], &materials, known, advice, at(801)).unwrap();
    let worked = watch::channel(Some(Arc::new(worked))).1;
    (folder, site.told(worked))
}

fn page(path: &str) -> Request<Body> {
    Request::get(path).header("host", "localhost:7870").body(Body::empty()).unwrap()
}

fn posted(act: &str, token: &str, fields: &str) -> Request<Body> {
    let request = Request::post(format!("/changes/{STANDBY}/{act}")).header("host", "localhost:7870");
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    request.body(Body::from(format!("token={token}{fields}"))).unwrap()
}

fn adopt(site: &Site) -> Request<Body> {
    posted("adopt", &site.token, &format!("&seen={}", seen_as(&standby(155.0)).replace(' ', "%20")))
}

fn open_trials(store: &Store) -> usize {
    store.reader().unwrap().trials().unwrap().iter().filter(|trial| trial.ended.is_none()).count()
}

#[tokio::test]
async fn what_is_adopted_is_on_trial_and_shows_so_at_once() {
    let (_folder, site) = advised();
    let before = answered(&site, page("/changes")).await.text;
    assert!(
        before.contains(&format!("/changes/{STANDBY}/adopt")) && before.contains("nothing is on trial"),
        "{before}"
    );
    assert!(before.contains("wait at 155 °C instead of 175 °C") && before.contains("Learned from this record"));
    let answer = answered(&site, adopt(&site)).await;
    let back = format!("/changes?adopted={STANDBY}");
    assert_eq!((answer.status, answer.location.as_deref()), (StatusCode::SEE_OTHER, Some(back.as_str())));
    let trials = site.store.reader().unwrap().trials().unwrap();
    assert_eq!((trials.len(), trials[0].suggestion.as_str(), trials[0].change), (1, STANDBY, standby(155.0)));
    let shown = answered(&site, page(&back)).await.text;
    assert!(shown.contains("standby 155 °C instead of 175 °C is on trial now"), "{shown}");
    let next = next_of(&trials[0]);
    assert!(shown.contains(&format!("Next print: {next}.")), "{next}: {shown}");
    assert!(!shown.contains(&format!("/changes/{STANDBY}/adopt")), "it can't be adopted twice");
}

/// What the trial's first print is to have, in words.
fn next_of(trial: &crate::store::TrialRow) -> &'static str {
    match trial.draws[0].arm {
        dwell_analysis::advice::Arm::Changed => "standby 155 °C",
        dwell_analysis::advice::Arm::AsBefore => "as before, standby 175 °C",
    }
}

#[tokio::test]
async fn what_comes_from_elsewhere_is_not_adopted_and_not_declined() {
    for act in ["adopt", "decline"] {
        let (_folder, site) = advised();
        for token in ["", "0123456789abcdef0123456789abcdef"] {
            let seen = format!("&seen={}", seen_as(&standby(155.0)).replace(' ', "%20"));
            assert_eq!(answered(&site, posted(act, token, &seen)).await.status, StatusCode::FORBIDDEN, "{act} {token}");
        }
        let mut foreign = posted(act, &site.token, "");
        foreign.headers_mut().insert("origin", "http://elsewhere.example".parse().unwrap());
        assert_eq!(answered(&site, foreign).await.status, StatusCode::FORBIDDEN);
        let rows = site.store.reader().unwrap().suggestions().unwrap();
        assert_eq!((open_trials(&site.store), rows[0].standing), (0, crate::store::Standing::Open));
    }
}

#[tokio::test]
async fn what_can_not_be_adopted_now_is_told_on_the_page_itself_and_nothing_begins() {
    let told = async |site: &Site, request: Request<Body>| {
        let answer = answered(site, request).await;
        assert!(answer.text.contains("<h1>Changes</h1>") && answer.text.contains("notice refused"), "{}", answer.text);
        (answer.status, answer.text)
    };
    let (_folder, site) = advised();
    answered(&site, adopt(&site)).await;
    let (status, text) = told(&site, adopt(&site)).await;
    assert!(status == StatusCode::CONFLICT && text.contains("it is on trial since Mon 2 Mar 2026"), "{text}");
    assert_eq!(open_trials(&site.store), 1);

    let (_folder, site) = advised();
    say(&site.store, Vec::new());
    let (status, text) = told(&site, adopt(&site)).await;
    assert!(status == StatusCode::CONFLICT && text.contains("it was withdrawn on Mon 2 Mar 2026"), "{text}");
    assert_eq!(open_trials(&site.store), 0);

    let (_folder, site) = advised();
    say(&site.store, vec![suggestion(165.0)]);
    let (status, text) = told(&site, adopt(&site)).await;
    assert!(status == StatusCode::CONFLICT && text.contains("by now it is standby 165 °C instead of 175 °C"), "{text}");
    assert_eq!(open_trials(&site.store), 0);

    let (_folder, site) = advised();
    let unknown = Request::post("/changes/bench-t1-pla-stand/adopt").header("host", "localhost:7870");
    let unknown = unknown.header("content-type", "application/x-www-form-urlencoded");
    let unknown = unknown.body(Body::from(format!("token={}", site.token))).unwrap();
    let (status, text) = told(&site, unknown).await;
    assert!(status == StatusCode::NOT_FOUND && text.contains(&format!("closest is <code>{STANDBY}</code>")), "{text}");
}

#[tokio::test]
async fn what_is_declined_is_offered_no_more_with_its_reason_and_may_be_adopted_after_all() {
    let (_folder, site) = advised();
    let long = format!("&why={}", "x".repeat(201));
    assert_eq!(answered(&site, posted("decline", &site.token, &long)).await.status, StatusCode::BAD_REQUEST);
    let answer = answered(&site, posted("decline", &site.token, "&why=too+slow+%3Cb%3E")).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    let shown = answered(&site, page(&answer.location.unwrap())).await.text;
    assert!(shown.contains("is declined; it is not advised again") && shown.contains("too slow &lt;b&gt;"), "{shown}");
    assert!(!shown.contains(&format!("id=\"offer-{STANDBY}\"")) && shown.contains("Adopt it after all"), "{shown}");
    assert_eq!(answered(&site, adopt(&site)).await.status, StatusCode::SEE_OTHER);
    assert_eq!(open_trials(&site.store), 1);
}

#[tokio::test]
async fn declining_what_is_on_trial_gives_it_up_and_says_so() {
    let (_folder, site) = advised();
    answered(&site, adopt(&site)).await;
    let answer = answered(&site, posted("decline", &site.token, "&why=no+time")).await;
    let shown = answered(&site, page(&answer.location.unwrap())).await.text;
    assert!(shown.contains("Its trial is given up: set things as they were."), "{shown}");
    assert!(shown.contains("undecided: no time") && shown.contains("Adopt it again"), "{shown}");
    assert_eq!(open_trials(&site.store), 0);
}

#[tokio::test]
async fn before_the_record_was_gone_through_the_page_says_so_and_renews_itself() {
    let (_folder, site) = site(801);
    let answer = answered(&site, page("/changes")).await;
    assert!(answer.text.contains("is being worked out; this page shows it as soon as it is."), "{}", answer.text);
    assert_eq!(answer.refresh.as_deref(), Some("5"));
    let (_folder, site) = advised();
    assert_eq!(answered(&site, page("/changes")).await.refresh, None);
}
