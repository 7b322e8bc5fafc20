//! What `check` says of the dashboard: where it listens, who needs a sign-in, and under which names it answers.

use crate::access::WebAddress;
use crate::config::WebPlan;

/// The lines, with one before them that is empty.
pub(super) fn shown(plan: &WebPlan, links: Option<&str>) -> String {
    let WebPlan { listen, access } = plan;
    // A listener on one address of the network hears nothing that comes over loopback.
    let ip = listen.ip().to_canonical();
    let hears_loopback = ip.is_loopback() || ip.is_unspecified();
    let here = match (hears_loopback, access.loopback_signs_in) {
        (true, false) => "needs no sign-in",
        (true, true) | (false, _) => "signs in too",
    };
    let proofs = match (&access.password, &access.token) {
        (Some(_), Some(_)) => "people sign in with the password, programs show the token",
        (Some(_), None) => "people sign in with the password",
        (None, Some(_)) => "programs show the token (/api, /metrics); people can't sign in",
        (None, None) => "nobody is let in; links in messages open their own pages",
    };
    let link = links.and_then(WebAddress::parse);
    let names: Vec<&str> = access.addresses.iter().chain(&link).map(WebAddress::origin).collect();
    let names = match names.as_slice() {
        _ if !access.opens() => "loopback names alone".to_owned(),
        [] if !hears_loopback => "addresses in figures".to_owned(),
        names if !hears_loopback => format!("addresses in figures, {}", names.join(", ")),
        [] => "loopback names and addresses in figures".to_owned(),
        names => format!("loopback names, addresses in figures, {}", names.join(", ")),
    };
    let clear = if listen.ip().is_loopback() {
        ""
    } else {
        "without a proxy that speaks TLS the password goes over the network in clear\n"
    };
    format!(
        "\ndashboard http://{listen}/: this machine {here}; from elsewhere and through a proxy {proofs}\n\
         it answers under {names}\n{clear}"
    )
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::access::{Access, PasswordHash, Token};

    fn said(listen: &str, access: Access) -> String {
        shown(&WebPlan { listen: listen.parse().unwrap(), access }, Some("https://bench.example/dwell"))
    }

    #[test]
    fn who_needs_what_is_said_in_words_and_no_secret_is() {
        let plain = said("127.0.0.1:7870", Access::default());
        assert!(plain.contains("needs no sign-in; from elsewhere and through a proxy nobody is let in"), "{plain}");
        assert!(plain.contains("under loopback names alone") && !plain.contains("in clear"), "{plain}");
        let password = PasswordHash::of("quiet gulls over slate").unwrap();
        let token = Token::new("0123456789abcdef0123456789abcdef").unwrap();
        let both = Access {
            password: Some(password.clone()),
            token: Some(token),
            addresses: vec![WebAddress::parse("http://bench.example:7870").unwrap()],
            loopback_signs_in: true,
        };
        let both = said("0.0.0.0:7870", both);
        for words in [
            "this machine signs in too",
            "people sign in with the password, programs show the token",
            "http://bench.example:7870, https://bench.example\n",
            "in clear",
        ] {
            assert!(both.contains(words), "{words}: {both}");
        }
        assert!(!both.contains("argon2id") && !both.contains("0123456789abcdef"), "{both}");
        let alone = said("192.0.2.7:7870", Access { password: Some(password.clone()), ..Access::default() });
        assert!(alone.contains("this machine signs in too"), "{alone}");
        assert!(alone.contains("under addresses in figures, https://bench.example\n"), "{alone}");
        assert!(!alone.contains("loopback"), "{alone}");
        let people = said("[::]:7870", Access { password: Some(password), ..Access::default() });
        assert!(people.contains("people sign in with the password\n"), "{people}");
    }
}
