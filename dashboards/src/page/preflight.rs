//! *Preflight*: a job file is sent, read and judged; nothing of it is kept.

use super::{Page, Place, shell};
use crate::chart::{Axis, Lane, budget, lane, lane_key};
use crate::format;
use crate::preflight::{PRACTICE, gravity, head, modes, risks_of, rows, unlearned_practice, whose};
use crate::view::{FindingView, JOB_BEGINS, PreflightCame, PreflightForm, PreflightPage, PreflightView, ToolAhead};
use maud::{Markup, html};

/// The whole page.
#[must_use]
pub fn render_preflight(view: &PreflightPage) -> String {
    let title = match &view.came {
        PreflightCame::Read(read) => format!("Preflight of {}", read.file),
        PreflightCame::Nothing | PreflightCame::Refused(_) => "Preflight".to_owned(),
    };
    let body = html! {
        h1 { "Preflight" }
        @match &view.came {
            PreflightCame::Nothing => {
                p class="lead" { "What will a job file ask of the tool that waits? Look before you print it." }
                (form(&view.form))
            }
            PreflightCame::Refused(why) => {
                p class="stale" role="alert" { (why) }
                (form(&view.form))
            }
            PreflightCame::Read(read) => { (shown(read)) h2 { "Another file" } (form(&view.form)) }
        }
    };
    shell(&Page { title: &title, place: Place::Preflight, frame: Some(&view.frame), body })
}

fn form(form: &PreflightForm) -> Markup {
    html! {
        form method="post" action="/preflight" enctype="multipart/form-data" class="preflight" {
            // What is small goes first: the file is read as it comes, for the printer that is chosen.
            input type="hidden" name="token" value=(form.token);
            @if form.printers.len() > 1 {
                label { "Printer"
                    select name="printer" {
                        @for printer in &form.printers {
                            option value=(printer) selected[form.chosen.as_ref() == Some(printer)] { (printer) }
                        }
                    }
                }
            }
            label class="file" { "Job file, G-code as text or packed, up to " (format::bytes(form.bytes_max))
                input type="file" name="file" required;
            }
            button type="submit" { "Read it" }
            span class="quiet" { "It is read on this machine and not kept." }
        }
    }
}

fn shown(view: &PreflightView) -> Markup {
    let (notes, first): (Vec<_>, Vec<_>) = view.findings.iter().partition(|found| found.gravity == "note");
    html! {
        p class="lead" { (view.file) }
        p class="facts" { @for phrase in head(view) { span { (phrase) } } }
        section aria-labelledby="findings" {
            h2 id="findings" { "What stands out" }
            @if view.findings.is_empty() { p { "Nothing." } }
            @for found in first { (finding(found)) }
            @if !notes.is_empty() {
                details id="notes" {
                    summary { (format::counted(u32::try_from(notes.len()).unwrap_or(u32::MAX), "note")) }
                    @for found in notes { (finding(found)) }
                }
            }
        }
        h2 { "Heat" }
        p class="quiet" { "Expected, from the first filament to the end; hours and minutes since the file's beginning." }
        @if !view.tools.is_empty() && view.begins.is_some() { (lane_key()) }
        @for tool in &view.tools { (tool_section(tool, view)) }
        (table(view))
        (risks(view))
    }
}

fn finding(found: &FindingView) -> Markup {
    let (class, sign) = match found.gravity {
        "grave" => ("finding grave", "▲"),
        "look" => ("finding look", "◆"),
        _ => ("finding", "○"),
    };
    html! {
        div class=(class) data-finding=(found.id) {
            p class="finding-head" {
                span class="sign" aria-hidden="true" { (sign) }
                strong { (gravity(found.gravity)) ", " (whose(found.tool)) ": " }
                (found.cause)
            }
            p { (found.consequence) }
            p { strong { "Do: " } (found.action) }
        }
    }
}

fn tool_section(tool: &ToolAhead, view: &PreflightView) -> Markup {
    let name = format::tool(tool.number);
    html! {
        article class="tool" {
            h3 { (name) " " span class="material" { (tool.material.as_deref().unwrap_or("material not told")) } }
            @if let Some(begins) = view.begins {
                (lane(&Lane {
                    id: format!("lane-{}", tool.number),
                    name: format!("{name}, as expected over the job"),
                    pieces: &tool.lane,
                    from: JOB_BEGINS + begins,
                    to: JOB_BEGINS + view.ends,
                    axis: Axis::Since(JOB_BEGINS),
                }))
            }
            (budget(tool.dose_max, tool.limit))
            p class="budget-words" {
                span {
                    strong { (format::share(tool.dose_max, tool.limit)) } " of the residence budget at worst: "
                    (format::dose_bare(tool.dose_max)) " of " (format::dose(tool.limit))
                }
            }
        }
    }
}

fn table(view: &PreflightView) -> Markup {
    html! {
        h2 { "What it asks of each tool" }
        @if view.tools.is_empty() { p { "The file names no tool." } } @else {
            div class="scroll" tabindex="0" role="region" aria-label="Table: what it asks of each tool" {
                table class="ahead" {
                    thead { tr { td {} @for tool in &view.tools { th scope="col" { (format::tool(tool.number)) } } } }
                    tbody {
                        @for row in rows(view) {
                            tr { th scope="row" { (row.label) } @for cell in &row.cells { td { (cell) } } }
                        }
                    }
                }
            }
        }
    }
}

fn risks(view: &PreflightView) -> Markup {
    let modes = modes(view);
    html! {
        h2 { "Risk of each failure mode" }
        @if modes.is_empty() {
            p { "Nothing is learned yet. Common practice, no source:" }
            ul { @for (mode, says) in PRACTICE { li { (format::word(mode)) ": " (says) } } }
        } @else {
            dl class="risks" {
                @for mode in modes { (mode_risk(mode, view)) }
            }
        }
    }
}

fn mode_risk(mode: &str, view: &PreflightView) -> Markup {
    html! {
        div {
            dt { (format::word(mode)) }
            dd {
                @for (tools, says) in risks_of(mode, view) { p { (tools) ": " (says) } }
                @if let Some(says) = unlearned_practice(mode, view) { p class="quiet" { "Common practice, no source: " (says) "." } }
            }
        }
    }
}
