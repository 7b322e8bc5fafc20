//! What is worth an alarm of the schedule, and its words. Pure: parts, prints, the disk's room and attempts go in.

use super::Key;
use crate::alarm::{Rule, Subject};
use crate::entry::{PrinterName, ToolNumber};
use crate::schedule::backups::Room;
use crate::store::{PrintRow, in_force};
use crate::web::{Attempt, MANY, WITHIN};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::format;
use dwell_dashboards::view::{PartView, Replace};
use std::collections::BTreeMap;

/// How far back outcomes are missed: what is longer ago nobody remembers.
const MISSED_FOR: Seconds = Seconds::minutes(7.0 * 24.0 * 60.0);
/// Prints that may have ended in that time began no earlier.
pub(super) const LOOKED_BACK: Seconds = Seconds::minutes(14.0 * 24.0 * 60.0);
/// How long a person may take to say how a print came out.
const PATIENCE: Seconds = Seconds::minutes(24.0 * 60.0);
/// One print without a word is no matter for an alarm (a proposal, no source).
const MISSING_MIN: usize = 3;
/// An alarm of the disk returns when there is this much more room than is wanted.
const DISK_DEADBAND_PERCENT: u64 = 10;

/// Something that is worth an alarm as long as it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::schedule) struct Matter {
    /// What it is about.
    pub(in crate::schedule) key: Key,
    /// What was found.
    pub(in crate::schedule) cause: String,
    /// What it leads to.
    pub(in crate::schedule) consequence: String,
    /// What to do.
    pub(in crate::schedule) action: String,
}

/// What was found for a rule; `None` where that is not known.
#[derive(Clone, Debug)]
pub(in crate::schedule) struct Matters {
    /// The rule.
    pub(in crate::schedule) rule: Rule,
    /// What holds.
    pub(in crate::schedule) found: Option<Vec<Matter>>,
}

/// The tools with parts that are past their limit, one matter each.
pub(super) fn parts_due(parts: &[PartView]) -> Vec<Matter> {
    let mut tools: BTreeMap<(&str, usize), Vec<&PartView>> = BTreeMap::new();
    for part in parts {
        tools.entry((&part.printer, part.tool)).or_default().push(part);
    }
    tools.into_iter().filter_map(|((printer, tool), parts)| part_due(printer, tool, &parts)).collect()
}

/// A name as a shell takes it for one word.
fn shown(name: &str) -> String {
    let is_plain = |letter: char| letter.is_alphanumeric() || matches!(letter, '-' | '_' | '.');
    if name.chars().all(is_plain) { name.to_owned() } else { format!("'{}'", name.replace('\'', "'\\''")) }
}

fn part_due(printer: &str, tool: usize, parts: &[&PartView]) -> Option<Matter> {
    let replace = |part: &PartView| part.expected.as_ref().ok().map(|expected| expected.replace.clone());
    let due: Vec<String> = parts
        .iter()
        .filter(|part| matches!(replace(part), Some(Replace::Due)))
        .filter_map(|part| {
            let (expected, wear) = (part.expected.as_ref().ok()?, part.wear_h.as_ref().ok()?);
            let (wear, limit) = (format::hours(*wear), format::hours(expected.limit_h));
            let (name, fitted) = (format::word(part.part), format::day(part.fitted));
            let accepted = format::percent(expected.accepted.get());
            Some(format!(
                "its {name}, fitted on {fitted}, has {wear} of wear; the chance that it fails stays under {accepted} up to {limit}"
            ))
        })
        .collect();
    if due.is_empty() {
        return None;
    }
    let commands: Vec<String> = parts
        .iter()
        .filter(|part| matches!(replace(part), Some(Replace::Due)))
        .map(|part| format!("`dwellwatch part fitted --printer {} --tool {tool} --part {}`", shown(printer), part.part))
        .collect();
    let later = parts.iter().filter_map(|part| match replace(part) {
        Some(Replace::Before { at, .. }) => Some(format!("the {} before {}", format::word(part.part), format::day(at))),
        Some(Replace::Due | Replace::Unknown(_)) | None => None,
    });
    let later: Vec<String> = later.collect();
    let also = if later.is_empty() { String::new() } else { format!(" Next: {}.", later.join(", ")) };
    let number = ToolNumber::new(tool)?;
    let subject = Subject { rule: Rule::PartDue, tool: Some(number) };
    Some(Matter {
        key: (Some(PrinterName::new(printer)?), subject),
        cause: format!("{number}: {}.{also}", due.join("; ")),
        consequence: "The chance that it fails is now higher than the one you accepted.".to_owned(),
        action: format!(
            "Replace it now, then run {}. Until then look at it before each print, and stay under its rating.",
            commands.join(" and ")
        ),
    })
}

/// Prints of the last days that nobody has said a word of. Once it stands, the last one of them counts: it does not come
/// and go with each print.
pub(super) fn outcome_missing(
    printer: &PrinterName,
    prints: &[PrintRow],
    stands: bool,
    now: Timestamp,
) -> Option<Matter> {
    let is_missed = |ended: Timestamp| (PATIENCE..MISSED_FOR).contains(&(now - ended));
    let is_silent = |print: &&PrintRow| print.ended.is_some_and(is_missed) && in_force(&print.outcomes).is_empty();
    if prints.iter().filter(is_silent).count() < if stands { 1 } else { MISSING_MIN } {
        return None;
    }
    let subject = Subject { rule: Rule::OutcomeMissing, tool: None };
    Some(Matter {
        key: (Some(printer.clone()), subject),
        // An alarm keeps its words while prints get theirs: it counts and names none.
        cause: format!(
            "Prints of the last {} wait for a word on how they came out.",
            format::days(MISSED_FOR.as_minutes() / 1440.0)
        ),
        consequence: "What nobody speaks of teaches nothing: which settings fail stays unknown.".to_owned(),
        action:
            "Say it on the prints' pages or with `dwellwatch note`. Where saying nothing means that all went well, set \
            `silence_means_clean` under `[learning]`; where nobody wants to say, take this alarm out of service."
                .to_owned(),
    })
}

/// A disk with less room than a backup and the record beside it need.
pub(super) fn disk_low(room: &Room, stands: bool) -> Option<Matter> {
    let deadband = if stands { room.needed / 100 * DISK_DEADBAND_PERCENT } else { 0 };
    (room.free < room.needed.saturating_add(deadband)).then(|| Matter {
        key: (None, Subject { rule: Rule::DiskLow, tool: None }),
        cause: format!(
            "The disk of the record, at {}, has {} free; {} should be: twice the record, and 200 MB at least.",
            room.folder.display(),
            format::bytes(room.free),
            format::bytes(room.needed)
        ),
        consequence: "Once it is full nothing more is recorded, and there is no room for a backup.".to_owned(),
        action: "Make room on that disk, or let older readings go: fewer `readings_days` under `[keep]`.".to_owned(),
    })
}

/// Many attempts on the dashboard, and the newest of them, where it is known.
pub(super) fn sign_in_failures(newest: Option<Attempt>) -> Matter {
    let newest = newest.map_or_else(String::new, |attempt| format!("; the newest was {}", attempt.words()));
    Matter {
        key: (None, Subject { rule: Rule::SignInFailures, tool: None }),
        cause: format!(
            "Somebody tried to act on the dashboard without the right to, {MANY} times or more within {}{newest}.",
            format::duration(WITHIN)
        ),
        consequence:
            "All were turned away. Whoever guesses right could acknowledge or shelve alarms and report outcomes."
                .to_owned(),
        action:
            "Find out who it was: a page of ours that was left open over a restart, or a program on this machine or a \
            page of another site in its browser; close it."
                .to_owned(),
    }
}
