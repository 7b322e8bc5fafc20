//! The report as one HTML file: styles and charts inside, no reference to anything outside, fit for paper.
//! Served by a web server it needs a policy that permits its inline style.

use super::summary::{coverage, disagreed, files, sentences, state, total};
use crate::alarms::{alarm, figures};
use crate::chart::{idle_days, patterns, print_days, worst_spans};
use crate::page::{name, refused, rehearsal_words, settings_rows};
use crate::view::ReportView;
use crate::{SAFETY_WORDS, format};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = concat!(
    include_str!("../style/tokens.css"),
    include_str!("../style/chart.css"),
    include_str!("../style/report.css")
);

/// The whole document.
#[must_use]
pub fn render_report_html(view: &ReportView) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { "Week " (view.week) " · dwellwatch" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    @if view.rehearsal { (rehearsal_words()) }
                    h1 { "Week " (view.week) }
                    p class="quiet" { (view.week.dates()) ", on the clock of " (format::zone_name(&view.zone)) ". " (coverage(view)) }
                    section class="summary" aria-label="In short" {
                        ul { @for sentence in sentences(view) { li { (sentence) } } }
                    }
                    (rates(view))
                    (charts(view))
                    (details(view))
                }
                footer { p { (SAFETY_WORDS) } }
                (patterns())
            }
        }
    }
    .into_string()
}

fn rates(view: &ReportView) -> Markup {
    html! {
        h2 { "Failures this week" }
        @if view.modes.is_empty() { p { "No failure mode has a tool-run to count." } } @else {
            p class="quiet" { "A tool-run is one tool in one print. Only those with a reported outcome count." }
            div class="scroll" tabindex="0" role="region" aria-label="Table: failures this week" { table {
                thead { tr { th { "Mode" } th { "Happened" } th { "Share of tool-runs" } } }
                tbody {
                    @for row in &view.modes {
                        tr {
                            th scope="row" { (format::word(row.mode)) }
                            td { (format::of(row.events, row.n)) }
                            td { @match &row.rate { Ok(rate) => (format::interval(*rate)), Err(why) => (why) } }
                        }
                    }
                }
            } }
        }
    }
}

fn charts(view: &ReportView) -> Markup {
    html! {
        h2 { "Prints" }
        @if total(view).is_some() { (print_days(view)) } @else { p { "No day of this week has a reading." } }
        h2 { "Waiting hot" }
        @if view.idle.is_empty() { p { "No tool was seen this week." } } @else { (idle_days(view)) }
        @if view.worst.is_empty() { p { "No idle span was measured this week." } }
        @else { (worst_spans(&view.worst, &view.zone)) }
    }
}

fn details(view: &ReportView) -> Markup {
    html! {
        (settings(view))
        h2 { "Alarms" }
        @if view.alarms.is_empty() { p { (format::NO_CALL) } }
        @for raised in &view.alarms { (alarm(raised, view.as_of, &view.zone, None)) }
        @if let Some(words) = format::recorded_quietly(view.n_quiet_alarms) { p { (crate::page::commands(&words)) } }
        h3 { "How the alarms did" }
        @match &view.alarm_figures {
            Some(found) => (figures(found, &view.zone)),
            None => p { "Nothing was recorded, so there is nothing to count." },
        }
        h2 { "Contact" }
        p {
            @if total(view).is_none() { "Nothing was recorded" }
            @else if view.gaps.n == 0 { "No gap" }
            @else {
                (format::counted(view.gaps.n, "gap")) ", " (format::duration(view.gaps.total)) " in all"
            }
            "; "
            @if view.refused.is_empty() { "no reading was left out." } @else { (refused(&view.refused)) "." }
            @if let Some(words) = disagreed(view) { " " (words) }
        }
        h2 { "Outcomes nobody reported" }
        @if view.unreported.is_empty() { p { "No ended print lacks one." } } @else {
            ul {
                @for print in &view.unreported {
                    li {
                        (name(print.name.as_deref())) " "
                        span class="quiet" { (print.printer) ", " (format::moment(print.started, &view.zone)) ", print " (print.id) }
                    }
                }
            }
        }
        (learned(view))
    }
}

fn settings(view: &ReportView) -> Markup {
    html! {
        h2 { "Settings in force" }
        @if view.settings.is_empty() { p { "No print ran this week." } } @else {
            p class="quiet" { "As of each tool's newest print of the week. What its job file asks for counts over what was typed in." }
        }
        @if !view.settings.is_empty() { (settings_table(view)) }
    }
}

/// A column a tool, a row a setting that is told of any.
fn settings_table(view: &ReportView) -> Markup {
    let told: Vec<_> = view.settings.iter().map(|tool| settings_rows(&tool.settings)).collect();
    let rows = told.first().map_or(0, |rows| rows.len());
    let row = |idx: usize| told.iter().map(move |rows| rows[idx].1.clone());
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="Table: settings in force" { table {
            thead { tr {
                th { "Setting" }
                @for tool in &view.settings { th { (tool.printer) " " (format::tool(tool.tool)) } }
            } }
            tbody {
                @for idx in (0..rows).filter(|idx| row(*idx).any(|value| value.is_some())) {
                    tr {
                        th scope="row" { (told[0][idx].0) }
                        @for value in row(idx) { td { (value.unwrap_or_else(|| format::NOT_TOLD.to_owned())) } }
                    }
                }
                tr {
                    th scope="row" { "Known from" }
                    @for tool in &view.settings { td { (files(tool)) } }
                }
            }
        } }
    }
}

fn learned(view: &ReportView) -> Markup {
    html! {
        h2 { "What the whole record says" }
        @if view.learned.is_empty() { p { "Nothing yet." } } @else {
            div class="scroll" tabindex="0" role="region" aria-label="Table: what the whole record says" { table {
                thead { tr { th { "Mode" } th { "Happened, of tool-runs" } th { "State" } } }
                tbody {
                    @for row in &view.learned {
                        tr {
                            th scope="row" { (format::word(row.mode)) }
                            td { (format::of(row.events, row.n)) }
                            td { (state(row.state)) }
                        }
                    }
                }
            } }
        }
    }
}
