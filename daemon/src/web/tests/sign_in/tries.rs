//! Wrong passwords: what is said, how they are slowed and counted.

use super::*;
use crate::web::Attempt;
use std::time::Duration;

#[tokio::test]
async fn a_wrong_password_opens_nothing_and_says_so() {
    let open = Open::new(access());
    for password in ["", "quiet gulls over slat", &"x".repeat(2000)] {
        let answer = open.sign_in(FAR, password, "/alarms").await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN);
        assert!(answer.set("dwellwatch_session").is_none());
        assert!(answer.text.contains("That is not the password."), "{}", answer.text);
        assert_eq!(answer.hidden("to"), "/alarms");
        assert!(password.is_empty() || !answer.text.contains(password));
    }
}

#[tokio::test]
async fn after_five_wrong_ones_even_the_right_one_waits_and_only_for_that_address() {
    let open = Open::new(access());
    for _ in 0..5 {
        assert_eq!(open.sign_in(FAR, "guessed", "/").await.status, StatusCode::FORBIDDEN);
    }
    let answer = open.sign_in(FAR, PASSWORD, "/").await;
    assert_eq!(answer.status, StatusCode::TOO_MANY_REQUESTS);
    let seconds: u64 = answer.header(RETRY_AFTER).parse().unwrap();
    assert!((1..=2).contains(&seconds), "{seconds}");
    assert!(answer.text.contains("Too many tries. The next one is looked at in"), "{}", answer.text);
    assert!(answer.set("dwellwatch_session").is_none());
    assert_eq!(open.sign_in("192.0.2.10:1", PASSWORD, "/").await.status, StatusCode::SEE_OTHER);
    tokio::time::sleep(Duration::from_secs(seconds)).await;
    assert_eq!(open.sign_in(FAR, PASSWORD, "/").await.status, StatusCode::SEE_OTHER);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn many_tries_at_once_get_no_more_than_the_free_ones() {
    let open = Arc::new(Open::new(access()));
    let mut tries = tokio::task::JoinSet::new();
    for _ in 0..20 {
        let open = Arc::clone(&open);
        tries.spawn(async move { open.sign_in(FAR, "guessed", "/").await.status });
    }
    let statuses = tries.join_all().await;
    let n = |status| statuses.iter().filter(|found| **found == status).count();
    assert_eq!((n(StatusCode::FORBIDDEN), n(StatusCode::TOO_MANY_REQUESTS)), (5, 15));
}

#[tokio::test(start_paused = true)]
async fn who_waits_behind_others_in_vain_has_not_tried() {
    let open = Open::new(access());
    let busy = open.site.gate.checking.acquire().await.unwrap();
    for _ in 0..6 {
        assert_eq!(open.sign_in(FAR, PASSWORD, "/").await.status, StatusCode::TOO_MANY_REQUESTS);
    }
    drop(busy);
    assert_eq!(open.sign_in(FAR, PASSWORD, "/").await.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn wrong_passwords_and_tokens_raise_the_alarm_and_right_ones_do_not() {
    let open = Open::new(access());
    let (attempts, now) = (Arc::clone(&open.site.attempts), open.site.clock.now().at);
    for nth in 0..20 {
        assert_eq!(open.sign_in(&format!("192.0.2.{nth}:9"), PASSWORD, "/").await.status, StatusCode::SEE_OTHER);
    }
    for nth in 0..5 {
        open.sign_in(&format!("192.0.2.{nth}:9"), "guessed", "/").await;
    }
    let wrong = [("authorization", "Bearer guessed"), ("accept", "*/*")];
    for _ in 0..4 {
        open.get(FAR, "/metrics", &wrong).await;
    }
    assert_eq!(attempts.are_many(now), None);
    open.get(FAR, "/metrics", &wrong).await;
    assert_eq!(attempts.are_many(now), Some(Some(Attempt::SignIn)));
}

#[tokio::test]
async fn a_sign_in_that_did_not_come_from_its_own_page_is_not_looked_at() {
    let open = Open::new(access());
    let page = open.get(FAR, "/sign-in", &[]).await;
    let (token, cookie) = (page.hidden("token"), page.cookie("dwellwatch_form").unwrap());
    let other = open.get(FAR, "/sign-in", &[]).await.cookie("dwellwatch_form").unwrap();
    let password = PASSWORD.replace(' ', "+");
    for (fields, body) in [
        (vec![], format!("token={token}&password={password}")),
        (vec![("cookie", other.as_str())], format!("token={token}&password={password}")),
        (vec![("cookie", cookie.as_str())], format!("password={password}")),
        (vec![("cookie", cookie.as_str())], format!("token={}&password={password}", open.site.token)),
        (
            vec![("cookie", cookie.as_str()), ("origin", "http://elsewhere.example")],
            format!("token={token}&password={password}"),
        ),
        (
            vec![("cookie", cookie.as_str()), ("sec-fetch-site", "same-site")],
            format!("token={token}&password={password}"),
        ),
    ] {
        let answer = open.post(FAR, "/sign-in", &fields, &body).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{fields:?}");
        assert!(answer.set("dwellwatch_session").is_none());
    }
    let fields = [("cookie", cookie.as_str()), ("origin", "http://192.0.2.2:7870"), ("sec-fetch-site", "same-origin")];
    let answer = open.post(FAR, "/sign-in", &fields, &format!("token={token}&password={password}")).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn without_a_password_people_can_t_sign_in_and_are_told_why() {
    let open = Open::new(Access { password: None, ..access() });
    let page = open.get(FAR, "/sign-in", &[]).await;
    assert!(page.text.contains("the configuration has no password") && !page.text.contains("type=\"password\""));
    let answer = open.post(FAR, "/sign-in", &[], "password=&token=").await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
    assert_eq!(open.get(FAR, "/", &[]).await.status, StatusCode::SEE_OTHER);
}
