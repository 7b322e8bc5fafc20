//! Names that are not answered, and the headers that keep other sites out.

use super::*;

#[tokio::test]
async fn a_name_that_nobody_configured_is_not_answered_even_to_who_is_signed_in() {
    let open = Open::new(access());
    let cookie = open.signed_in().await;
    for (host, status) in [
        (HOST, StatusCode::OK),
        ("bench.example", StatusCode::OK),
        ("[fd00::2]:7870", StatusCode::OK),
        ("bench.example:7870", StatusCode::MISDIRECTED_REQUEST),
        ("elsewhere.example", StatusCode::MISDIRECTED_REQUEST),
        ("192.0.2.2.elsewhere.example:7870", StatusCode::MISDIRECTED_REQUEST),
    ] {
        for path in ["/", "/style.css", "/sign-in"] {
            let answer = open.get(FAR, path, &[("host", host), ("cookie", &cookie)]).await;
            assert_eq!(answer.status, status, "{host} {path}");
        }
    }
}

#[tokio::test]
async fn every_answer_carries_the_headers_that_keep_other_sites_out() {
    let open = Open::new(access());
    let cookie = open.signed_in().await;
    for (method, path, cookie) in [
        ("GET", "/", cookie.as_str()),
        ("GET", "/sign-in", ""),
        ("GET", "/style.css", ""),
        ("GET", "/", ""),
        ("POST", "/sign-in", ""),
        ("POST", "/nothing-here", ""),
        ("PUT", "/", ""),
    ] {
        let answer = open.ask(FAR, asked(method, path, &[("cookie", cookie)], "")).await;
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "same-origin"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
        ] {
            assert_eq!(answer.header(name), value, "{method} {path}");
        }
        let policy = answer.header("content-security-policy");
        assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{policy}");
        assert!(!policy.contains("unsafe"), "{policy}");
    }
    for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"] {
        let answer = open.ask(FAR, asked(method, "/prints/1/outcome", &[("cookie", &cookie)], "")).await;
        assert_eq!(answer.status, StatusCode::METHOD_NOT_ALLOWED, "{method}");
    }
}
