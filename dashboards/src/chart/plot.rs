//! The ground that curves and points stand on: two axes with round numbers, a grid, and a picture in which a path may
//! run though places along x are per cent. Owns margins; knows no chart's meaning.

use super::{Scale, along, px};
use maud::{Markup, html};

/// The share of the width left of the plot, for the numbers of the y axis, and right of it.
const LEFT: f64 = 0.14;
const RIGHT: f64 = 0.03;
const WIDE: f64 = 1.0 - LEFT - RIGHT;
/// Numbers along x.
const FOOT_PX: f64 = 22.0;
/// Steps of a path across the plot: finer than any screen is wide here.
const ACROSS: f64 = 1000.0;

/// A plot: its scales, and what room it takes.
pub(super) struct Plot<'a> {
    pub(super) x: &'a Scale,
    pub(super) y: &'a Scale,
    /// Room above the plot for what stands over it, in pixels.
    pub(super) head: f64,
    /// The plot's own height, in pixels.
    pub(super) high: f64,
    /// Room between the plot and its numbers along x, in pixels.
    pub(super) under: f64,
}

impl Plot<'_> {
    /// The drawing: axes, then what is given.
    pub(super) fn draw(&self, id: &str, name: &str, told: &str, marks: &Markup) -> Markup {
        html! {
            p class="axis-name" { (self.y.name) }
            svg class="chart" role="img" width="100%" height=(px(self.head + self.high + self.under + FOOT_PX))
                aria-labelledby={ (id) "-name " (id) "-told" } {
                title id={ (id) "-name" } { (name) }
                desc id={ (id) "-told" } { (told) }
                (self.axes())
                (marks)
            }
            p class="axis-name across" { (self.x.name) }
        }
    }

    /// A place along x as an attribute.
    pub(super) fn at_x(&self, value: f64) -> Option<String> {
        self.x.place(value).map(|share| along(LEFT + share * WIDE))
    }

    /// A place along y as an attribute.
    pub(super) fn at_y(&self, value: f64) -> Option<String> {
        self.y.place(value).map(|share| px(self.head + (1.0 - share) * self.high))
    }

    /// The plot's upper and lower edge.
    pub(super) fn edges(&self) -> (f64, f64) {
        (self.head, self.head + self.high)
    }

    /// A point as a path has it.
    pub(super) fn in_path(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        Some((self.x.place(x)? * ACROSS, (1.0 - self.y.place(y)?) * self.high))
    }

    /// A path over the plot; its stroke keeps its width however wide the plot is.
    pub(super) fn path(&self, class: &str, d: &str) -> Markup {
        html! {
            svg x=(along(LEFT)) y=(px(self.head)) width=(along(WIDE)) height=(px(self.high))
                viewBox={ "0 0 " (ACROSS) " " (self.high) } preserveAspectRatio="none" {
                path class=(class) vector-effect="non-scaling-stroke" d=(d) {}
            }
        }
    }

    /// Words in the middle of a plot that has nothing to show.
    pub(super) fn says(&self, words: &str) -> Markup {
        html! {
            text class="reason" x=(along(LEFT + WIDE / 2.0)) y=(px(self.head + self.high / 2.0)) text-anchor="middle" {
                (words)
            }
        }
    }

    fn axes(&self) -> Markup {
        let (left, right) = (along(LEFT), along(LEFT + WIDE));
        let foot = self.head + self.high + self.under;
        html! {
            @for tick in self.y.ticks(5) {
                @if let Some(y) = self.at_y(tick) {
                    line class="grid" x1=(left) x2=(right) y1=(y) y2=(y) {}
                    text class="tick" x=(along(LEFT - 0.015)) y=(y) dy="4" text-anchor="end" { ((self.y.show)(tick)) }
                }
            }
            line class="axis" x1=(left) x2=(right) y1=(px(foot)) y2=(px(foot)) {}
            @for tick in self.x.ticks_along(6) {
                @if let Some(x) = self.at_x(tick) {
                    line class="axis" x1=(x) x2=(x) y1=(px(foot)) y2=(px(foot + 4.0)) {}
                    text class="tick" x=(x) y=(px(foot + 17.0)) text-anchor=(anchor(self.x.place(tick))) {
                        ((self.x.show)(tick))
                    }
                }
            }
        }
    }
}

/// On which side of its place a label stands, so that it stays inside.
pub(super) fn anchor(place: Option<f64>) -> &'static str {
    match place {
        Some(left) if left < 0.04 => "start",
        Some(right) if right > 0.94 => "end",
        Some(_) | None => "middle",
    }
}
