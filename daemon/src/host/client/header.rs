//! What an answer's headers say. Pure: text in, values out.

use super::RETRY_AFTER_MAX;
use dwell_analysis::time::Timestamp;
use std::time::{Duration, UNIX_EPOCH};

/// `Date` (RFC 9110, section 5.6.7, obsolete forms too), a whole second.
pub(super) fn date(text: &str) -> Option<Timestamp> {
    let since = httpdate::parse_http_date(text.trim()).ok()?.duration_since(UNIX_EPOCH).ok()?;
    i64::try_from(since.as_millis()).ok().map(Timestamp::from_ms)
}

/// `Retry-After` (RFC 9110, section 10.2.3): seconds, or an instant, which counts from `now` on the clock of the one
/// who wrote it. At most [`RETRY_AFTER_MAX`].
pub(super) fn retry_after(text: &str, now: Timestamp) -> Option<Duration> {
    let text = text.trim();
    if !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit()) {
        // More digits than a number holds are a long time.
        return Some(text.parse().map_or(RETRY_AFTER_MAX, Duration::from_secs).min(RETRY_AFTER_MAX));
    }
    let wait = date(text)? - now;
    Some(Duration::try_from_secs_f64(wait.get()).unwrap_or(Duration::ZERO).min(RETRY_AFTER_MAX))
}

/// A media type without its parameters, in lower case, cut to a line.
pub(in crate::host) fn essence(media_type: &str) -> String {
    let essence = media_type.split(';').next().unwrap_or_default().trim();
    essence.chars().take(60).collect::<String>().to_ascii_lowercase()
}

/// Whether a type says that it is JSON (`+json` by RFC 6839).
pub(in crate::host) fn is_json(essence: &str) -> bool {
    matches!(essence, "application/json" | "text/json")
        || essence.split_once('/').is_some_and(|(_, sub)| sub.ends_with("+json"))
}

/// Whether a body of that type may be JSON: it says so, or says nothing more than text.
pub(super) fn may_be_json(essence: &str) -> bool {
    is_json(essence) || matches!(essence, "" | "text/plain")
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Timestamp = Timestamp::from_ms(784_111_777_000);

    #[test]
    fn the_three_forms_of_a_date_are_one_instant() {
        // RFC 9110, section 5.6.7.
        for text in ["Sun, 06 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994"] {
            assert_eq!(date(text), Some(NOW), "{text}");
        }
        for text in ["", "now", "Sun, 06 Nov 1994 25:49:37 GMT", "1994-11-06T08:49:37Z"] {
            assert_eq!(date(text), None, "{text}");
        }
    }

    #[test]
    fn a_wait_is_seconds_or_an_instant_and_never_longer_than_its_bound() {
        let wait = |text| retry_after(text, NOW).map(|wait| wait.as_secs());
        assert_eq!((wait("7"), wait(" 0 ")), (Some(7), Some(0)));
        assert_eq!((wait("86400"), wait("99999999999999999999999")), (Some(300), Some(300)));
        assert_eq!(wait("Sun, 06 Nov 1994 08:49:57 GMT"), Some(20));
        // An instant that is over is no wait.
        assert_eq!(wait("Sun, 06 Nov 1994 08:40:00 GMT"), Some(0));
        assert_eq!(wait("Sat, 06 Nov 2094 08:49:57 GMT"), Some(300));
        assert_eq!((wait("-5"), wait("1.5"), wait("soon"), wait("")), (None, None, None, None));
    }

    #[test]
    fn types_that_may_be_json_are_told_from_those_that_are_not() {
        for text in ["application/json; charset=utf-8", "Application/TD+JSON", "text/plain", "text/json", ""] {
            assert!(may_be_json(&essence(text)), "{text}");
        }
        for text in ["text/html; charset=utf-8", "image/png", "application/xml", "+json", "application/jsonp"] {
            assert!(!may_be_json(&essence(text)), "{text}");
        }
    }
}
