//! A row a thing: its words above a narrow drawing as wide as the page, and one axis below all of them.

use super::plot::anchor;
use super::{Scale, along, px};
use maud::{Markup, html};

/// Room at each side, so that marks at the ends are whole.
const ASIDE: f64 = 0.02;

/// One row.
pub(super) struct Row {
    /// What it is about.
    pub(super) name: String,
    /// What the drawing says, in words.
    pub(super) words: String,
    pub(super) drawing: Markup,
}

/// A place as an attribute.
pub(super) fn at(scale: &Scale, value: f64) -> Option<String> {
    scale.place(value).map(|share| along(ASIDE + share * (1.0 - 2.0 * ASIDE)))
}

/// The length between two values as an attribute.
pub(super) fn length(scale: &Scale, from: f64, to: f64) -> Option<String> {
    let (from, to) = (scale.place(from)?, scale.place(to)?);
    Some(along((to - from).max(0.0) * (1.0 - 2.0 * ASIDE)))
}

/// Draws the rows, each `high` pixels, over their axis. Each drawing is told by the words that stand above it.
pub(super) fn rows(told: &str, scale: &Scale, high: f64, rows: &[Row]) -> Markup {
    html! {
        ul class="rows" aria-label=(told) {
            @for row in rows {
                li {
                    p { b { (row.name) } @if !row.words.is_empty() { ": " (row.words) } }
                    svg width="100%" height=(px(high)) aria-hidden="true" {
                        @for tick in scale.ticks_along(6) {
                            @if let Some(x) = at(scale, tick) {
                                line class="grid" x1=(x) x2=(x) y1="0" y2=(px(high)) {}
                            }
                        }
                        (row.drawing)
                    }
                }
            }
        }
        svg class="chart" width="100%" height="24" aria-hidden="true" {
            line class="axis" x1="0" x2="100%" y1="1" y2="1" {}
            @for tick in scale.ticks_along(6) {
                @if let Some(x) = at(scale, tick) {
                    line class="axis" x1=(x) x2=(x) y1="1" y2="5" {}
                    text class="tick" x=(x) y="18" text-anchor=(anchor(scale.place(tick))) { ((scale.show)(tick)) }
                }
            }
        }
        p class="axis-name across" { (scale.name) }
    }
}

/// The mark at the end of an interval: a cap, or an arrow where it goes on beyond the scale.
pub(super) fn end(scale: &Scale, value: f64, y: f64) -> Markup {
    let Some(x) = at(scale, value) else { return html! {} };
    let beyond = if scale.holds(value) {
        None
    } else if scale.place(value).is_some_and(|place| place < 0.5) {
        Some("◂")
    } else {
        Some("▸")
    };
    html! {
        @if let Some(arrow) = beyond {
            text class="value" x=(x) y=(px(y)) dy="4" text-anchor="middle" { (arrow) }
        } @else {
            line class="cap" x1=(x) x2=(x) y1=(px(y - 4.0)) y2=(px(y + 4.0)) {}
        }
    }
}
