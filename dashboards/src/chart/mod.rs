//! A small SVG writer. Owns scales, axes, patterns and the frame that every chart stands in; each kind of chart is a file.
//!
//! Places along x are per cent of the width and places along y are pixels, so text keeps its size and patterns their
//! slant from 360 px up. Colours and patterns live in the stylesheet, never here.

mod bars;
mod curve;
mod days;
mod intervals;
mod lane;
mod plot;
mod reliability;
mod rows;
mod scale;
mod sparkline;
#[cfg(test)]
mod tests;
mod worst;

pub(crate) use bars::{BarRow, Bars, bars};
#[cfg_attr(not(test), expect(unused_imports, reason = "a page that draws it comes next"))]
pub(crate) use curve::{Curve, CurvePoint, PrintMark, Vertical, curve};
pub(crate) use days::{idle_days, print_days};
pub(crate) use intervals::{IntervalRow, Intervals, Range, intervals};
pub(crate) use lane::{Axis, Lane, Slice, SlicePart, budget, lane, lane_key, slices};
pub(crate) use reliability::{Bin, Reliability, reliability};
pub(crate) use scale::{Scale, round_scale, round_top, ticks};
pub(crate) use sparkline::{Sparkline, sparkline};
pub(crate) use worst::{span_table, words, worst_spans};

use crate::format::plain as count;

use maud::{Markup, html};

/// The patterns that charts refer to; each document carries them once.
pub(crate) fn patterns() -> Markup {
    html! {
        svg class="patterns" width="0" height="0" aria-hidden="true" {
            defs {
                pattern id="slant" patternUnits="userSpaceOnUse" width="7" height="7" patternTransform="rotate(45)" {
                    rect class="pattern-line" width="2.6" height="7" {}
                }
                pattern id="cross" patternUnits="userSpaceOnUse" width="6" height="6" {
                    path class="pattern-stroke" d="M0 0L6 6M6 0L0 6" {}
                }
                pattern id="dots" patternUnits="userSpaceOnUse" width="6" height="6" {
                    circle class="pattern-dot" cx="3" cy="3" r="1.1" {}
                }
            }
        }
    }
}

/// A chart with its name, its key, and the table behind it.
pub(crate) struct Figure<'a> {
    /// Unique in the document.
    pub(crate) id: &'a str,
    /// What it shows, with the unit.
    pub(crate) name: &'a str,
    /// What the shapes mean.
    pub(crate) key: Markup,
    /// The drawing.
    pub(crate) drawing: Markup,
    /// The same as a table.
    pub(crate) table: Markup,
}

/// Draws the frame around a chart.
pub(crate) fn figure(parts: &Figure<'_>) -> Markup {
    html! {
        figure id=(parts.id) {
            figcaption { (parts.name) }
            (parts.key)
            (parts.drawing)
            details id={ (parts.id) "-table" } {
                summary { "The same as a table" }
                div class="scroll" tabindex="0" role="region" aria-label={ "Table: " (parts.name) } { (parts.table) }
            }
        }
    }
}

/// One entry of a key: a patch that looks like the mark, and its meaning.
pub(crate) fn patch(class: &str, meaning: &str) -> Markup {
    entry(&mark(class, "0", "0.5", "22", "13"), meaning)
}

/// One entry of a key: a sample of 22 by 14 pixels, and its meaning.
fn entry(sample: &Markup, meaning: &str) -> Markup {
    html! {
        span class="key-entry" {
            svg class="patch" width="22" height="14" aria-hidden="true" { (sample) }
            (meaning)
        }
    }
}

/// A filled mark with its pattern on top, so that colour never speaks alone.
pub(crate) fn mark(class: &str, x: &str, y: &str, width: &str, height: &str) -> Markup {
    html! {
        rect class={ "mark " (class) } x=(x) y=(y) width=(width) height=(height) {}
        rect class={ "texture " (class) } x=(x) y=(y) width=(width) height=(height) {}
    }
}

/// A place or width along x: a fraction of the width, as per cent.
pub(crate) fn along(fraction: f64) -> String {
    format!("{:.3}%", fraction * 100.0)
}

/// A place or height along y, in pixels.
pub(crate) fn px(value: f64) -> String {
    format!("{value:.1}")
}
