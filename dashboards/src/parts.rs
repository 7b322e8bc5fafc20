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

fn used(part: &PartView) -> String {
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
    let span = |of: &Estimate, show: fn(f64) -> String| {
        format!("{} (90 % interval {} to {})", show(of.value), show(of.low), show(of.high))
    };
    let days = match &expected.left_days {
        Ok(days) => format!("{} at the tool's recent use", span(days, format::days)),
        Err(reason) => format!("how many days that is can't be said: {reason}"),
    };
    format!("It still lasts {} of wear; {days}.", span(&expected.left_h, format::hours))
}

pub(crate) fn replace(part: &PartView, expected: &PartExpected) -> String {
    let (limit, accepted) = (format::hours(expected.limit_h), format::percent(expected.accepted.get()));
    let why = format!("up to {limit} of wear the chance that it fails stays under {accepted}");
    match &expected.replace {
        Replace::Due => format!("Replace it now: {why}, and it is past that. {}", look_at(part)).trim_end().to_owned(),
        Replace::Before { at, low, high } if low == high => format!("Replace it before {}: {why}.", format::day(*at)),
        Replace::Before { at, low, high } => format!(
            "Replace it before {}: {why}. At the tool's recent use that is {} to {}.",
            format::day(*at),
            format::day(*low),
            format::day(*high)
        ),
        Replace::Unknown(reason) => format!("No day to replace it by: {reason}. But {why}."),
    }
}

/// A liner is looked at, not waited for.
fn look_at(part: &PartView) -> &'static str {
    match part.part {
        "liner" | "hot_end" => "Look at the liner until then, and stay under its rating.",
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
