//! The report's own HTML, the same in the file that stands alone and on the site: first page, then details.

use super::brief::blocks;
use super::modes;
use super::pareto::pareto;
use super::section::{Section, Table};
use super::sections;
use super::summary::{coverage, files};
use crate::alarms::{alarm, figures};
use crate::chart::{idle_days, print_days, worst_spans};
use crate::format;
use crate::page::{name, settings_rows};
use crate::view::ReportView;
use maud::{Markup, html};

/// The whole of it. On the site prints are linked; in a file such a link would lead nowhere.
pub(crate) fn body(view: &ReportView, is_site: bool) -> Markup {
    html! {
        article class="report" {
            h1 { (view.period.title()) }
            p class="quiet" {
                @if view.period.week().is_some() { (view.period.dates()) ", on" } @else { "On" }
                " the clock of " (format::zone_name(&view.zone)) ". " (coverage(view))
            }
            (brief(view))
            (details(view, is_site))
        }
    }
}

fn brief(view: &ReportView) -> Markup {
    html! {
        div class="brief" {
            @for block in blocks(view) {
                section {
                    h2 { (block.heading) }
                    p class="answer" { (block.lead) }
                    @if !block.points.is_empty() {
                        ul { @for point in &block.points { li { (crate::page::commands(point)) } } }
                    }
                }
            }
        }
    }
}

fn details(view: &ReportView, is_site: bool) -> Markup {
    let is_read = view.total().is_some();
    html! {
        @if is_read {
            // The chart's own table holds what the section's would.
            (section(&Section { table: None, ..modes::failures(view) }))
            (pareto(view))
            h2 { "Prints" }
            (print_days(view))
            (section(&sections::heat(view)))
            @if !view.idle.is_empty() { (idle_days(view)) }
            h2 { "Most cooked idle spans" }
            @if view.worst.is_empty() { p { "No idle span was measured." } }
            @else { (worst_spans(&view.worst, &view.zone)) }
            (settings(view))
            (alarms(view))
            (section(&sections::trials(view)))
        }
        (section(&sections::parts_in_use(view)))
        @if is_read {
            (section(&sections::contact(view)))
            @if is_site { (unreported(view)) } @else { (section(&sections::unreported(view))) }
        }
        (section(&sections::sensitivity(view)))
        (section(&sections::learned(view)))
    }
}

/// More sentences than these are a list.
const FEW: usize = 2;

fn section(section: &Section) -> Markup {
    html! {
        h2 { (section.heading) }
        @if section.lines.len() > FEW { ul { @for line in &section.lines { li { (line) } } } }
        @else { @for line in &section.lines { p { (line) } } }
        @if let Some(table) = &section.table { (tabled(table, section.heading)) }
    }
}

fn tabled(table: &Table, name: &str) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label={ "Table: " (name) } { table {
            thead { tr { @for cell in &table.head { th scope="col" { (cell) } } } }
            tbody {
                @for row in &table.rows {
                    tr {
                        @for (idx, cell) in row.iter().enumerate() {
                            @if idx == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                        }
                    }
                }
            }
        } }
    }
}

/// With more alarms than these the grave ones alone are told in all their words, and no more of those either.
const ALARMS_MAX: usize = 10;

fn alarms(view: &ReportView) -> Markup {
    let few = view.alarms.len() <= ALARMS_MAX;
    let (mut whole, mut rest): (Vec<_>, Vec<_>) = view.alarms.iter().partition(|alarm| few || alarm.priority == "high");
    rest.extend(whole.split_off(whole.len().min(ALARMS_MAX)));
    html! {
        h2 { "Alarms" }
        @if view.alarms.is_empty() { p { (format::NO_CALL) } }
        @for raised in whole { (alarm(raised, view.as_of, &view.zone, None)) }
        @if !rest.is_empty() {
            ul { @for line in sections::alarms_by_kind(&rest, &view.zone) { li { (line) } } }
        }
        @if let Some(words) = format::recorded_quietly(view.n_quiet_alarms) { p { (crate::page::commands(&words)) } }
        h3 { "How the alarms did" }
        @match &view.alarm_figures {
            Some(found) => (figures(found, &view.zone)),
            None => p { "Nothing was recorded, so there is nothing to count." },
        }
    }
}

fn unreported(view: &ReportView) -> Markup {
    let plain = sections::unreported(view);
    html! {
        h2 { (plain.heading) }
        @if view.unreported.is_empty() { @for line in &plain.lines { p { (line) } } } @else {
            ul {
                @for print in &view.unreported {
                    li {
                        a href={ "/prints/" (print.id) } { "Print " (print.id) ": " (name(print.name.as_deref())) }
                        ", " (print.printer) ", " (format::moment_short(print.started, &view.zone))
                    }
                }
            }
        }
    }
}

fn settings(view: &ReportView) -> Markup {
    html! {
        h2 { "Settings in force" }
        @if view.settings.is_empty() { p { "No print ran." } } @else {
            p class="quiet" { "As of each tool's newest print. What its job file asks for counts over what was typed in." }
            (settings_table(view))
        }
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
                th scope="col" { "Setting" }
                @for tool in &view.settings { th scope="col" { (tool.printer) " " (format::tool(tool.tool)) } }
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
