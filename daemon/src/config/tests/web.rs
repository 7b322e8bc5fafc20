//! `[web]`: what has to stand beside an address that other machines reach.

use super::super::Secrets;
use super::*;
use crate::access::PasswordHash;
use std::sync::LazyLock;

static HASH: LazyLock<String> =
    LazyLock::new(|| PasswordHash::of("quiet gulls over slate").unwrap().as_str().to_owned());
const TOKEN: &str = "0123456789abcdef0123456789abcdef";

fn with(web: &str) -> String {
    format!("[web]\n{web}\n{SMALL}")
}

#[test]
fn other_machines_reach_a_dashboard_only_with_something_to_sign_in_with() {
    for (web, people, programs) in [
        (format!("listen = \"0.0.0.0:7870\"\npassword_hash = \"{}\"", *HASH), true, false),
        (format!("listen = \"[::]:7870\"\ntoken = \"{TOKEN}\""), false, true),
        (format!("password_hash = \"{}\"\ntoken = \"{TOKEN}\"", *HASH), true, true),
    ] {
        let config = parse(&with(&web)).unwrap();
        let access = &config.web().access;
        assert_eq!((access.password.is_some(), access.token.is_some()), (people, programs), "{web}");
        let shown = format!("{config:?}");
        assert!(!shown.contains("argon2id") && !shown.contains(TOKEN), "{shown}");
    }
    let names = "addresses = [\"https://bench.example\"]\nloopback_signs_in = false";
    let found = fault(&with(&format!("listen = \"192.0.2.7:7870\"\n{names}")));
    assert_eq!(found.key, "web.listen");
    assert!(found.found.contains("which other machines reach"), "{found}");
}

#[test]
fn what_is_wrong_with_a_hash_a_token_or_a_name_is_told_and_the_secret_is_not() {
    for (web, key, says) in [
        ("password_hash = \"hush-password\"", "web.password_hash", "found no argon2id hash"),
        ("password_hash = 84719", "web.password_hash", "text"),
        ("token = \"hush\"", "web.token", "found 4 characters; right would be at least 32"),
        ("token = { file = \"nowhere\" }", "web.token.file", "nowhere"),
        ("addresses = [\"bench.example\"]", "web.addresses[0]", "\"https://bench.example\""),
        ("loopback_signs_in = true", "web.loopback_signs_in", "`dwellwatch password`"),
        ("password = \"hush\"", "web.password", "unknown field"),
    ] {
        let found = fault(&with(web));
        assert_eq!(found.key, key, "{found}");
        let shown = found.to_string();
        assert!(shown.contains(says) && !shown.contains("hush-password") && !shown.contains("84719"), "{shown}");
    }
}

#[test]
fn whoever_looks_no_key_up_has_none_and_is_not_held_up_by_it() {
    let text = with("listen = \"0.0.0.0:7870\"\npassword_hash = { file = \"nowhere\" }\ntoken = { env = \"NOWHERE\" }");
    let config = Config::parse_in(&text, Path::new("bench.toml"), &|_| None, Secrets::NotNeeded).unwrap();
    assert!(!config.web().access.opens());
}
