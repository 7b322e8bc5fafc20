//! The report as one HTML file: styles and charts inside, no reference to anything outside, fit for paper.

use super::body::body;
use crate::SAFETY_WORDS;
use crate::chart::patterns;
use crate::page::rehearsal_words;
use crate::view::ReportView;
use maud::{DOCTYPE, PreEscaped, html};

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
                title { (view.period.title()) " · dwellwatch" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                @if view.rehearsal { (rehearsal_words()) }
                main { (body(view, false)) }
                footer { p { (SAFETY_WORDS) } }
                (patterns())
            }
        }
    }
    .into_string()
}
