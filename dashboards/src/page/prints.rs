//! The list of prints.

use super::{Page, Place, shell};
use crate::format;
use crate::view::{OutcomeRow, PrintRow, PrintsView};
use maud::{Markup, html};

/// The whole page.
#[must_use]
pub fn render_prints(view: &PrintsView) -> String {
    let body = html! {
        h1 { "Prints" }
        @if view.rows.is_empty() {
            p class="lead" { "No print has been seen yet. The first one will stand here as soon as it begins." }
        } @else {
            ol class="prints" { @for row in &view.rows { li { (entry(row, view)) } } }
        }
    };
    shell(&Page { title: "Prints", place: Place::Prints, frame: Some(&view.frame), body })
}

fn entry(row: &PrintRow, view: &PrintsView) -> Markup {
    html! {
        p class="print-head" {
            a href={ "/prints/" (row.id) } { (name(row.name.as_deref())) }
            span class="quiet" { (row.printer) ", " (format::moment(row.started, &view.frame.zone)) }
        }
        p class="facts" {
            span { (end(row)) }
            span { (format::counted(row.tool_changes, "tool change")) }
            span { "worst dose: " (row.dose_worst.map_or_else(|| format::NOT_MEASURED.to_owned(), format::dose)) }
            span class=(if row.outcomes.is_empty() { "unreported" } else { "outcome" }) {
                "outcome: " (outcomes(row))
            }
        }
    }
}

/// The job's name, or that there is none.
pub(crate) fn name(name: Option<&str>) -> &str {
    name.unwrap_or("a print without a name")
}

/// How a print ended and how long it took.
pub(super) fn end(row: &PrintRow) -> String {
    let how = match row.end {
        Some("unknown") => "end not seen",
        Some(word) => word,
        None => "running",
    };
    row.ended.map_or_else(|| how.to_owned(), |at| format!("{how} after {}", format::duration(at - row.started)))
}

/// The outcomes in force, in one line.
pub(super) fn outcomes(row: &PrintRow) -> String {
    match (row.outcomes.as_slice(), row.ended) {
        ([], None) => "not yet".to_owned(),
        ([], Some(_)) => format::NOT_REPORTED.to_owned(),
        (some, _) => some.iter().map(outcome).collect::<Vec<_>>().join("; "),
    }
}

fn outcome(row: &OutcomeRow) -> String {
    let tool = row.tool.map(|tool| format!("{} ", format::tool(tool))).unwrap_or_default();
    let severity = row.severity.map(|severity| format!(", {}", self::severity(severity))).unwrap_or_default();
    format!("{tool}{}{severity}", format::word(row.mode))
}

/// The severity's number and what it means.
pub(super) fn severity(number: i64) -> String {
    let meaning = match number {
        1 => "slight",
        2 => "serious",
        3 => "grave",
        _ => return format!("severity {number}"),
    };
    format!("{number} {meaning}")
}
