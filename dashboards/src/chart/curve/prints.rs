//! The person's own prints beside a curve: dots above it where it happened, ticks below it where it did not. Many are
//! gathered in places of equal width.

use super::super::plot::Plot;
use super::super::{Scale, count, entry, px};
use super::PrintMark;
use maud::{Markup, html};

/// More prints than this are gathered; dots would cover each other, and their table would be most of the page.
const SINGLE_MAX: usize = 60;
/// Places that they are gathered in.
const PLACES: usize = 40;

/// Prints as they are drawn.
pub(super) enum Gathered<'a> {
    Single(Vec<&'a PrintMark>),
    Places(Vec<Place>),
}

/// Prints of a narrow range of x.
pub(super) struct Place {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) clean: usize,
    pub(super) happened: usize,
}

impl<'a> Gathered<'a> {
    /// The prints, each alone or many together.
    pub(super) fn of(marks: &'a [PrintMark], x: &Scale) -> Self {
        let told = || marks.iter().filter(|mark| mark.x.is_finite());
        if told().count() <= SINGLE_MAX {
            let mut single: Vec<_> = told().collect();
            single.sort_by(|a, b| a.x.total_cmp(&b.x));
            return Self::Single(single);
        }
        let mut places: Vec<Place> = (0..PLACES)
            .map(|idx| Place { from: x.at(share(idx)), to: x.at(share(idx + 1)), clean: 0, happened: 0 })
            .collect();
        for mark in told() {
            let idx = x.place(mark.x).map(|place| (1..PLACES).take_while(|idx| place >= share(*idx)).count());
            if let Some(place) = idx.and_then(|idx| places.get_mut(idx)) {
                if mark.happened { place.happened += 1 } else { place.clean += 1 }
            }
        }
        places.retain(|place| place.clean + place.happened > 0);
        Self::Places(places)
    }

    pub(super) fn is_empty(&self) -> bool {
        matches!(self, Self::Single(single) if single.is_empty())
    }

    /// The marks on their strips.
    pub(super) fn drawn(&self, plot: &Plot<'_>) -> Markup {
        match self {
            Self::Single(single) => html! {
                @for mark in single { (drawn(mark.x, mark.happened, 1.0, plot)) }
            },
            Self::Places(places) => {
                let most = places.iter().map(|place| place.clean.max(place.happened)).max().unwrap_or(1);
                let share = |n: usize| count(n) / count(most.max(1));
                html! {
                    @for place in places {
                        @let x = f64::midpoint(place.from, place.to);
                        @if place.happened > 0 { (drawn(x, true, share(place.happened), plot)) }
                        @if place.clean > 0 { (drawn(x, false, share(place.clean), plot)) }
                    }
                }
            }
        }
    }

    /// What the marks mean.
    pub(super) fn key(&self) -> Markup {
        if self.is_empty() {
            return html! {};
        }
        let many = if matches!(self, Self::Places(_)) { "; larger: more of them" } else { "" };
        html! {
            (entry(&html! { circle class="happened" cx="11" cy="7" r="4" {} }, &format!("own print: happened{many}")))
            (entry(&html! { line class="clean-run" x1="11" x2="11" y1="2" y2="12" {} }, &format!("own print: did not{many}")))
        }
    }
}

/// The left end of a place.
fn share(idx: usize) -> f64 {
    count(idx) / count(PLACES)
}

/// A mark, as large as its share of the largest.
fn drawn(x: f64, happened: bool, share: f64, plot: &Plot<'_>) -> Markup {
    let Some(x) = plot.at_x(x) else { return html! {} };
    let (upper, lower) = plot.edges();
    html! {
        @if happened {
            circle class="happened" cx=(x) cy=(px(upper - 8.0)) r=(px(1.8 + 2.2 * share.sqrt())) {}
        } @else {
            line class="clean-run" x1=(x) x2=(x) y1=(px(lower + 3.0)) y2=(px(lower + 5.0 + 8.0 * share)) {}
        }
    }
}
