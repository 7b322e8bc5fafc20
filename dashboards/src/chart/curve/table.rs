//! The tables behind a curve: its points, the upright lines, the prints.

use super::prints::Gathered;
use super::{Curve, CurvePoint, has_band};
use maud::{Markup, html};

/// All that the drawing shows, as tables.
pub(super) fn table(curve: &Curve<'_>, points: &[CurvePoint], gathered: &Gathered<'_>) -> Markup {
    html! {
        (values(curve, points))
        @if !curve.verticals.is_empty() {
            table {
                caption { "Upright lines" }
                thead { tr { th scope="col" { "Line" } th scope="col" { (curve.x.name) } } }
                tbody {
                    @for line in curve.verticals {
                        tr { th scope="row" { (line.words) } td { (shown(curve.x.show, line.x)) } }
                    }
                }
            }
        }
        @if !gathered.is_empty() { (prints(curve, gathered)) }
    }
}

fn values(curve: &Curve<'_>, points: &[CurvePoint]) -> Markup {
    let banded = points.iter().any(has_band);
    html! {
        table {
            caption { (curve.y.name) }
            thead { tr {
                th scope="col" { (curve.x.name) }
                th scope="col" { "Most likely" }
                @if banded { th scope="col" { "90 % interval from" } th scope="col" { "to" } }
            } }
            tbody {
                @for at in points {
                    tr {
                        th scope="row" { ((curve.x.show)(at.x)) }
                        td { (shown(curve.y.show, at.value)) }
                        @if banded { td { (shown(curve.y.show, at.low)) } td { (shown(curve.y.show, at.high)) } }
                    }
                }
                @if points.is_empty() { tr { td colspan=(if banded { 4 } else { 2 }) { "nothing to draw yet" } } }
            }
        }
    }
}

fn prints(curve: &Curve<'_>, gathered: &Gathered<'_>) -> Markup {
    html! {
        table {
            caption { "Own prints" }
            thead { tr {
                th scope="col" { (curve.x.name) }
                @match gathered {
                    Gathered::Single(_) => { th scope="col" { "Happened" } th scope="col" { "Print" } }
                    Gathered::Places(_) => { th scope="col" { "Happened" } th scope="col" { "Did not" } }
                }
            } }
            tbody {
                @match gathered {
                    Gathered::Single(marks) => @for mark in marks {
                        tr {
                            th scope="row" { (shown(curve.x.show, mark.x)) }
                            td { (if mark.happened { "yes" } else { "no" }) }
                            td { (mark.words) }
                        }
                    },
                    Gathered::Places(places) => @for place in places {
                        tr {
                            th scope="row" { ((curve.x.show)(place.from)) " to " ((curve.x.show)(place.to)) }
                            td { (place.happened) }
                            td { (place.clean) }
                        }
                    },
                }
            }
        }
    }
}

/// A value as the scale writes it, or that there is none.
pub(in crate::chart) fn shown(show: fn(f64) -> String, value: f64) -> String {
    if value.is_finite() { show(value) } else { "not known".to_owned() }
}
