//! What a job file will ask, as plain text for a terminal.

use super::{PRACTICE, gravity, head, modes, picture, risks_of, rows, unlearned_practice, whose};
use crate::plain::Lines;
use crate::view::PreflightView;
use crate::{SAFETY_WORDS, format};

const COLUMNS: usize = 90;
/// Columns of the table's labels, and tools side by side.
const LABEL: usize = 24;
const ABREAST: usize = 2;

/// The whole text.
#[must_use]
pub fn render_preflight_text(view: &PreflightView) -> String {
    let mut out = Lines::new(COLUMNS);
    out.wrapped("", &view.file);
    for phrase in head(view) {
        out.wrapped("  ", &phrase);
    }
    table(view, &mut out);
    lanes(view, &mut out);
    risks(view, &mut out);
    findings(view, &mut out);
    out.line("");
    out.wrapped("", SAFETY_WORDS);
    out.into_text()
}

fn table(view: &PreflightView, out: &mut Lines) {
    out.heading("What it asks of each tool");
    if view.tools.is_empty() {
        out.line("  The file names no tool.");
    }
    let width = (COLUMNS - 2 - LABEL) / ABREAST;
    let rows = rows(view);
    for (at, tools) in view.tools.chunks(ABREAST).enumerate() {
        if at > 0 {
            out.line("");
        }
        let names: Vec<_> = tools.iter().map(|tool| format::tool(tool.number)).collect();
        out.row(("", LABEL), &names, width);
        for row in &rows {
            let cells: Vec<_> = row.cells.iter().skip(at * ABREAST).take(ABREAST).cloned().collect();
            out.row((row.label, LABEL), &cells, width);
        }
    }
}

fn lanes(view: &PreflightView, out: &mut Lines) {
    let Some([marks, times]) = picture::axis(view) else { return };
    out.heading("From the first filament to the end, hours:minutes since the file's beginning");
    for tool in &view.tools {
        if let Some(lane) = picture::lane(tool, view) {
            out.line(&format!("  {:<4}{lane}", format::tool(tool.number)));
        }
    }
    out.line(&format!("      {marks}"));
    out.line(&format!("      {times}"));
    out.wrapped("  ", picture::KEY);
}

fn risks(view: &PreflightView, out: &mut Lines) {
    out.heading("Risk of each failure mode");
    let modes = modes(view);
    if modes.is_empty() {
        out.line("  Nothing is learned yet. Common practice, no source:");
        for (mode, says) in PRACTICE {
            out.wrapped("  - ", &format!("{}: {says}", format::word(mode)));
        }
    }
    for mode in modes {
        for (tools, says) in risks_of(mode, view) {
            out.wrapped("  - ", &format!("{}, {tools}: {says}", format::word(mode)));
        }
        if let Some(says) = unlearned_practice(mode, view) {
            out.wrapped("    ", &format!("Common practice, no source: {says}."));
        }
    }
}

fn findings(view: &PreflightView, out: &mut Lines) {
    out.heading("What stands out");
    if view.findings.is_empty() {
        out.line("  Nothing.");
    }
    for finding in &view.findings {
        let head = format!("{}, {}: {}", gravity(finding.gravity), whose(finding.tool), finding.cause);
        out.wrapped("  - ", &head);
        out.wrapped("    ", &finding.consequence);
        out.wrapped("    ", &format!("Do: {}", finding.action));
    }
}
