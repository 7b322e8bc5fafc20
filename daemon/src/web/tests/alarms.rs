//! The *Alarms* page and the links of messages, against a real record: what a button does, and what a link may.

mod page;
mod proxy;

use super::{HOSTILE, ask, at, site};
use crate::alarm::{AlarmEffect, Priority, Rule, State, Subject};
use crate::entry::{PrinterName, ToolNumber};
use crate::links::{AlarmKey, LINK_LASTS, LINK_PATH, LinkKey, Links, SHELVE_MIN};
use crate::store::{AlarmRow, Commit, Store};
use crate::web::Site;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use tempfile::TempDir;

const ADDRESS: &str = "https://bench.example";
const SUBJECT: Subject = Subject { rule: Rule::IdleHot, tool: Some(ToolNumber::FIRST) };

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

fn key() -> AlarmKey {
    AlarmKey { printer: Some(bench()), subject: SUBJECT, raised: at(600) }
}

/// A site where one alarm stands, and which answers links.
fn alarmed() -> (TempDir, Site, i64) {
    let (folder, site) = site(801);
    let alarm = AlarmEffect::Raised {
        subject: SUBJECT,
        at: at(600),
        priority: Priority::High,
        suppressed: None,
        cause: "T0 waits at 210 °C".to_owned(),
        consequence: "It oozes.".to_owned(),
        action: "Lower it.".to_owned(),
    };
    let commit = Commit { printer: bench(), effects: Vec::new(), alarms: vec![alarm], notices: false };
    site.store.commit(commit).unwrap();
    let key = site.store.reader().unwrap().link_key().unwrap();
    let site = site.linked(Some(Links::new(ADDRESS, key)));
    let id = alarm_of(&site.store).id;
    (folder, site, id)
}

fn alarm_of(store: &Store) -> AlarmRow {
    store.reader().unwrap().alarm_of(Some(&bench()), SUBJECT, at(600)).unwrap().unwrap()
}

fn post(path: &str, host: &str, body: String) -> Request<Body> {
    let request = Request::post(path).header("host", host);
    request.header("content-type", "application/x-www-form-urlencoded").body(Body::from(body)).unwrap()
}

fn get(path: &str, host: &str) -> Request<Body> {
    Request::get(path).header("host", host).body(Body::empty()).unwrap()
}

fn path(address: &str) -> &str {
    address.strip_prefix(ADDRESS).unwrap()
}

#[tokio::test]
async fn each_button_does_what_it_says_and_the_record_has_who_and_why() {
    for (act, fields, state) in [
        ("acknowledge", "by=Ada", State::Acknowledged),
        ("shelve", "by=Ada&minutes=480&why=new+nozzle", State::Shelved),
        ("out-of-service", "by=Ada&why=new+nozzle", State::OutOfService),
    ] {
        let (_folder, site, id) = alarmed();
        let (store, token) = (site.store.clone(), site.token.clone());
        let body = format!("token={token}&{fields}");
        let (status, _) = ask(site, post(&format!("/alarms/{id}/{act}"), "localhost", body)).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{act}");
        assert_eq!(alarm_of(&store).state, state);
        let last = store.reader().unwrap().alarm_changes(id).unwrap().pop().unwrap();
        assert_eq!((last.to, last.by.as_str()), (state, "Ada"));
        assert_eq!(last.why.as_deref(), fields.contains("why").then_some("new nozzle"));
    }
}

#[tokio::test]
async fn a_hold_is_ended_by_its_button_and_a_mark_is_kept() {
    let (_folder, site, id) = alarmed();
    let (store, token) = (site.store.clone(), site.token.clone());
    store.shelve(id, dwell_analysis::units::Seconds::minutes(60.0), "Ada", None, at(700)).unwrap();
    let html = ask(site, get("/alarms", "localhost")).await.1;
    assert!(html.contains(&format!("action=\"/alarms/{id}/unshelve\"")), "{html}");
    for (act, state, is_right) in
        [("unshelve", State::Unacknowledged, None), ("false", State::Unacknowledged, Some(false))]
    {
        let (_other, site) = super::site(801);
        let site = Site { store: store.clone(), token: token.clone(), ..site };
        let answer = ask(site, post(&format!("/alarms/{id}/{act}"), "localhost", format!("token={token}"))).await;
        assert_eq!(answer.0, StatusCode::SEE_OTHER, "{}", answer.1);
        let alarm = alarm_of(&store);
        assert_eq!((alarm.state, alarm.is_right), (state, is_right), "{act}");
        assert_eq!(store.reader().unwrap().alarm_changes(id).unwrap().pop().unwrap().by, "dashboard");
    }
}

#[tokio::test]
async fn what_is_no_word_of_ours_changes_nothing_and_is_told_in_the_right_status() {
    let long = "x".repeat(201);
    let own = |fields: &str| format!("token=TOKEN&{fields}");
    for (path, body, expected) in [
        ("ID/acknowledge", "token=0123456789abcdef0123456789abcdef".to_owned(), StatusCode::FORBIDDEN),
        ("ID/acknowledge", String::new(), StatusCode::FORBIDDEN),
        ("ID/shelve", own(""), StatusCode::BAD_REQUEST),
        ("ID/shelve", own("minutes=100000"), StatusCode::BAD_REQUEST),
        ("ID/out-of-service", own("why=+"), StatusCode::BAD_REQUEST),
        ("ID/acknowledge", own("by=DwellWatch"), StatusCode::BAD_REQUEST),
        ("ID/acknowledge", own(&format!("by={long}")), StatusCode::BAD_REQUEST),
        ("ID/unshelve", own(""), StatusCode::CONFLICT),
        ("999/acknowledge", own(""), StatusCode::NOT_FOUND),
        ("x/acknowledge", own(""), StatusCode::NOT_FOUND),
        ("ID/delete", own(""), StatusCode::NOT_FOUND),
    ] {
        let (_folder, site, id) = alarmed();
        let store = site.store.clone();
        let body = body.replace("TOKEN", &site.token);
        let path = format!("/alarms/{}", path.replace("ID", &id.to_string()));
        let (status, html) = ask(site, post(&path, "localhost", body)).await;
        assert_eq!(status, expected, "{path}: {html}");
        let alarm = alarm_of(&store);
        assert_eq!((alarm.state, alarm.is_right), (State::Unacknowledged, None), "{path}");
    }
}

#[tokio::test]
async fn a_name_that_is_typed_in_is_shown_and_not_obeyed() {
    let (_folder, site, id) = alarmed();
    site.store.acknowledge(id, HOSTILE, Some(HOSTILE), at(700)).unwrap();
    let (status, html) = ask(site, get("/alarms", "localhost")).await;
    assert_eq!(status, StatusCode::OK);
    assert!(html.contains("alert(") && !html.contains("<script>alert"), "{html}");
}

#[tokio::test]
async fn a_link_asks_first_and_does_it_when_its_button_is_pressed() {
    for is_shelve in [false, true] {
        let (folder, site, id) = alarmed();
        let (store, links) = (site.store.clone(), site.links.clone().unwrap());
        let address = if is_shelve {
            links.shelve(&key(), SHELVE_MIN, at(600) + LINK_LASTS)
        } else {
            links.acknowledge(&key(), at(600) + LINK_LASTS)
        };
        let again = || Site { store: store.clone(), links: Some(links.clone()), ..super::site(801).1 };
        let (status, html) = ask(site, get(path(&address), "bench.example")).await;
        assert_eq!(status, StatusCode::OK);
        assert!(html.contains("bench T0: idle hot") && html.matches("<button").count() == 1, "{html}");
        // A mail program that looks links up has changed nothing.
        assert_eq!(alarm_of(&store).state, State::Unacknowledged);
        let (status, html) = ask(again(), post(path(&address), "bench.example", String::new())).await;
        assert_eq!((status, html.contains("<button")), (StatusCode::OK, false), "{html}");
        let state = if is_shelve { State::Shelved } else { State::Acknowledged };
        assert_eq!(alarm_of(&store).state, state);
        let last = store.reader().unwrap().alarm_changes(id).unwrap().pop().unwrap();
        assert_eq!(last.by, "link in a message");
        if is_shelve {
            // The page says until when, and pressing again does not move that.
            let held = || store.reader().unwrap().holds().unwrap()[0].until;
            let (first, later) =
                (held(), Site { store: store.clone(), links: Some(links.clone()), ..super::site(1601).1 });
            assert!(first.is_some() && html.contains("It is shelved until "), "{html}");
            let html = ask(later, post(path(&address), "bench.example", String::new())).await.1;
            assert!(html.contains("It is shelved and calls nobody, until"), "{html}");
            assert_eq!(held(), first);
        }
        // Opened again, it says that it is done.
        let html = ask(again(), get(path(&address), "localhost")).await.1;
        let said = if is_shelve { "It is shelved and calls nobody, until" } else { "acknowledged it already" };
        assert!(html.contains(said) && !html.contains("<button"), "{html}");
        drop(folder);
    }
}

#[tokio::test]
async fn a_link_that_does_not_work_does_nothing_and_says_so_calmly() {
    let until = at(600) + LINK_LASTS;
    let (_folder, site, _) = alarmed();
    let links = site.links.clone().unwrap();
    let (store, good) = (site.store.clone(), links.acknowledge(&key(), until));
    let foreign = Links::new(ADDRESS, LinkKey::new(&[7; 32], "another".to_owned())).acknowledge(&key(), until);
    let unknown = links.acknowledge(&AlarmKey { raised: at(601), ..key() }, until);
    let over = links.acknowledge(&key(), at(700));
    let last = if good.ends_with('A') { 'E' } else { 'A' };
    let changed = format!("{}{last}", &good[..good.len() - 1]);
    for (address, expected) in [
        (foreign, StatusCode::FORBIDDEN),
        (changed, StatusCode::FORBIDDEN),
        (format!("{ADDRESS}{LINK_PATH}x"), StatusCode::FORBIDDEN),
        (over, StatusCode::GONE),
        (unknown, StatusCode::NOT_FOUND),
    ] {
        for is_post in [false, true] {
            let site = Site { store: store.clone(), links: Some(links.clone()), ..super::site(801).1 };
            let asked = if is_post {
                post(path(&address), "bench.example", String::new())
            } else {
                get(path(&address), "bench.example")
            };
            let (status, html) = ask(site, asked).await;
            assert_eq!(status, expected, "{address}");
            assert!(!html.contains("T0 waits") && !html.contains("<form") && html.contains("<h1>"), "{html}");
        }
    }
    assert_eq!(alarm_of(&store).state, State::Unacknowledged);
    // Without an address there are no links at all.
    let site = Site { store: store.clone(), links: None, ..super::site(801).1 };
    assert_eq!(ask(site, get(path(&good), "localhost")).await.0, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn the_name_of_the_links_opens_no_other_page() {
    for (asked, expected) in [
        ("/style.css", StatusCode::OK),
        ("/", StatusCode::MISDIRECTED_REQUEST),
        ("/alarms", StatusCode::MISDIRECTED_REQUEST),
        ("/prints", StatusCode::MISDIRECTED_REQUEST),
        ("/live", StatusCode::MISDIRECTED_REQUEST),
    ] {
        let (_folder, site, _) = alarmed();
        assert_eq!(ask(site, get(asked, "bench.example")).await.0, expected, "{asked}");
    }
    let (_folder, site, id) = alarmed();
    let (store, body) = (site.store.clone(), format!("token={}", site.token));
    let asked = post(&format!("/alarms/{id}/acknowledge"), "bench.example", body);
    assert_eq!(ask(site, asked).await.0, StatusCode::MISDIRECTED_REQUEST);
    assert_eq!(alarm_of(&store).state, State::Unacknowledged);
}

#[tokio::test]
async fn now_has_the_button_of_what_stands_and_leads_back_to_it() {
    let (_folder, site, id) = alarmed();
    let (store, token) = (site.store.clone(), site.token.clone());
    let (_, html) = ask(site, get("/", "localhost")).await;
    assert!(html.contains(&format!("action=\"/alarms/{id}/acknowledge\"")) && html.contains(&token), "{html}");
    let again = Site { store: store.clone(), token: token.clone(), ..super::site(801).1 };
    let asked = post(&format!("/alarms/{id}/acknowledge"), "localhost", format!("token={token}&back=now"));
    assert_eq!(ask(again, asked).await.0, StatusCode::SEE_OTHER);
    assert_eq!(alarm_of(&store).state, State::Acknowledged);
}

#[tokio::test]
async fn now_says_of_a_printer_that_is_being_set_up_that_its_alarms_call_nobody() {
    for names in [Vec::new(), vec![key().printer.unwrap()]] {
        let (_folder, site, _) = alarmed();
        let (_, html) = ask(site.commissioning(names.clone()), get("/", "localhost")).await;
        assert_eq!(html.contains("This printer is being set up"), !names.is_empty(), "{html}");
    }
}
