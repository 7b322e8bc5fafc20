//! Bars with intervals: the most frequent first where the caller orders them so.

use super::curve::shown;
use super::rows::{Row, at, end, length, rows};
use super::{Figure, Scale, figure, mark, px};
use maud::{Markup, html};

const HIGH_PX: f64 = 22.0;
const BAR_PX: f64 = 14.0;
const MIDDLE_PX: f64 = 11.0;

/// What the chart shows.
pub(crate) struct Bars<'a> {
    /// Unique in the document.
    pub(crate) id: &'a str,
    /// What it shows.
    pub(crate) name: &'a str,
    /// What it says, in a sentence, for who does not see it.
    pub(crate) told: &'a str,
    /// From what bars begin at.
    pub(crate) scale: Scale,
    pub(crate) rows: &'a [BarRow],
}

/// One bar.
pub(crate) struct BarRow {
    pub(crate) name: String,
    pub(crate) value: f64,
    /// The lower end of its 90 % interval.
    pub(crate) low: Option<f64>,
    /// The upper end.
    pub(crate) high: Option<f64>,
    /// What it comes to.
    pub(crate) words: String,
    /// How it is filled: a class of the stylesheet's marks.
    pub(crate) class: &'static str,
}

/// Draws the bars over one axis, and the table behind them.
pub(crate) fn bars(of: &Bars<'_>) -> Markup {
    let drawn: Vec<_> = of.rows.iter().map(|row| drawn(row, of)).collect();
    figure(&Figure {
        id: of.id,
        name: of.name,
        key: html! {
            @if of.rows.iter().any(|row| row.low.is_some() && row.high.is_some()) {
                p class="key" { (super::entry(&html! { line class="posterior" x1="0" x2="22" y1="7" y2="7" {} }, "90 % interval")) }
            }
        },
        drawing: rows(of.told, &of.scale, HIGH_PX, &drawn),
        table: table(of),
    })
}

fn drawn(row: &BarRow, of: &Bars<'_>) -> Row {
    let (from, y) = (of.scale.at(0.0), px(MIDDLE_PX - BAR_PX / 2.0));
    let drawing = html! {
        @if let (Some(x), Some(long)) = (at(&of.scale, from), length(&of.scale, from, row.value)) {
            @if row.value > from { (mark(row.class, &x, &y, &long, &px(BAR_PX))) }
        }
        @if let Some((low, high)) = row.low.zip(row.high) {
            @if let (Some(x1), Some(x2)) = (at(&of.scale, low), at(&of.scale, high)) {
                line class="halo" x1=(x1) x2=(x2) y1=(px(MIDDLE_PX)) y2=(px(MIDDLE_PX)) {}
                line class="posterior" x1=(x1) x2=(x2) y1=(px(MIDDLE_PX)) y2=(px(MIDDLE_PX)) {}
                (end(&of.scale, low, MIDDLE_PX))
                (end(&of.scale, high, MIDDLE_PX))
            }
        }
    };
    Row { name: row.name.clone(), words: row.words.clone(), drawing }
}

fn table(of: &Bars<'_>) -> Markup {
    let ranged = of.rows.iter().any(|row| row.low.is_some() || row.high.is_some());
    let bound = |end: Option<f64>| end.map_or_else(|| "not known".to_owned(), |end| shown(of.scale.show, end));
    html! {
        table class="wide" {
            caption { (of.scale.name) }
            thead { tr {
                th scope="col" { "What" } th scope="col" { "Value" }
                @if ranged { th scope="col" { "90 % interval from" } th scope="col" { "to" } }
            } }
            tbody {
                @for row in of.rows {
                    tr {
                        th scope="row" { (row.name) }
                        td { (shown(of.scale.show, row.value)) }
                        @if ranged { td { (bound(row.low)) } td { (bound(row.high)) } }
                    }
                }
            }
        }
    }
}
