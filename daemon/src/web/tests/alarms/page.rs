//! What the *Alarms* page shows while the disk takes nothing, and its one button for many.

use super::*;

#[tokio::test]
async fn what_is_raised_while_the_disk_takes_nothing_stands_on_the_page_and_no_form_is_taken() {
    let (_folder, site, id) = alarmed();
    let (store, token) = (site.store.clone(), site.token.clone());
    store.takes_nothing(true).unwrap();
    let full = crate::alarm::record_full(at(790), Priority::High, "no room", None, None);
    let gone = AlarmEffect::Returned { subject: SUBJECT, raised: at(600), at: at(795), is_superseded: false };
    store.commit_own(vec![full], true).unwrap();
    let commit = Commit { printer: bench(), effects: Vec::new(), alarms: vec![gone], notices: false };
    store.commit(commit).unwrap();
    let again = || Site { store: store.clone(), token: token.clone(), ..super::super::site(801).1 };
    let view = crate::web::views::alarms(&site).unwrap();
    // What the site has besides stands on none of these rules.
    let mine = view.open.iter().filter(|alarm| ["idle_hot", "record_full"].contains(&alarm.rule));
    let open: Vec<_> = mine.map(|alarm| (alarm.id, alarm.rule, alarm.state)).collect();
    let expected = [(Some(id), "idle_hot", "returned unacknowledged"), (None, "record_full", "unacknowledged")];
    assert_eq!(open, expected);
    assert!(view.is_unwritten);
    let html = ask(again(), get("/alarms", "localhost")).await.1;
    assert!(html.contains("no room") && html.contains("be written now."), "{html}");
    let asked = post(&format!("/alarms/{id}/acknowledge"), "localhost", format!("token={token}"));
    assert_eq!(ask(again(), asked).await.0, StatusCode::SERVICE_UNAVAILABLE);
    store.takes_nothing(false).unwrap();
    store.flush().unwrap();
    let view = crate::web::views::alarms(&site).unwrap();
    let full = view.open.iter().find(|alarm| alarm.rule == "record_full");
    assert!(!view.is_unwritten && full.is_some_and(|alarm| alarm.id.is_some()), "{:?}", view.open);
}

#[tokio::test]
async fn one_button_acknowledges_all_that_had_come_and_gone_when_the_page_was_drawn() {
    let (_folder, site, standing) = alarmed();
    let (store, token) = (site.store.clone(), site.token.clone());
    let subject = Subject { rule: Rule::HostSilent, tool: None };
    for second in [620, 640, 660] {
        let (cause, consequence, action) = ("c".to_owned(), "d".to_owned(), "e".to_owned());
        let (priority, suppressed) = (Priority::High, None);
        let came = AlarmEffect::Raised { subject, at: at(second), priority, suppressed, cause, consequence, action };
        let went = AlarmEffect::Returned { subject, raised: at(second), at: at(second + 10), is_superseded: false };
        for change in [came, went] {
            let alarms = vec![change];
            store.commit(Commit { printer: bench(), effects: Vec::new(), alarms, notices: false }).unwrap();
        }
    }
    let again = || Site { store: store.clone(), token: token.clone(), ..super::super::site(801).1 };
    let html = ask(site, get("/alarms", "localhost")).await.1;
    assert!(html.contains("\"/alarms/returned/acknowledge\"") && html.contains("name=\"before\""), "{html}");
    let send = async |body: String| ask(again(), post("/alarms/returned/acknowledge", "localhost", body)).await.0;
    let before = at(655).as_ms();
    assert_eq!(send(format!("token=guessed&before={before}")).await, StatusCode::FORBIDDEN);
    assert_eq!(send(format!("token={token}")).await, StatusCode::BAD_REQUEST);
    let open = || {
        let rows = store.reader().unwrap().open_alarms().unwrap().into_iter();
        let mine = rows.filter(|row| [SUBJECT, subject].contains(&row.subject) && row.raised >= at(600));
        mine.map(|row| (row.raised, row.state)).collect::<Vec<_>>()
    };
    assert_eq!(open().len(), 4);
    assert_eq!(send(format!("token={token}&before={before}&by=Ada")).await, StatusCode::SEE_OTHER);
    let reader = store.reader().unwrap();
    // What stands, and what went after the page was drawn.
    assert_eq!(open(), [(at(600), State::Unacknowledged), (at(660), State::ReturnedUnacknowledged)]);
    for second in [620, 640] {
        let row = reader.alarm_of(Some(&bench()), subject, at(second)).unwrap().unwrap();
        let last = reader.alarm_changes(row.id).unwrap().pop().unwrap();
        assert_eq!((last.from, last.to, last.by.as_str()), (State::ReturnedUnacknowledged, State::Normal, "Ada"));
        assert!(row.acknowledged.is_some() && row.id != standing);
    }
}
