//! One print: what was said of it, what was expected, each tool's lane, settings, waits and tool changes.

mod lanes;
mod settings;

use super::outcome::{Ask, Back, clean_form, failure_form, history, just_done};
use super::prints::{end, name, outcomes};
use super::{Page, Place, being_worked_out, shell};
use crate::chart::span_table;
use crate::format;
use crate::view::{Foreseen, ForeseenRow, JobFileView, PrintView, SpanRow, WordFate};
use dwell_analysis::units::Seconds;
use maud::{Markup, html};

pub(crate) use settings::settings_rows;

/// Rows that a table of waits or of tool changes has at most: a page is no list of thousands.
const ROWS_MAX: usize = 40;
/// Failure modes that are shown at once, the likeliest first.
const MODES_SHOWN: usize = 6;

/// The script that goes nearer by dragging; the page asks for it at `/nearer.js`.
pub const NEARER_SCRIPT: &str = include_str!("../style/nearer.js");

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
        (foreseen(view))
        h2 id="heat" { "Heat" }
        @if view.tools.is_empty() { p { "No tool was told of in this print." } } @else { (lanes::lanes(view)) }
        (settings::section(view))
        (waits(view))
        (changes(view))
        (disagreements(view))
        script src="/nearer.js" defer {}
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

fn report_outcome(view: &PrintView) -> Markup {
    let n_tools = view.tools.len();
    let ask = Ask { print: view.print.id, n_tools, form: &view.form, back: Back::Print };
    let stands = view.words.iter().any(|word| word.fate == WordFate::Stands);
    let is_open = !stands && view.print.ended.is_some();
    html! {
        section class="outcomes" aria-labelledby="outcome" {
            h2 id="outcome" { "How did it come out?" }
            @if let Some(done) = &view.done { (just_done(done, &view.form, Back::Print)) }
            @if is_open {
                p { "Nobody has said yet. Until then this print counts as unknown, neither clean nor failed." }
            }
            @if !view.words.is_empty() { (history(view.print.id, &view.words, &view.form, &view.frame.zone)) }
            div class="taps" {
                (clean_form(&ask))
                span class="quiet" { "Nothing went wrong, on any tool." }
            }
            details id="went-wrong" open[is_open] { summary { "Something went wrong" } (failure_form(&ask)) }
        }
    }
}

fn foreseen(view: &PrintView) -> Markup {
    html! {
        section aria-labelledby="foreseen" {
            h2 id="foreseen" { "What was expected, and what happened" }
            @match &view.foreseen {
                Foreseen::Running => p { "It is still on. Once it has ended, what was expected of it stands here beside what happened." },
                Foreseen::NotYet => p { (being_worked_out(Some(&format!("/prints/{}#foreseen", view.print.id)))) },
                Foreseen::NotAmong => p { "There is no forecast of it: it is newer than what was last worked out of the record, or no tool of it was seen at work." },
                Foreseen::NothingKnown => p { "There is no forecast of it: nobody had spoken of any print before it began." },
                Foreseen::Known(rows) => (foreseen_rows(rows)),
            }
        }
    }
}

fn foreseen_rows(rows: &[ForeseenRow]) -> Markup {
    let (shown, rest) = rows.split_at(rows.len().min(MODES_SHOWN));
    html! {
        p class="quiet" {
            "The chance of each failure, forecast by what was known of earlier prints before this one began, for its own \
             settings and waits. Beside it the usual rate until then, whatever the print."
        }
        (foreseen_table(shown, "Chances before the print, the likeliest first"))
        @if !rest.is_empty() {
            details id="foreseen-rest" {
                summary { (format::counted(u32::try_from(rest.len()).unwrap_or(u32::MAX), "less likely row")) }
                (foreseen_table(rest, "The less likely chances"))
            }
        }
    }
}

fn foreseen_table(rows: &[ForeseenRow], caption: &str) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label={ "Table: " (caption) } {
            table class="foreseen" {
                caption class="unseen" { (caption) }
                thead { tr { th scope="col" { "Failure" } th scope="col" { "Chance" } th scope="col" { "Usual" } th scope="col" { "Happened" } } }
                tbody {
                    @for row in rows {
                        tr class=[(row.happened == Some(true)).then_some("happened")] {
                            th scope="row" { (format::tool(row.tool)) " " (format::word(row.mode)) }
                            td { (chance(row)) }
                            td { (format::percent(row.base)) " " span class="quiet" { "(" (row.events) " of " (row.n) ")" } }
                            td { (match row.happened { Some(true) => "yes", Some(false) => "no", None => format::NOT_REPORTED }) }
                        }
                    }
                }
            }
        }
    }
}

/// The chance as a bar with the usual rate as a line across it, and in figures.
fn chance(row: &ForeseenRow) -> Markup {
    let share = |of: f64| format!("{:.1}%", of.clamp(0.0, 1.0) * 100.0);
    html! {
        span class="chance" {
            span class="figure" { (format::percent(row.chance)) }
            svg width="100%" height="12" aria-hidden="true" {
                rect class="budget-track" x="0" y="0.5" width="100%" height="11" {}
                rect class="mark budget-used" x="0" y="0.5" width=(share(row.chance)) height="11" {}
                line class="limit" x1=(share(row.base)) x2=(share(row.base)) y1="0" y2="12" {}
            }
        }
    }
}

fn job_file(file: &JobFileView) -> String {
    let place = if file.from == "host" { "given by the host" } else { "found in the folder" };
    if file.is_foreign {
        return format!("the job file {place} is not this print's, and does not count");
    }
    format!("job file {place}, expected to take {}", format::duration(file.expected))
}

fn disagreements(view: &PrintView) -> Markup {
    let n = view.disagreements.len();
    html! {
        @if n > 0 {
            h2 { "Host and job file disagree" }
            p { "The host named another tool than the job file has at work. The host's word counts." }
            @if n > ROWS_MAX { p class="quiet" { "The first " (ROWS_MAX) " of " (n) "." } }
            div class="scroll" tabindex="0" role="region" aria-label="Table: host and job file disagree" { table {
                thead { tr { th scope="col" { "Noticed" } th scope="col" { "Host" } th scope="col" { "Job file" } } }
                tbody {
                    @for row in view.disagreements.iter().take(ROWS_MAX) {
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

/// The waits with the largest doses, as a table.
fn waits(view: &PrintView) -> Markup {
    let mut worst: Vec<SpanRow> = view.spans.clone();
    worst.sort_by(|a, b| dose_of(b).total_cmp(&dose_of(a)));
    worst.truncate(ROWS_MAX);
    html! {
        h2 { "Idle spans" }
        @if view.spans.is_empty() { p { "No tool waited hot in this print, as far as readings tell." } } @else {
            details id="waits" open[view.spans.len() <= 8] {
                summary {
                    @if view.spans.len() > ROWS_MAX {
                        "The " (ROWS_MAX) " with the largest doses, of " (view.spans.len())
                    } @else { (format::counted(u32::try_from(view.spans.len()).unwrap_or(u32::MAX), "idle span")) ", largest dose first" }
                }
                div class="scroll" tabindex="0" role="region" aria-label="Table: idle spans" {
                    (span_table(&worst, &view.frame.zone))
                }
            }
        }
    }
}

/// What orders waits; one that was not measured comes last.
fn dose_of(span: &SpanRow) -> f64 {
    span.dose.map_or(-1.0, dwell_analysis::units::DoseMinutes::get)
}

fn changes(view: &PrintView) -> Markup {
    let inside = || view.changes.iter().filter(|change| (view.shown.0..=view.shown.1).contains(&change.at));
    let n = inside().count();
    let is_part = view.shown != (view.print.started, view.until);
    html! {
        h2 { "Tool changes" }
        @if view.changes.is_empty() { p { "None seen." } } @else if n == 0 { p { "None in the part that is shown." } } @else {
            details id="changes" {
                summary {
                    (format::counted(u32::try_from(n).unwrap_or(u32::MAX), "tool change"))
                    @if is_part { " in the part that is shown" }
                    @if n > ROWS_MAX { ": the first " (ROWS_MAX) }
                }
                table {
                    caption class="unseen" { "Tool changes" }
                    thead { tr { th scope="col" { "Seen" } th scope="col" { "From" } th scope="col" { "To" } th scope="col" { "Known from" } } }
                    tbody {
                        @for change in inside().take(ROWS_MAX) {
                            tr {
                                td { (format::clock(change.at, &view.frame.zone)) }
                                td { (format::tool(change.from)) }
                                td { (format::tool(change.to)) }
                                td { (format::word(change.source)) }
                            }
                        }
                    }
                }
                @if n > ROWS_MAX { p class="quiet" { "Zoom in above to see those of a part of the print." } }
            }
        }
    }
}
