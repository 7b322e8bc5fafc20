//! The parts in use and what is expected of them, as plain text. Owns its sentences; says nothing of what is not known
//! but why.

use crate::plain::Lines;
use crate::view::{PartExpected, PartView, Replace};
use crate::{SAFETY_WORDS, format};
use dwell_analysis::estimate::Estimate;

const COLUMNS: usize = 100;

/// The whole text: a heading, a paragraph a part, and words of safety. Empty without a part.
#[must_use]
pub fn render_parts_text(parts: &[PartView]) -> String {
    let mut out = Lines::new(COLUMNS);
    if parts.is_empty() {
        return out.into_text();
    }
    out.heading("Parts in use");
    for part in parts {
        out.wrapped("  ", &used(part));
        match &part.expected {
            Ok(expected) => {
                out.wrapped("    ", &left(expected));
                out.wrapped("    ", &replace(part, expected));
                out.wrapped("    ", &rests_on(part, expected));
            }
            Err(reason) => out.wrapped("    ", &format!("Nothing is expected of it: {reason}.")),
        }
    }
    out.line("");
    out.wrapped("", HOW);
    out.line("");
    out.wrapped("", SAFETY_WORDS);
    out.into_text()
}

const HOW: &str = "An hour of wear is an hour at 220 °C; it weighs e times as much 20 K hotter (a proposal, no life law \
    of liners was found). Waiting hot counts as much as printing. What was not watched is not counted.";

pub(crate) fn used(part: &PartView) -> String {
    let wear = match &part.wear_h {
        Ok(hours) => format!("{} of wear", format::hours(*hours)),
        Err(_) => "wear not known".to_owned(),
    };
    let heated = match part.heat_cycles {
        1 => "heated from cold once".to_owned(),
        n => format!("heated from cold {n} times"),
    };
    format!(
        "{} {}, {} fitted on {}: {} hot, {wear}, {heated}.",
        part.printer,
        format::tool(part.tool),
        format::word(part.part).to_lowercase(),
        format::day(part.fitted),
        format::hours(part.hot.as_minutes() / 60.0),
    )
}

pub(crate) fn left(expected: &PartExpected) -> String {
    let span = |of: &Estimate, show: fn(f64) -> String| format!("{} to {}", show(of.low), show(of.high));
    let (hours, between) = (format::hours(expected.left_h.value), span(&expected.left_h, format::hours));
    let days = match &expected.left_days {
        Ok(days) => format!("{} at the tool's recent use ({})", format::days(days.value), span(days, format::days)),
        Err(reason) => format!("how many days that is can't be said, as {reason}"),
    };
    format!("It may last another {hours} of wear (90 % interval {between}); {days}.")
}

pub(crate) fn replace(part: &PartView, expected: &PartExpected) -> String {
    let (limit, accepted) = (format::hours(expected.limit_h), format::percent(expected.accepted.get()));
    let why = format!("up to {limit} of wear the chance that it fails stays under {accepted}");
    match &expected.replace {
        Replace::Due => format!("Replace it now: {why}, and it is past that.{}", look_at(part)),
        Replace::Before { at, low, high } if low == high => format!("Replace it before {}: {why}.", format::day(*at)),
        Replace::Before { at, low, high } => format!(
            "Replace it before {} ({} to {} at the tool's recent use): {why}.",
            format::day(*at),
            format::day(*low),
            format::day(*high)
        ),
        Replace::Unknown(reason) => format!("No day to replace it by: {reason}."),
    }
}

/// What to do about a liner that is due besides replacing it.
fn look_at(part: &PartView) -> &'static str {
    match part.part {
        "liner" | "hot_end" => " Look at the liner before the next print, and stay under its rating.",
        _ => "",
    }
}

fn rests_on(part: &PartView, expected: &PartExpected) -> String {
    let (n, failures) = (expected.n_lives, expected.n_failures);
    let lives = if n == 1 { "1 life".to_owned() } else { format!("{n} lives") };
    let practice = match part.part {
        "liner" | "hot_end" => "the 500 to 1,000 hours at which people look at a liner",
        _ => "common practice, no source",
    };
    match (expected.basis, failures) {
        (_, 0) => format!("This is the prior ({practice}), taken widely: in {lives} on record none has failed."),
        ("record", _) => format!("This rests on the record: {failures} of {lives} ended in failure."),
        (_, _) => {
            format!("This rests on the prior ({practice}) and on the record: {failures} of {lives} ended in failure.")
        }
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use dwell_analysis::time::Timestamp;
    use dwell_analysis::units::{Probability, Seconds};

    const NOON: Timestamp = Timestamp::from_ms(1_772_452_800_000); // 2026-03-02T12:00:00Z

    fn liner(expected: Result<PartExpected, String>) -> PartView {
        PartView {
            printer: "bench".to_owned(),
            tool: 1,
            part: "liner",
            fitted: NOON,
            as_of: Some(NOON),
            hot: Seconds::minutes(60.0 * 82.0),
            wear_h: Ok(61.4),
            heat_cycles: 47,
            expected,
        }
    }

    fn expected(replace: Replace, n_failures: usize, basis: &'static str) -> PartExpected {
        let estimate = |value, low, high| Estimate { value, low, high, n: 3 };
        PartExpected {
            left_h: estimate(130.0, 8.2, 410.0),
            left_days: Ok(estimate(61.0, 0.4, 200.0)),
            limit_h: 98.0,
            accepted: Probability::new(0.1).unwrap(),
            replace,
            basis,
            n_lives: 3,
            n_failures,
        }
    }

    fn text(part: PartView) -> String {
        let text = render_parts_text(&[part]);
        assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
        assert!(text.ends_with("the part's limits.\n"), "{text}");
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_part_tells_what_it_went_through_what_is_left_by_when_to_replace_it_and_what_that_rests_on() {
        let day = |days: f64| NOON + Seconds::new(days * 86_400.0);
        let before = Replace::Before { at: day(20.0), low: day(15.0), high: day(30.0) };
        let found = text(liner(Ok(expected(before, 1, "mixed"))));
        for says in [
            "bench T1, liner fitted on Mon 2 Mar 2026: 82 h hot, 61 h of wear, heated from cold 47 times.",
            "another 130 h of wear (90 % interval 8.2 h to 410 h); 61 days at the tool's recent use (under a day to 200 days).",
            "Replace it before Sun 22 Mar 2026 (Tue 17 Mar 2026 to Wed 1 Apr 2026 at the tool's recent use): up to 98 h",
            "1 of 3 lives ended in failure.",
        ] {
            assert!(found.contains(says), "{says}: {found}");
        }
    }

    #[test]
    fn without_a_failure_the_prior_is_named_and_a_due_liner_is_to_be_looked_at() {
        let found = text(liner(Ok(expected(Replace::Due, 0, "prior"))));
        assert!(
            found.contains("This is the prior") && found.contains("in 3 lives on record none has failed"),
            "{found}"
        );
        assert!(
            found.contains("Replace it now") && found.contains("Look at the liner before the next print"),
            "{found}"
        );
        let heater = PartView { part: "heater", ..liner(Ok(expected(Replace::Due, 0, "prior"))) };
        assert!(!text(heater).contains("Look at the liner"));
    }

    #[test]
    fn what_is_not_known_is_told_with_its_reason_and_without_a_number() {
        let refused = PartView { wear_h: Err("no temperature".to_owned()), ..liner(Err("no temperature".to_owned())) };
        let found = text(refused);
        assert!(found.contains("wear not known") && found.contains("Nothing is expected of it: no temperature."));
        let days = PartExpected {
            left_days: Err("too few days".to_owned()),
            ..expected(Replace::Unknown("too few days".to_owned()), 1, "mixed")
        };
        let found = text(liner(Ok(days)));
        assert!(found.contains("can't be said, as too few days") && found.contains("No day to replace it by: too few"));
        assert_eq!(render_parts_text(&[]), "");
    }
}
