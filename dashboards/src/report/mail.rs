//! The report as HTML for mail programs: tables instead of drawings, a style at each element, nothing fetched, and no
//! colour of ink, since what the program paints behind it may be light or dark.

use super::brief::blocks;
use super::modes;
use super::section::{Section, Table};
use super::sections;
use super::summary::coverage;
use crate::alarm_figures::{figure_rows, looked_at};
use crate::view::ReportView;
use crate::{SAFETY_WORDS, format};
use maud::{DOCTYPE, Markup, html};

const BODY: &str = "margin:0;padding:16px;font:16px/1.5 system-ui,sans-serif;max-width:40em";
const BLOCK: &str = "border-left:4px solid #8a8d90;padding:2px 0 2px 12px;margin:0 0 16px 0";
const SMALL: &str = "font-size:14px;margin:0 0 8px 0";
const CELL: &str =
    "text-align:left;vertical-align:top;padding:4px 12px 4px 0;border-bottom:1px solid #8a8d90;font-size:14px";

/// The whole document.
#[must_use]
pub fn render_report_mail(view: &ReportView) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="supported-color-schemes" content="light dark";
                title { (view.period.title()) " · dwellwatch" }
            }
            body style=(BODY) {
                @if view.rehearsal { p { "Rehearsal: the printer is simulated and its history is invented." } }
                h1 style="font-size:22px;line-height:1.3;margin:0 0 8px 0" { (view.period.title()) }
                p style=(SMALL) {
                    (view.period.dates()) ", on the clock of " (format::zone_name(&view.zone)) ". " (coverage(view))
                }
                @for block in blocks(view) {
                    div style=(BLOCK) {
                        h2 style="font-size:18px;line-height:1.3;margin:0" { (block.heading) }
                        p style="margin:0;font-weight:600" { (block.lead) }
                        @for point in &block.points { p style="margin:4px 0 0 0" { (point) } }
                    }
                }
                (details(view))
                p style="font-size:14px;border-top:1px solid #8a8d90;padding-top:12px;margin-top:24px" { (SAFETY_WORDS) }
            }
        }
    }
    .into_string()
}

fn details(view: &ReportView) -> Markup {
    let read = view.total().is_some();
    let parts = [
        read.then(|| modes::failures(view)),
        read.then(|| sections::prints(view)),
        read.then(|| sections::heat(view)),
        read.then(|| sections::worst(view)),
        read.then(|| alarms(view)),
        read.then(|| sections::trials(view)),
        Some(sections::parts_in_use(view)),
        read.then(|| sections::contact(view)),
        read.then(|| sections::unreported(view)),
        Some(sections::sensitivity(view)),
        Some(sections::learned(view)),
    ];
    html! { @for part in parts.into_iter().flatten() { (section(&part)) } }
}

/// Alarms in a line a kind, and how they did.
fn alarms(view: &ReportView) -> Section {
    let mut lines: Vec<String> = Vec::new();
    if view.alarms.is_empty() {
        lines.push(format::NO_CALL.to_owned());
    }
    lines.extend(sections::alarms_by_kind(&view.alarms.iter().collect::<Vec<_>>(), &view.zone));
    lines.extend(view.alarm_figures.as_ref().map(|figures| looked_at(figures, &view.zone)));
    let figures = view.alarm_figures.iter().flat_map(|figures| figure_rows(figures, &view.zone));
    let rows = figures.map(|row| vec![row.what, row.here, row.wanted]).collect();
    Section::tabled("Alarms", lines, &["Figure", "Here", "EEMUA 191"], rows)
}

fn section(section: &Section) -> Markup {
    html! {
        h2 style="font-size:18px;line-height:1.3;margin:24px 0 4px 0" { (section.heading) }
        @for line in &section.lines { p style="margin:0 0 4px 0" { (line) } }
        @if let Some(table) = &section.table { (tabled(table)) }
    }
}

fn tabled(table: &Table) -> Markup {
    html! {
        table cellpadding="0" cellspacing="0" border="0" style="border-collapse:collapse" {
            tr { @for cell in &table.head { th style=(CELL) { (cell) } } }
            @for row in &table.rows { tr { @for cell in row { td style=(CELL) { (cell) } } } }
        }
    }
}
