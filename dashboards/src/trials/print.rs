//! The prints of a trial, as a table. Owns its columns.

use super::words::{setting, values};
use crate::format;
use crate::plain::Lines;
use crate::view::{Applied, KnownBy, TrialPrint, TrialView, WasSet};
use dwell_analysis::advice::Arm;
use jiff::tz::TimeZone;

/// What stands where nothing is known.
const UNKNOWN: &str = "–";

/// Every print of a trial, oldest first.
pub(super) fn table(trial: &TrialView, out: &mut Lines) {
    let head = ["", "print", "began", "to be set", "was set", "known by", "failed", "expected"];
    let mut rows = vec![head.map(str::to_owned)];
    rows.extend(trial.prints.iter().map(|print| row(trial, print)));
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; 8] = std::array::from_fn(width);
    for row in rows {
        let mut line = String::from("  ");
        for (idx, (cell, width)) in row.iter().zip(widths).enumerate() {
            let padding = " ".repeat(width - cell.chars().count());
            let is_number = matches!(idx, 0 | 1 | 7);
            let (first, second) =
                if is_number { (padding.as_str(), cell.as_str()) } else { (cell.as_str(), padding.as_str()) };
            line.extend([first, second, "  "]);
        }
        out.line(&line);
    }
}

fn row(trial: &TrialView, print: &TrialPrint) -> [String; 8] {
    let failed = match print.failed {
        None => "not told".to_owned(),
        Some(false) => "no".to_owned(),
        Some(true) => {
            let words: Vec<String> = print.failures.iter().map(|mode| format::word(mode)).collect();
            words.join(", ")
        }
    };
    [
        print.nth.to_string(),
        print.print.to_string(),
        format::moment_short(print.started, &TimeZone::UTC),
        print.drawn.map_or_else(|| UNKNOWN.to_owned(), |arm| meant(trial, arm)),
        was(trial, &print.applied),
        by(print.applied.by).to_owned(),
        failed,
        print.expected.map_or_else(|| UNKNOWN.to_owned(), format::percent),
    ]
}

pub(crate) fn meant(trial: &TrialView, arm: Arm) -> String {
    let (from, to) = values(&trial.change);
    match (arm, from) {
        (Arm::Changed, _) => to,
        (Arm::AsBefore, Some(from)) => from,
        (Arm::AsBefore, None) => "as before".to_owned(),
    }
}

pub(crate) fn was(trial: &TrialView, applied: &Applied) -> String {
    let value = applied.value.map(|value| values(&value).1);
    match (value, applied.set) {
        (Some(value), _) => value,
        (None, WasSet::Changed) => values(&trial.change).1,
        (None, WasSet::AsBefore | WasSet::Neither) => "as before".to_owned(),
        (None, WasSet::NotKnown) => format!("{} not told", setting(&trial.change)),
    }
}

pub(crate) const fn by(known: KnownBy) -> &'static str {
    match known {
        KnownBy::SetPoints => "set points",
        KnownBy::JobFile => "job file",
        KnownBy::TypedIn => "typed in",
        KnownBy::PartsTold => "part changes",
        KnownBy::NotKnown => "nothing",
    }
}
