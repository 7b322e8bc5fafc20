//! What was held likely before and what the record made of it, one interval above the other.

use super::curve::shown;
use super::rows::{Row, at, end, rows};
use super::{Figure, Scale, entry, figure, px};
use maud::{Markup, html};

/// Heights of a row with a prior and of one without, and where the intervals run.
const HIGH_PX: f64 = 30.0;
const ALONE_PX: f64 = 18.0;
const PRIOR_PX: f64 = 8.0;

/// What the chart shows.
pub(crate) struct Intervals<'a> {
    /// Unique in the document.
    pub(crate) id: &'a str,
    /// What it shows.
    pub(crate) name: &'a str,
    /// What it says, in a sentence, for who does not see it.
    pub(crate) told: &'a str,
    pub(crate) scale: Scale,
    /// The value that means "no effect".
    pub(crate) zero: Option<f64>,
    pub(crate) rows: &'a [IntervalRow],
}

/// One thing with what is known of it.
pub(crate) struct IntervalRow {
    pub(crate) name: String,
    /// Before the record spoke.
    pub(crate) prior: Option<Range>,
    /// With the record.
    pub(crate) posterior: Option<Range>,
    /// What it comes to.
    pub(crate) words: String,
}

/// A value with its 90 % interval.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Range {
    pub(crate) low: f64,
    pub(crate) value: f64,
    pub(crate) high: f64,
}

impl Intervals<'_> {
    fn has_priors(&self) -> bool {
        self.rows.iter().any(|row| row.prior.is_some())
    }

    fn high(&self) -> f64 {
        if self.has_priors() { HIGH_PX } else { ALONE_PX }
    }
}

/// Draws the intervals over one axis, and the table behind them.
pub(crate) fn intervals(of: &Intervals<'_>) -> Markup {
    let drawn: Vec<_> = of.rows.iter().map(|row| drawn(row, of)).collect();
    figure(&Figure {
        id: of.id,
        name: of.name,
        key: key(of),
        drawing: rows(of.told, &of.scale, of.high(), &drawn),
        table: table(of),
    })
}

fn drawn(row: &IntervalRow, of: &Intervals<'_>) -> Row {
    let zero = of.zero.filter(|zero| of.scale.holds(*zero)).and_then(|zero| at(&of.scale, zero));
    let drawing = html! {
        @if let Some(x) = zero { line class="limit" x1=(x) x2=(x) y1="0" y2=(px(of.high())) {} }
        @if let Some(prior) = row.prior { (interval(&of.scale, prior, "prior", PRIOR_PX)) }
        @if let Some(posterior) = row.posterior { (interval(&of.scale, posterior, "posterior", of.high() - 9.0)) }
    };
    Row { name: row.name.clone(), words: row.words.clone(), drawing }
}

/// A line from end to end with a dot at the value; what is no number is left out.
fn interval(scale: &Scale, range: Range, class: &str, y: f64) -> Markup {
    html! {
        @if let (Some(low), Some(high)) = (at(scale, range.low), at(scale, range.high)) {
            line class=(class) x1=(low) x2=(high) y1=(px(y)) y2=(px(y)) {}
            (end(scale, range.low, y))
            (end(scale, range.high, y))
        }
        @if let Some(x) = at(scale, range.value).filter(|_| scale.holds(range.value)) {
            circle class={ (class) "-dot" } cx=(x) cy=(px(y)) r="4" {}
        }
    }
}

fn key(of: &Intervals<'_>) -> Markup {
    let sample = |class: &str| {
        html! {
            line class=(class) x1="0" x2="22" y1="7" y2="7" {}
            circle class={ (class) "-dot" } cx="11" cy="7" r="4" {}
        }
    };
    html! {
        p class="key" {
            @if of.has_priors() { (entry(&sample("prior"), "before the record")) }
            (entry(&sample("posterior"), if of.has_priors() { "with the record" } else { "most likely" }))
            span class="key-entry" { "lines: 90 % intervals" }
            @if let Some(zero) = of.zero {
                (entry(&html! { line class="limit" x1="11" x2="11" y1="0" y2="14" {} }, &(of.scale.show)(zero)))
            }
        }
    }
}

fn table(of: &Intervals<'_>) -> Markup {
    let cells = |range: Option<Range>| {
        let parts = range.map(|range| [range.low, range.value, range.high]);
        html! {
            @for idx in 0..3 {
                td { (parts.map_or_else(|| "not known".to_owned(), |parts| shown(of.scale.show, parts[idx]))) }
            }
        }
    };
    let priors = of.has_priors();
    html! {
        table class="wide" {
            caption { (of.scale.name) }
            thead { tr {
                th scope="col" { "What" }
                @if priors { th scope="col" { "Before: from" } th scope="col" { "most likely" } th scope="col" { "to" } }
                th scope="col" { (if priors { "With the record: from" } else { "From" }) } th scope="col" { "most likely" } th scope="col" { "to" }
            } }
            tbody {
                @for row in of.rows {
                    tr {
                        th scope="row" { (row.name) }
                        @if priors { (cells(row.prior)) }
                        (cells(row.posterior))
                    }
                }
            }
        }
    }
}
