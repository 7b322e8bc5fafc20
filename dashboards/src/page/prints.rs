//! The list of prints, and what is looked for in it.

use super::outcome::{Back, just_done, silent_strip};
use super::{Page, Place, shell};
use crate::format;
use crate::view::{OutcomeRow, PrintRow, PrintsFilter, PrintsView};
use maud::{Markup, html};

/// How a print can have ended, as the form offers it.
const ENDS: [(&str, &str); 5] = [
    ("completed", "completed"),
    ("cancelled", "cancelled"),
    ("failed", "failed"),
    ("unknown", "end not seen"),
    ("running", "still running"),
];

/// What can have been said of a print, before the failure modes.
const SAID: [(&str, &str); 3] = [("none", "not reported"), ("clean", "clean"), ("failure", "any failure")];

/// The whole page.
#[must_use]
pub fn render_prints(view: &PrintsView) -> String {
    let body = html! {
        h1 { "Prints" }
        @if let Some(done) = &view.done { (just_done(done, &view.form, Back::List)) }
        (silent_strip(&view.silent, &view.form, &view.frame.zone))
        @if view.n_all == 0 {
            p class="lead" { "No print has been seen yet. The first one will stand here as soon as it begins." }
        } @else {
            (search(view))
            p class="found" { (found(view)) }
            @if !view.rows.is_empty() { ol class="prints" { @for row in &view.rows { li { (entry(row, view)) } } } }
            (pages(view))
        }
    };
    shell(&Page { title: "Prints", place: Place::Prints, frame: Some(&view.frame), body })
}

fn found(view: &PrintsView) -> String {
    let all = format::counted(view.n_all, "print");
    let of_page = if view.n_pages > 1 { format!("; page {} of {}", view.page, view.n_pages) } else { String::new() };
    match view.n_found {
        0 => format!("None of {all} is like that. Take a condition away to find more."),
        n if n == view.n_all => format!("{all}{of_page}"),
        n => format!("{n} of {all}{of_page}"),
    }
}

fn search(view: &PrintsView) -> Markup {
    let filter = &view.filter;
    let is_used = *filter != PrintsFilter::default();
    html! {
        details class="search" open[is_used] {
            summary { "Find prints" }
            form method="get" action="/prints" {
                @if view.printers.len() > 1 || !filter.printer.is_empty() {
                    label { "Printer"
                        select name="printer" {
                            option value="" { "any" }
                            @for name in &view.printers { option value=(name) selected[*name == filter.printer] { (name) } }
                        }
                    }
                }
                label { "Outcome"
                    select name="said" {
                        option value="" { "any" }
                        @for (value, words) in SAID { option value=(value) selected[value == filter.said] { (words) } }
                        @for mode in &view.form.modes {
                            option value=(mode) selected[*mode == filter.said] { (format::word(mode)) }
                        }
                    }
                }
                label { "Ended"
                    select name="end" {
                        option value="" { "in any way" }
                        @for (value, words) in ENDS { option value=(value) selected[value == filter.end] { (words) } }
                    }
                }
                label { "Name has in it" input type="search" name="name" value=(filter.name) maxlength="200"; }
                label { "Begun from" input type="date" name="from" value=(filter.from); }
                label { "to" input type="date" name="to" value=(filter.to); }
                button type="submit" { "Find" }
                @if is_used { a class="button" href="/prints" { "All prints" } }
            }
        }
    }
}

fn pages(view: &PrintsView) -> Markup {
    let to = |page: u32| format!("/prints?{}", query(&view.filter, page));
    html! {
        @if view.n_pages > 1 {
            nav class="pages" aria-label="Pages of the list" {
                @if view.page > 1 { a class="button" rel="prev" href=(to(view.page - 1)) { "Newer" } }
                @if view.page < view.n_pages { a class="button" rel="next" href=(to(view.page + 1)) { "Earlier" } }
            }
        }
    }
}

/// What is looked for, as the part of an address.
fn query(filter: &PrintsFilter, page: u32) -> String {
    let page = page.to_string();
    let fields = [
        ("printer", &filter.printer),
        ("end", &filter.end),
        ("said", &filter.said),
        ("name", &filter.name),
        ("from", &filter.from),
        ("to", &filter.to),
        ("page", &page),
    ];
    let told = fields.into_iter().filter(|(_, value)| !value.is_empty());
    told.map(|(key, value)| format!("{key}={}", escaped(value))).collect::<Vec<_>>().join("&")
}

/// A text as it stands in an address: RFC 3986, all but the unreserved bytes escaped.
fn escaped(text: &str) -> String {
    let each = text.bytes().map(|byte| match byte {
        plain if plain.is_ascii_alphanumeric() || b"-._~".contains(&plain) => char::from(plain).to_string(),
        other => format!("%{other:02X}"),
    });
    each.collect()
}

fn entry(row: &PrintRow, view: &PrintsView) -> Markup {
    html! {
        p class="print-head" {
            a href={ "/prints/" (row.id) } { (name(row.name.as_deref())) }
            span class="quiet" { (row.printer) ", began " (format::moment(row.started, &view.frame.zone)) }
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

pub(super) fn outcome(row: &OutcomeRow) -> String {
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
