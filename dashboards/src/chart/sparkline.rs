//! A line as small as a word: how a number went, beside the words that tell it. Its numbers stand in those words or in
//! the table it is part of.

use super::{count, px};
use maud::{Markup, html};

const WIDE_PX: f64 = 96.0;
const HIGH_PX: f64 = 22.0;
/// Room at the edges for the last point's dot.
const EDGE_PX: f64 = 3.0;

/// What the line shows.
pub(crate) struct Sparkline<'a> {
    /// What went so.
    pub(crate) name: &'a str,
    /// In order of time, equally far apart; `None` where nothing is known.
    pub(crate) values: &'a [Option<f64>],
    /// What it says, with its numbers.
    pub(crate) words: String,
}

/// Draws the line, broken where there is no value, and its words.
pub(crate) fn sparkline(of: &Sparkline<'_>) -> Markup {
    let places = places(of.values);
    let last = places.iter().rev().flatten().next().copied();
    html! {
        span class="spark" {
            svg role="img" width=(WIDE_PX) height=(HIGH_PX) aria-label={ (of.name) ": " (of.words) } {
                @if last.is_some() { path class="spark-line" d=(path(&places)) {} }
                @if let Some((x, y)) = last { circle class="spark-dot" cx=(px(x)) cy=(px(y)) r="2.5" {} }
            }
            span { (of.words) }
        }
    }
}

/// Where each value lies; a line that never changes runs in the middle.
fn places(values: &[Option<f64>]) -> Vec<Option<(f64, f64)>> {
    let told = || values.iter().flatten().copied().filter(|value| value.is_finite());
    let (low, high) = told().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| (low.min(at), high.max(at)));
    let span = high - low;
    let (across, down) = (WIDE_PX - 2.0 * EDGE_PX, HIGH_PX - 2.0 * EDGE_PX);
    let steps = count(values.len().saturating_sub(1)).max(1.0);
    let place = |(idx, value): (usize, &Option<f64>)| {
        let value = value.filter(|value| value.is_finite())?;
        let share = if span > 0.0 { (value - low) / span } else { 0.5 };
        Some((EDGE_PX + across * count(idx) / steps, EDGE_PX + down * (1.0 - share)))
    };
    values.iter().enumerate().map(place).collect()
}

/// A line through neighbours; what stands alone between two gaps is a dot.
fn path(places: &[Option<(f64, f64)>]) -> String {
    let runs = places.split(Option::is_none).filter(|run| !run.is_empty());
    let drawn = runs.map(|run| {
        let points: Vec<_> = run.iter().flatten().map(|(x, y)| format!("{} {}", px(*x), px(*y))).collect();
        let alone = if points.len() == 1 { "h0" } else { "" };
        format!("M{}{alone}", points.join("L"))
    });
    drawn.collect::<Vec<_>>().concat()
}
