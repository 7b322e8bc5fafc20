//! Failures of the period by mode, in a sentence and as a table. Owns what counts as reported: a failure told without
//! its tool is on no tool-run, and is never called absent.

use super::section::Section;
use crate::format;
use crate::learn::words::capital;
use crate::view::{Failures, ModeRow, ReportView};

/// Failures by mode, the most frequent first, with the share of all that they make up together.
pub(super) fn failures(view: &ReportView) -> Section {
    const HEADING: &str = "Failures by mode";
    let untold: Vec<String> = unplaced(view).collect();
    if view.modes.iter().all(|row| row.n == 0) && untold.is_empty() {
        return Section::said(HEADING, vec!["No failure mode has a tool-run to count.".to_owned()]);
    }
    let (told, never): (Vec<_>, Vec<_>) = view.modes.iter().zip(together(view)).partition(|(row, _)| row.events > 0);
    let mut lines = vec!["A tool-run is one tool in one print. Only those with a reported outcome count.".to_owned()];
    if !untold.is_empty() {
        lines.push(format!("Reported, but on no tool-run: {}.", untold.join(", ")));
    }
    let never: Vec<String> =
        never.iter().filter(|(row, _)| row.unplaced == 0).map(|(row, _)| format::word(row.mode)).collect();
    if !never.is_empty() {
        lines.push(format!("Not reported: {}.", never.join(", ")));
    }
    let rows = told.into_iter().map(|(row, together)| {
        let rate = match &row.rate {
            Ok(rate) => format::interval(*rate),
            Err(why) => why.clone(),
        };
        vec![format::word(row.mode), format::of(row.events, row.n), rate, together.unwrap_or_default()]
    });
    Section::tabled(HEADING, lines, &["Mode", "Happened", "Share of tool-runs", "With those above"], rows.collect())
}

/// What share of all failures each mode and those above it make up; `None` where there is none.
pub(super) fn together(view: &ReportView) -> Vec<Option<String>> {
    view.shares_so_far().into_iter().map(|share| share.map(format::percent)).collect()
}

/// Failures by mode, most first.
pub(super) fn of_modes(view: &ReportView) -> String {
    let happened = happened(view);
    let mut named: Vec<String> =
        happened.iter().map(|row| format!("{} {}", format::word(row.mode), row.events)).collect();
    named.extend(unplaced(view));
    match (named.is_empty(), view.runs.n) {
        (true, 0) => "Which tool it was on is not worked out yet.".to_owned(),
        (false, 0) => format!("{}.", capital(&named.join("; "))),
        (true, _) => format!("{}.", share("tool-runs", &view.runs)),
        (false, _) => format!("{}: {}.", share("tool-runs", &view.runs), named.join(", ")),
    }
}

/// What was told without a tool that took part, a mode each.
fn unplaced(view: &ReportView) -> impl Iterator<Item = String> {
    view.modes.iter().filter(|row| row.unplaced > 0).map(|row| without_tool(row.mode, row.unplaced))
}

/// `adhesion 1 (tool not told)`: such a print counts as failed, and none of its tool-runs does.
pub(super) fn without_tool(mode: &str, n: u32) -> String {
    format!("{} {n} (tool not told)", format::word(mode))
}

/// What happened in the period, the most frequent first.
pub(super) fn happened(view: &ReportView) -> Vec<&ModeRow> {
    let mut happened: Vec<&ModeRow> = view.modes.iter().filter(|row| row.events > 0).collect();
    happened.sort_by_key(|row| std::cmp::Reverse(row.events));
    happened
}

pub(super) fn share(of: &str, failures: &Failures) -> String {
    let Failures { events, n, rate } = failures;
    match rate {
        Ok(rate) => format!("{events} of {n} {of}, {}", format::interval(*rate)),
        Err(_) => format!("{events} of {n} {of}"),
    }
}
