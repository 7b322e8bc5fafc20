//! The sign-in's page, stage by stage.

use dwell_analysis::time::Timestamp;
use dwell_dashboards::render_sign_in;
use dwell_dashboards::view::{SignInStage, SignInView};
use jiff::tz::TimeZone;

const HOSTILE: &str = "\"'></title><script>alert(1)</script>";

fn page(stage: SignInStage) -> String {
    render_sign_in(&SignInView { stage, rehearsal: false })
}

#[test]
fn the_form_works_without_scripts_and_escapes_where_it_leads() {
    let html = page(SignInStage::Asks { said: None, token: "t0ken".to_owned(), to: HOSTILE.to_owned() });
    for part in [
        "<form method=\"post\" action=\"/sign-in\"",
        "name=\"token\" value=\"t0ken\"",
        "type=\"password\" name=\"password\" autocomplete=\"current-password\"",
        "<label>Password",
        "<h1>Sign in</h1>",
    ] {
        assert!(html.contains(part), "{part}: {html}");
    }
    assert!(!html.contains("<script") && !html.contains("style=") && !html.contains("role=\"alert\""), "{html}");
    // Nothing opens yet.
    assert!(!html.contains("<nav"), "{html}");
}

#[test]
fn what_was_wrong_is_said_before_the_form() {
    let said = Some("That is not the password.".to_owned());
    let html = page(SignInStage::Asks { said, token: String::new(), to: "/".to_owned() });
    let (before, _) = html.split_once("<form").unwrap_or_default();
    assert!(before.contains("role=\"alert\">That is not the password."), "{html}");
}

#[test]
fn who_is_signed_in_sees_until_when_and_can_sign_out() {
    let html = page(SignInStage::SignedIn {
        until: Timestamp::from_ms(1_772_316_000_000),
        zone: TimeZone::UTC,
        token: "t0ken".to_owned(),
    });
    assert!(html.contains("2026") && html.contains("action=\"/sign-out\"") && html.contains("<nav"), "{html}");
    assert!(html.contains("name=\"token\" value=\"t0ken\""), "{html}");
}

#[test]
fn who_needs_none_or_can_t_is_told_and_asked_for_nothing() {
    for (stage, says) in [
        (SignInStage::NotNeeded, "The dashboard's own machine needs no sign-in."),
        (SignInStage::NoPassword, "the configuration has no password"),
    ] {
        let html = page(stage);
        assert!(html.contains(says) && !html.contains("<form"), "{html}");
    }
}
