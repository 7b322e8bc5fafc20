//! *Reports*: the archive, and one report on the site.

use super::{Page, Place, being_worked_out, shell};
use crate::report;
use crate::view::{ArchiveWeek, Frame, ReportView, ReportsView};
use maud::{Markup, html};

/// The archive.
#[must_use]
pub fn render_reports(view: &ReportsView) -> String {
    let body = html! {
        h1 { "Reports" }
        @if let Some(refused) = &view.refused { p class="refused" role="alert" { (refused) } }
        (form(view))
        h2 { "Weeks" }
        @if view.weeks.is_empty() && view.earlier.is_some() { p { "None of these weeks has a reading." } }
        @else if view.weeks.is_empty() {
            p { "No week has a reading yet. The first one can be read here as soon as a printer has answered." }
        } @else { (weeks(&view.weeks)) }
        @if let Some(earlier) = view.earlier {
            p { a href={ "/reports?until=" (earlier) } { "Weeks up to " (earlier) } }
        }
    };
    shell(&Page { title: "Reports", place: Place::Reports, frame: Some(&view.frame), body })
}

fn form(view: &ReportsView) -> Markup {
    let [from, to] = &view.asked;
    html! {
        form method="get" action="/reports" {
            label { "First day" input type="date" name="from" required value=(from); }
            label { "Last day" input type="date" name="to" required value=(to); }
            button { "Report on these days" }
        }
    }
}

fn weeks(weeks: &[ArchiveWeek]) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="Table: weeks with a reading" { table class="weeks" {
            thead { tr {
                th scope="col" { "Week" } th scope="col" { "Prints" } th scope="col" { "Failed" }
                th scope="col" { "No outcome" }
            } }
            tbody {
                @for week in weeks {
                    tr {
                        th scope="row" {
                            a href={ "/reports/" (week.week) } { (week.week) }
                            span class="quiet" { (week.week.dates()) }
                        }
                        td { (week.prints) } td { (week.with_failure) } td { (week.unreported) }
                    }
                }
            }
        } }
    }
}

/// One report, with the ways to those beside it.
#[must_use]
pub fn render_report(view: &ReportView, frame: &Frame) -> String {
    let body = html! {
        (beside(view))
        (report::body(view, true))
    };
    shell(&Page { title: &view.period.title(), place: Place::Reports, frame: Some(frame), body })
}

fn beside(view: &ReportView) -> Markup {
    let begins = view.first_reading.filter(|first| *first < view.from);
    let previous = begins.and_then(|_| view.period.previous().ok());
    let next = if view.to <= view.as_of { view.period.next().ok() } else { None };
    html! {
        nav class="beside" aria-label="Other reports" {
            @if let Some(previous) = previous { a href={ "/reports/" (previous) } rel="prev" { "← " (previous) } }
            a href="/reports" { "All reports" }
            @if let Some(next) = next { a href={ "/reports/" (next) } rel="next" { (next) " →" } }
        }
    }
}

/// What is said while what a report tells is not worked out yet. The page asks again by itself.
#[must_use]
pub fn render_report_later(frame: &Frame, title: &str) -> String {
    let body = html! {
        h1 { (title) }
        p class="lead" { (being_worked_out(None)) }
    };
    shell(&Page { title, place: Place::Reports, frame: Some(frame), body })
}
