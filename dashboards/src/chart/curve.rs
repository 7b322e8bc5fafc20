//! A line with its band: how a risk answers a dose, or how many last how long. Below it the person's own prints.

mod prints;
mod table;

pub(super) use table::shown;

use super::plot::Plot;
use super::{Figure, Scale, entry, figure, px};
use maud::{Markup, html};
use prints::Gathered;

const HIGH_PX: f64 = 190.0;
/// Room for one upright line's words.
const WORDS_PX: f64 = 16.0;
/// Room for the marks of own prints, above and below the plot.
const STRIP_PX: f64 = 16.0;
/// What is longer stands in the key, and its line has a letter: half the narrowest plot holds no more.
const WORDS_MAX: usize = 20;
/// More points than this are thinned evenly; a screen shows no more.
const POINTS_MAX: usize = 120;

/// What a curve shows.
pub(crate) struct Curve<'a> {
    /// Unique in the document.
    pub(crate) id: &'a str,
    /// What it shows.
    pub(crate) name: &'a str,
    /// What it says, in a sentence, for who does not see it.
    pub(crate) told: &'a str,
    pub(crate) x: Scale,
    pub(crate) y: Scale,
    /// In any order.
    pub(crate) points: &'a [CurvePoint],
    /// Whether the value holds until the next point, as of those still alive.
    pub(crate) is_stepped: bool,
    /// The person's own prints.
    pub(crate) marks: &'a [PrintMark],
    /// Limits and the like.
    pub(crate) verticals: &'a [Vertical],
}

/// A value with its 90 % interval; where that is not known, its ends are NaN.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CurvePoint {
    pub(crate) x: f64,
    pub(crate) low: f64,
    pub(crate) value: f64,
    pub(crate) high: f64,
}

/// One of the person's own prints.
pub(crate) struct PrintMark {
    pub(crate) x: f64,
    /// Whether what the curve is about happened.
    pub(crate) happened: bool,
    /// Which print, and what became of it.
    pub(crate) words: String,
}

/// An upright line with what it stands for.
pub(crate) struct Vertical {
    pub(crate) x: f64,
    pub(crate) words: String,
}

/// Draws the curve with its axes, and the tables behind it.
pub(crate) fn curve(curve: &Curve<'_>) -> Markup {
    let points = thinned(curve.points);
    let gathered = Gathered::of(curve.marks, &curve.x);
    let strip = if gathered.is_empty() { 0.0 } else { STRIP_PX };
    let drawn: Vec<_> = curve.verticals.iter().filter(|line| curve.x.holds(line.x)).collect();
    let head = 8.0 + strip + WORDS_PX * super::count(drawn.len());
    let plot = Plot { x: &curve.x, y: &curve.y, head, high: HIGH_PX, under: strip };
    let marks = html! {
        @if let Some(d) = band(&points, curve.is_stepped, &plot) { (plot.path("band", &d)) }
        @if let Some(d) = line(&points, curve.is_stepped, &plot) { (plot.path("curve", &d)) }
        (gathered.drawn(&plot))
        @if points.is_empty() { (plot.says("nothing to draw yet")) }
        @for (idx, line) in drawn.iter().enumerate() { (upright(line, idx, letter(&drawn, idx), &plot)) }
    };
    figure(&Figure {
        id: curve.id,
        name: curve.name,
        key: key(&points, &drawn, &gathered),
        drawing: plot.draw(curve.id, curve.name, curve.told, &marks),
        table: table::table(curve, &points, &gathered),
    })
}

/// The points that can be drawn, from left to right, at most [`POINTS_MAX`] and the last one.
fn thinned(points: &[CurvePoint]) -> Vec<CurvePoint> {
    let mut told: Vec<_> = points.iter().copied().filter(|at| at.x.is_finite() && at.value.is_finite()).collect();
    told.sort_by(|a, b| a.x.total_cmp(&b.x));
    let (stride, last) = (told.len().div_ceil(POINTS_MAX).max(1), told.len().saturating_sub(1));
    told.into_iter().enumerate().filter(|(idx, _)| idx % stride == 0 || *idx == last).map(|(_, at)| at).collect()
}

const fn has_band(at: &CurvePoint) -> bool {
    at.low.is_finite() && at.high.is_finite()
}

/// The corners of a line through values, and of its steps.
fn corners(values: &[(f64, f64)], is_stepped: bool, plot: &Plot<'_>) -> Vec<(f64, f64)> {
    let mut corners: Vec<(f64, f64)> = Vec::new();
    for (x, y) in values.iter().filter_map(|(x, y)| plot.in_path(*x, *y)) {
        if let Some((_, before)) = corners.last().copied().filter(|_| is_stepped) {
            corners.push((x, before));
        }
        corners.push((x, y));
    }
    corners
}

fn drawn_through(corners: &[(f64, f64)]) -> String {
    let letter = |idx: usize| if idx == 0 { 'M' } else { 'L' };
    corners.iter().enumerate().map(|(idx, (x, y))| format!("{}{x:.0} {y:.1}", letter(idx))).collect::<Vec<_>>().concat()
}

fn line(points: &[CurvePoint], is_stepped: bool, plot: &Plot<'_>) -> Option<String> {
    let values: Vec<_> = points.iter().map(|at| (at.x, at.value)).collect();
    Some(drawn_through(&corners(&values, is_stepped, plot))).filter(|d| !d.is_empty())
}

/// The outline of the band: along its upper side and back along the lower one.
fn band(points: &[CurvePoint], is_stepped: bool, plot: &Plot<'_>) -> Option<String> {
    let side = |of: fn(&CurvePoint) -> f64| {
        let values: Vec<_> = points.iter().filter(|at| has_band(at)).map(|at| (at.x, of(at))).collect();
        corners(&values, is_stepped, plot)
    };
    let (mut outline, lower) = (side(|at| at.high), side(|at| at.low));
    outline.extend(lower.into_iter().rev());
    Some(drawn_through(&outline)).filter(|d| !d.is_empty()).map(|d| d + "Z")
}

/// An upright line, its words in a row of their own above the plot.
fn upright(line: &Vertical, idx: usize, letter: char, plot: &Plot<'_>) -> Markup {
    let Some(x) = plot.at_x(line.x) else { return html! {} };
    let row = WORDS_PX * super::count(idx);
    let anchor = if plot.x.place(line.x).is_some_and(|place| place > 0.5) { "end" } else { "start" };
    let aside = if anchor == "end" { "-5" } else { "5" };
    html! {
        line class="limit" x1=(x) x2=(x) y1=(px(row + 2.0)) y2=(px(plot.edges().1 + plot.under)) {}
        text class="value" x=(x) dx=(aside) y=(px(row + 12.0)) text-anchor=(anchor) {
            @if is_short(line) { (line.words) } @else { (letter) }
        }
    }
}

fn is_short(line: &Vertical) -> bool {
    line.words.chars().count() <= WORDS_MAX
}

/// The letter of a line whose words stand in the key: they are lettered among themselves.
fn letter(lines: &[&Vertical], idx: usize) -> char {
    let before = lines.iter().take(idx).filter(|line| !is_short(line)).count();
    ('a'..='z').nth(before).unwrap_or('z')
}

fn key(points: &[CurvePoint], verticals: &[&Vertical], gathered: &Gathered<'_>) -> Markup {
    html! {
        p class="key" {
            (entry(&html! { line class="curve" x1="0" x2="22" y1="7" y2="7" {} }, "most likely"))
            @if points.iter().any(has_band) {
                (entry(&html! { rect class="band" x="1" y="1" width="20" height="12" {} }, "90 % interval"))
            }
            (gathered.key())
            @for (idx, line) in verticals.iter().enumerate() {
                @if !is_short(line) {
                    span class="key-entry" { b { (letter(verticals, idx)) } (line.words) }
                }
            }
        }
    }
}
