//! The idle spans that cooked their melt the most, as bars against the residence limit.

use super::{Figure, along, figure, mark, patch, px, round_scale, ticks};
use crate::format;
use crate::view::SpanRow;
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// Draws a line of words and a bar a span, largest dose first, and their axis below.
pub(crate) fn worst_spans(spans: &[SpanRow], zone: &TimeZone) -> Markup {
    let highest = spans.iter().filter_map(share).fold(1.0, f64::max);
    // The line of the limit stands within the drawing, not on its edge.
    let (step, top) = round_scale(highest * 102.0);
    let limit = along(100.0 / top);
    let drawing = html! {
        ol class="worst" {
            @for span in spans {
                li {
                    span { (words(span, zone)) }
                    svg width="100%" height="16" aria-hidden="true" {
                        @if let Some(share) = share(span) {
                            @let class = if share >= 1.0 { "budget-over" } else { "k-waiting" };
                            (mark(class, "0", "2", &along(share * 100.0 / top), "12"))
                        }
                        line class="limit" x1=(limit) x2=(limit) y1="0" y2="16" {}
                    }
                }
            }
        }
        svg class="chart" width="100%" height="24" aria-hidden="true" {
            line class="axis" x1="0" x2="100%" y1="1" y2="1" {}
            @for tick in ticks(step, top) {
                @let x = tick / top;
                @let anchor = if x < 0.05 { "start" } else if x > 0.95 { "end" } else { "middle" };
                line class="axis" x1=(along(x)) x2=(along(x)) y1="1" y2=(px(5.0)) {}
                text class="tick" x=(along(x)) y="18" text-anchor=(anchor) { (format!("{tick:.0} %")) }
            }
        }
    };
    figure(&Figure {
        id: "worst",
        name: "Most cooked: dose of single idle spans (per cent of the residence limit)",
        key: html! {
            p class="key" {
                (patch("k-waiting", "within the limit")) (patch("budget-over", "over the limit"))
                span class="key-entry" { "upright line: the limit" }
            }
        },
        drawing,
        table: span_table(spans, zone),
    })
}

fn share(span: &SpanRow) -> Option<f64> {
    span.dose.filter(|_| span.limit.get() > 0.0).map(|dose| dose.get() / span.limit.get())
}

/// One span in a line.
pub(crate) fn words(span: &SpanRow, zone: &TimeZone) -> String {
    let dose = span.dose.map_or_else(
        || format::NOT_MEASURED.to_owned(),
        |dose| format!("{} of its limit", format::share(dose, span.limit)),
    );
    let heat = match (span.mean, span.max) {
        (Some(mean), Some(max)) => {
            format!("at {} on the mean, {} at most", format::celsius_whole(mean), format::celsius_whole(max))
        }
        (Some(mean), None) => format!("at {} on the mean", format::celsius_whole(mean)),
        (None, _) => "temperature not told".to_owned(),
    };
    let tool = format::tool(span.tool);
    let began = format::moment_short(span.began, zone);
    format!("{} {tool}, {began}: {} {heat}, {dose}", span.printer, format::duration(span.idle))
}

/// Idle spans as a table.
pub(crate) fn span_table(spans: &[SpanRow], zone: &TimeZone) -> Markup {
    html! {
        table class="wide" {
            thead { tr {
                th scope="col" { "Tool" } th scope="col" { "Began" } th scope="col" { "Ended" } th scope="col" { "Waited" } th scope="col" { "No contact" } th scope="col" { "Why" } th scope="col" { "Mean" }
                th scope="col" { "Highest" } th scope="col" { "Set point" } th scope="col" { "Dose, equivalent min" } th scope="col" { "Limit" } th scope="col" { "Ooze" }
            } }
            tbody {
                @for span in spans {
                    tr {
                        th scope="row" { (span.printer) " " (format::tool(span.tool)) }
                        td { (format::moment_short(span.began, zone)) }
                        td { (span.ended.map_or_else(|| "still waiting".to_owned(), |at| format::moment_short(at, zone))) }
                        td { (format::duration(span.idle)) }
                        td { (format::duration(span.gap)) }
                        td { (format::context(span.context)) }
                        td { (format::celsius(span.mean)) }
                        td { (format::celsius(span.max)) }
                        td { (format::celsius(span.target)) }
                        td { (span.dose.map_or_else(|| format::NOT_MEASURED.to_owned(), format::dose_bare)) }
                        td { (format::dose_bare(span.limit)) }
                        td { (span.ooze.map_or_else(|| format::NOT_MEASURED.to_owned(), format::cubic_mm)) }
                    }
                }
            }
        }
    }
}
