//! Forecasts against what happened: on the diagonal they are as good as their word.

use super::curve::shown;
use super::plot::Plot;
use super::scale::round_top;
use super::{Figure, Scale, count, entry, figure, px};
use crate::format;
use maud::{Markup, html};

const HIGH_PX: f64 = 220.0;

/// What the diagram shows.
pub(crate) struct Reliability<'a> {
    /// Unique in the document.
    pub(crate) id: &'a str,
    /// What it shows.
    pub(crate) name: &'a str,
    /// What it says, in a sentence, for who does not see it.
    pub(crate) told: &'a str,
    pub(crate) bins: &'a [Bin],
}

/// Forecasts of about the same risk.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bin {
    /// Their mean, 0 to 1.
    pub(crate) forecast: f64,
    /// The share of them that happened, and its 90 % interval.
    pub(crate) low: f64,
    pub(crate) seen: f64,
    pub(crate) high: f64,
    /// How many there were.
    pub(crate) n: usize,
}

/// Draws the diagonal and a point a bin, larger the more forecasts it holds.
pub(crate) fn reliability(of: &Reliability<'_>) -> Markup {
    let reach = of.bins.iter().flat_map(|bin| [bin.forecast, bin.high, bin.seen]).filter(|reach| reach.is_finite());
    let top = round_top(reach.fold(0.0, f64::max)).min(1.0);
    let scale = |name: &str| Scale { from: 0.0, to: top, name: name.to_owned(), show: format::percent, is_log: false };
    let (x, y) = (scale("Forecast risk"), scale("Share that happened"));
    let plot = Plot { x: &x, y: &y, head: 10.0, high: HIGH_PX, under: 0.0 };
    let most = of.bins.iter().map(|bin| bin.n).max().unwrap_or(1).max(1);
    let diagonal = plot.in_path(0.0, 0.0).zip(plot.in_path(top, top));
    let marks = html! {
        @if let Some(((x1, y1), (x2, y2))) = diagonal {
            (plot.path("diagonal", &format!("M{x1:.0} {y1:.1}L{x2:.0} {y2:.1}")))
        }
        @if of.bins.is_empty() { (plot.says("no forecast has come true or false yet")) }
        @for bin in of.bins { (drawn(bin, most, &plot)) }
    };
    figure(&Figure {
        id: of.id,
        name: of.name,
        key: html! {
            p class="key" {
                (entry(&html! { line class="diagonal" x1="1" x2="21" y1="13" y2="1" {} }, "forecast and outcome agree"))
                (entry(&html! { circle class="posterior-dot" cx="11" cy="7" r="4" {} }, "seen; larger: more tool-runs"))
                (entry(&html! { line class="posterior" x1="11" x2="11" y1="0" y2="14" {} }, "90 % interval"))
            }
        },
        drawing: plot.draw(of.id, of.name, of.told, &marks),
        table: table(of.bins),
    })
}

fn drawn(bin: &Bin, most: usize, plot: &Plot<'_>) -> Markup {
    let Some(x) = plot.at_x(bin.forecast) else { return html! {} };
    html! {
        @if let (Some(low), Some(high)) = (plot.at_y(bin.low), plot.at_y(bin.high)) {
            line class="posterior" x1=(x) x2=(x) y1=(low) y2=(high) {}
        }
        @if let Some(y) = plot.at_y(bin.seen) {
            circle class="posterior-dot" cx=(x) cy=(y) r=(px(3.0 + 6.0 * (count(bin.n) / count(most)).sqrt())) {}
        }
    }
}

fn table(bins: &[Bin]) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "Forecast" } th scope="col" { "Happened" } th scope="col" { "90 % interval from" }
                th scope="col" { "to" } th scope="col" { "Tool-runs" }
            } }
            tbody {
                @for bin in bins {
                    tr {
                        th scope="row" { (shown(format::percent, bin.forecast)) }
                        @for share in [bin.seen, bin.low, bin.high] { td { (shown(format::percent, share)) } }
                        td { (bin.n) }
                    }
                }
                @if bins.is_empty() { tr { td colspan="5" { "no forecast has come true or false yet" } } }
            }
        }
    }
}
