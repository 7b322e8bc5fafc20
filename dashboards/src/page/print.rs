//! One print: facts, outcome, each tool's lane, tool changes and idle spans.

use super::prints::{end, name, outcomes, severity};
use super::{Page, Place, shell};
use crate::chart::{Axis, Lane, lane, lane_key, span_table};
use crate::format;
use crate::view::{JobFileView, OutcomeRow, PrintTool, PrintView, Setting, SettingsView};
use dwell_analysis::units::Seconds;
use maud::{Markup, html};

/// The whole page.
#[must_use]
pub fn render_print(view: &PrintView) -> String {
    let print = &view.print;
    let title = name(print.name.as_deref());
    let body = html! {
        h1 { (title) }
        p class="facts" {
            span { (print.printer) }
            span { "began " (format::moment(print.started, &view.frame.zone)) }
            span { (end(print)) }
            span { (format::counted(print.tool_changes, "tool change")) }
            span { (no_contact(view.gap)) }
            @if let Some(file) = &view.job_file { span { (job_file(file)) } }
            span { "outcome: " (outcomes(print)) }
        }
        (report_outcome(view))
        h2 { "Heat" }
        @if view.tools.is_empty() { p { "No tool was told of in this print." } } @else { (lane_key()) }
        @for tool in &view.tools { (tool_section(tool, view)) }
        (changes(view))
        (disagreements(view))
        h2 { "Idle spans" }
        @if view.spans.is_empty() { p { "No tool waited hot in this print, as far as readings tell." } } @else {
            div class="scroll" tabindex="0" role="region" aria-label="Table: idle spans" {
                (span_table(&view.spans, &view.frame.zone))
            }
        }
    };
    shell(&Page { title, place: Place::Prints, frame: Some(&view.frame), body })
}

fn no_contact(gap: Seconds) -> String {
    if gap > Seconds::ZERO {
        format!("without contact for {}", format::duration(gap))
    } else {
        "in contact throughout".to_owned()
    }
}

fn tool_section(tool: &PrintTool, view: &PrintView) -> Markup {
    let tool_name = format::tool(tool.number);
    let missing = || format::NOT_MEASURED.to_owned();
    html! {
        article class="tool" {
            h3 { (tool_name) " " span class="material" { (tool.settings.material.as_deref().unwrap_or("material not told")) } }
            p class="facts" {
                @if let Some(idle) = tool.idle { span { "waited hot " (format::duration(idle)) " in all" } }
                span { "longest wait: " (tool.idle_max.map_or_else(missing, format::duration)) }
                span { "largest dose of one wait: " (tool.dose_max.map_or_else(missing, format::dose)) }
                span { "ooze: " (tool.ooze.map_or_else(missing, format::cubic_mm)) }
            }
            (lane(&Lane {
                id: format!("lane-{}", tool.number),
                name: format!("{tool_name} over the whole print"),
                pieces: &tool.lane,
                from: view.print.started,
                to: view.until,
                axis: Axis::Clock(&view.frame.zone),
            }))
            details id={ "settings-" (tool.number) } { summary { "Settings in force" } (settings(&tool.settings)) }
        }
    }
}

fn settings(told: &SettingsView) -> Markup {
    html! {
        dl {
            @for (key, value) in settings_rows(told) {
                div { dt { (key) } dd { (value.unwrap_or_else(|| format::NOT_TOLD.to_owned())) } }
            }
        }
    }
}

/// Each setting's name and words, with where it is known from; `None` is not told.
pub(crate) fn settings_rows(told: &SettingsView) -> [(&'static str, Option<String>); 8] {
    let yes_no = |told: bool| if told { "yes" } else { "no" }.to_owned();
    let celsius = |value| format::celsius(Some(value));
    [
        ("Material", told.material.clone()),
        ("Print temperature", setting(told.print, celsius)),
        ("Standby temperature", setting(told.standby, celsius)),
        ("Retraction", setting(told.retract, format::millimetres)),
        ("Retraction speed", setting(told.retract_mm_s, format::mm_per_second)),
        ("Prime volume", setting(told.prime, format::cubic_mm)),
        ("Ooze shield", told.ooze_shield.map(yes_no)),
        ("Filament dried", told.dried.map(yes_no)),
    ]
}

fn setting<T: Copy>(told: Option<Setting<T>>, words: impl Fn(T) -> String) -> Option<String> {
    told.map(|told| match told {
        Setting::Typed(value) => words(value),
        Setting::JobFile { value, typed: None } => format!("{} (job file)", words(value)),
        Setting::JobFile { value, typed: Some(typed) } => {
            format!("{} (job file; typed in: {})", words(value), words(typed))
        }
    })
}

fn job_file(file: &JobFileView) -> String {
    let place = if file.from == "host" { "given by the host" } else { "found in the folder" };
    if file.is_foreign {
        return format!("the job file {place} is not this print's, and does not count");
    }
    format!("job file {place}, expected to take {}", format::duration(file.expected))
}

fn disagreements(view: &PrintView) -> Markup {
    html! {
        @if !view.disagreements.is_empty() {
            h2 { "Host and job file disagree" }
            p { "The host named another tool than the job file has at work. The host's word counts." }
            div class="scroll" tabindex="0" role="region" aria-label="Table: host and job file disagree" { table {
                thead { tr { th { "Noticed" } th { "Host" } th { "Job file" } } }
                tbody {
                    @for row in &view.disagreements {
                        tr {
                            td { (format::clock(row.at, &view.frame.zone)) }
                            td { (format::tool(row.host)) }
                            td { (format::tool(row.file)) }
                        }
                    }
                }
            } }
        }
    }
}

fn changes(view: &PrintView) -> Markup {
    html! {
        h2 { "Tool changes" }
        @if view.changes.is_empty() { p { "None seen." } } @else {
            details id="changes" {
                summary { (format::counted(view.print.tool_changes, "tool change")) }
                table {
                    thead { tr { th { "Seen" } th { "From" } th { "To" } th { "Known from" } } }
                    tbody {
                        @for change in &view.changes {
                            tr {
                                td { (format::clock(change.at, &view.frame.zone)) }
                                td { (format::tool(change.from)) }
                                td { (format::tool(change.to)) }
                                td { (format::word(change.source)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn report_outcome(view: &PrintView) -> Markup {
    let action = format!("/prints/{}/outcome", view.print.id);
    html! {
        section class="outcomes" aria-labelledby="outcome" {
            h2 id="outcome" { "How did it come out?" }
            @for outcome in &view.print.outcomes { (told(outcome, view)) }
            @if view.print.outcomes.is_empty() && view.print.ended.is_some() {
                p { "Nobody has said yet. Until then this print counts as unknown, neither clean nor failed." }
            }
            form method="post" action=(action) {
                input type="hidden" name="token" value=(view.form.token);
                input type="hidden" name="tool" value="all";
                input type="hidden" name="mode" value="clean";
                button type="submit" class="clean" { "Clean" }
                span class="quiet" { "Nothing went wrong, on any tool." }
            }
            (failure_form(view, &action))
        }
    }
}

fn told(outcome: &OutcomeRow, view: &PrintView) -> Markup {
    html! {
        p class="told" {
            strong { (outcome.tool.map_or_else(|| "Whole print".to_owned(), format::tool)) ": " (format::word(outcome.mode)) }
            @if let Some(number) = outcome.severity { ", " (severity(number)) }
            @if let Some(note) = &outcome.note { ". “" (note) "”" }
            " " span class="quiet" { "said " (format::moment(outcome.at, &view.frame.zone)) }
        }
    }
}

fn failure_form(view: &PrintView, action: &str) -> Markup {
    html! {
        form method="post" action=(action) class="failure" {
            input type="hidden" name="token" value=(view.form.token);
            label { "Tool"
                select name="tool" {
                    option value="all" { "the whole print" }
                    @for tool in &view.tools { option value=(tool.number) { (format::tool(tool.number)) } }
                }
            }
            label { "What went wrong"
                select name="mode" { @for mode in &view.form.modes { option value=(mode) { (format::word(mode)) } } }
            }
            label { "How bad"
                select name="severity" { @for number in 1..=3 { option value=(number) { (severity(number)) } } }
            }
            label class="note" { "Note, if any" input type="text" name="note" maxlength="500" autocomplete="off"; }
            button type="submit" { "Report this failure" }
        }
    }
}
