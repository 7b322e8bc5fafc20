//! The figures of alarm practice as a table, and the alarms of each day as bars.

use crate::alarm_figures::{figure_rows, looked_at, rests_on};
use crate::chart::{Figure, along, figure, mark, patch, px, round_scale, ticks};
use crate::format;
use crate::view::AlarmFigures;
use dwell_analysis::units::Seconds;
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// The drawing's measures, pixels.
const TOP: f64 = 12.0;
const TALL: f64 = 90.0;

/// All of it.
pub(crate) fn figures(figures: &AlarmFigures, zone: &TimeZone) -> Markup {
    html! {
        p { (looked_at(figures, zone)) }
        @if figures.n_alarms > 0 && figures.days.len() > 1 { (days(figures, zone)) }
        div class="scroll" tabindex="0" role="region" aria-label="Table: how the alarms did" { table class="did" {
            thead { tr { th scope="col" { "Figure" } th scope="col" { "Here" } th scope="col" { "EEMUA 191" } } }
            tbody {
                @for row in figure_rows(figures, zone) {
                    tr {
                        th scope="row" { (row.what) }
                        td { (row.here) }
                        td class=[(row.is_within == Some(false)).then_some("not-met")] { (row.wanted) }
                    }
                }
            }
        } }
        p class="quiet" { (rests_on(figures)) }
    }
}

/// A bar each day, with the count above it.
fn days(figures: &AlarmFigures, zone: &TimeZone) -> Markup {
    let day = |idx: usize| format::moment_short(figures.from + Seconds::minutes(1440.0 * format::plain(idx)), zone);
    let name = "Alarms that called somebody, in each 24 h";
    figure(&Figure {
        id: "alarm-days",
        name,
        key: html! { p class="key" { (patch("alarm-day", "alarms")) span { "The days begin at " (format::clock(figures.from, zone)) "." } } },
        drawing: drawing(figures, name, &day),
        table: html! {
            table {
                thead { tr { th scope="col" { "From" } th scope="col" { "Alarms" } } }
                tbody { @for (idx, n) in figures.days.iter().enumerate() { tr { td { (day(idx)) } td { (n) } } } }
            }
        },
    })
}

fn drawing(figures: &AlarmFigures, name: &str, day: &impl Fn(usize) -> String) -> Markup {
    let most = figures.days.iter().copied().max().unwrap_or(0);
    let (step, top) = round_scale(format::plain(most));
    let n_days = format::plain(figures.days.len());
    let height = |n: f64| n / top * TALL;
    html! {
        svg role="img" aria-label=(name) width="100%" height=(px(TOP + TALL + 20.0)) {
            @for tick in ticks(step, top) {
                line class="grid" x1="0" x2="100%" y1=(px(TOP + TALL - height(tick))) y2=(px(TOP + TALL - height(tick))) {}
                text x="100%" text-anchor="end" y=(px(TOP + TALL - height(tick) - 3.0)) { (tick) }
            }
            @for (idx, n) in figures.days.iter().enumerate().filter(|(_, n)| **n > 0) {
                (mark(
                    "alarm-day",
                    &along(format::plain(idx) / n_days),
                    &px(TOP + TALL - height(format::plain(*n))),
                    &along(0.8 / n_days),
                    &px(height(format::plain(*n))),
                ))
            }
            line class="axis" x1="0" x2="100%" y1=(px(TOP + TALL)) y2=(px(TOP + TALL)) {}
            text x="0" y=(px(TOP + TALL + 15.0)) { (day(0)) }
            text x="100%" text-anchor="end" y=(px(TOP + TALL + 15.0)) { (day(figures.days.len())) }
        }
    }
}
