//! The lanes of a print's tools, one above the other on one time axis, with its tool changes and its worst waits. Owns
//! how many marks a page carries: a print with thousands of tool changes is drawn in slices, and says so.

use super::lane::{Axis, Place, anchor, meaning, parts_of, scale, settled, shape, slices, time_ticks, told};
use super::{along, px};
use crate::format;
use crate::view::LanePiece;
use dwell_analysis::time::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// Height of a band with the row above it, in which its tool and its worst waits are named.
const NAME_PX: f64 = 20.0;
const BAND_PX: f64 = 66.0;
const ROW_PX: f64 = NAME_PX + BAND_PX + 6.0;
const AXIS_PX: f64 = 20.0;

/// The share of the width that a tool's name may take at 360 px.
const NAME_SHARE: f64 = 0.1;

/// Pieces that all lanes together may be drawn with; above it each is drawn in slices. A page with two lanes of this
/// many stays under 60 KB.
const PIECES_MAX: usize = 280;
/// Tool changes that are drawn one by one.
const CHANGES_MAX: usize = 100;
/// Places along the axis at which tool changes are drawn where there are more.
const CHANGE_PLACES: u32 = 100;
/// Rows of the table behind each lane.
const TABLE_ROWS: usize = 40;

/// One tool's lane.
pub(crate) struct ToolLane<'a> {
    /// Its name, as the band says it.
    pub(crate) name: String,
    /// In any order.
    pub(crate) pieces: &'a [LanePiece],
}

/// A wait that is named.
pub(crate) struct Named {
    /// Which lane it lies in, from 0.
    pub(crate) lane: usize,
    pub(crate) from: Timestamp,
    pub(crate) to: Timestamp,
    /// What stands above it: its number in the list below.
    pub(crate) label: String,
}

/// What is shown.
pub(crate) struct PrintLanes<'a> {
    /// What it is called.
    pub(crate) name: String,
    pub(crate) lanes: &'a [ToolLane<'a>],
    pub(crate) changes: &'a [Timestamp],
    pub(crate) worst: &'a [Named],
    pub(crate) from: Timestamp,
    pub(crate) to: Timestamp,
    pub(crate) zone: &'a TimeZone,
}

/// Draws the lanes, and the tables behind them.
pub(crate) fn print_lanes(shown: &PrintLanes<'_>) -> Markup {
    let (from, to) = (shown.from, shown.to);
    let all: Vec<Vec<LanePiece>> = shown.lanes.iter().map(|lane| settled(lane.pieces, from, to)).collect();
    let is_sliced = all.iter().map(Vec::len).sum::<usize>() > PIECES_MAX;
    // A slice of a lane that goes to and fro has two parts.
    let n_slices = u32::try_from(PIECES_MAX / 2 / shown.lanes.len().max(1)).unwrap_or(1).max(1);
    let drawn = |pieces: &Vec<LanePiece>| {
        if is_sliced { parts_of(&slices(pieces, from, to, n_slices)) } else { pieces.clone() }
    };
    let pieces: Vec<Vec<LanePiece>> = all.iter().map(drawn).collect();
    html! {
        (drawing(shown, &pieces))
        p class="quiet" { (changes_words(shown, is_sliced)) }
        @for (idx, lane) in shown.lanes.iter().enumerate() {
            @if let Some(all) = all.get(idx) { (table(shown, lane, idx, all)) }
        }
    }
}

fn drawing(shown: &PrintLanes<'_>, pieces: &[Vec<LanePiece>]) -> Markup {
    let at = Place { from: shown.from, length: (shown.to - shown.from).get() };
    let rows = format::plain(pieces.len()) * ROW_PX;
    let row = |idx: usize| format!("translate(0,{})", px(format::plain(idx) * ROW_PX + NAME_PX));
    let high = px(rows + AXIS_PX);
    let n_changes = u32::try_from(inside(shown).count()).unwrap_or(u32::MAX);
    html! {
        div class="lane" {
            svg width="100%" height=(high) aria-hidden="true" {
                @for idx in 0..pieces.len() {
                    g transform=(row(idx)) {
                        @for (degrees, y) in scale() {
                            text class="tick" x="90%" y=(y) dy="4" text-anchor="end" { (format::celsius_whole(degrees)) }
                        }
                    }
                }
            }
            svg class="print-lanes" role="img" width="100%" height=(high) aria-labelledby="lanes-name lanes-told"
                data-from=(format::rfc3339(shown.from)) data-to=(format::rfc3339(shown.to)) {
                title id="lanes-name" { (shown.name) }
                desc id="lanes-told" {
                    @for (lane, pieces) in shown.lanes.iter().zip(pieces) { (lane.name) ": " (told(pieces)) " " }
                    (format::counted(n_changes, "tool change")) "."
                }
                @for (idx, (lane, pieces)) in shown.lanes.iter().zip(pieces).enumerate() {
                    g transform=(row(idx)) {
                        text class="value" x="0" y="-6" { (lane.name) }
                        @for piece in pieces { (shape(piece, &at)) }
                        @for (_, y) in scale() { line class="grid" x1="0" x2="100%" y1=(y) y2=(y) {} }
                        line class="axis" x1="0" x2="100%" y1=(px(BAND_PX)) y2=(px(BAND_PX)) {}
                        @for wait in shown.worst.iter().filter(|wait| wait.lane == idx) { (named(wait, shown, &at)) }
                    }
                }
                @for x in change_places(shown, &at) {
                    line class="change" x1=(along(x)) x2=(along(x)) y1=(px(NAME_PX)) y2=(px(rows - 6.0)) {}
                }
                @for tick in time_ticks(Axis::Clock(shown.zone), shown.from, shown.to) {
                    @let x = at.of(tick);
                    line class="axis" x1=(along(x)) x2=(along(x)) y1=(px(rows - 6.0)) y2=(px(rows - 2.0)) {}
                    text class="tick" x=(along(x)) y=(px(rows + 11.0)) text-anchor=(anchor(x)) { (format::clock(tick, shown.zone)) }
                }
            }
        }
    }
}

/// A bracket over a wait and its number; nothing of one that lies outside.
fn named(wait: &Named, shown: &PrintLanes<'_>, at: &Place) -> Markup {
    let is_inside = wait.to > shown.from && wait.from < shown.to;
    let (left, right) = (at.of(wait.from), at.of(wait.to));
    // The tool's own name stands at the left.
    let middle = f64::midpoint(left, right).max(NAME_SHARE);
    html! {
        @if is_inside {
            line class="named" x1=(along(left)) x2=(along(right)) y1="-2" y2="-2" {}
            text class="value" x=(along(middle)) y="-6" text-anchor=(anchor(middle)) { (wait.label) }
        }
    }
}

fn inside<'a>(shown: &'a PrintLanes<'_>) -> impl Iterator<Item = Timestamp> + 'a {
    shown.changes.iter().copied().filter(|at| (shown.from..=shown.to).contains(at))
}

/// Where tool changes are drawn: each where it is, or the places that have one where there are too many.
fn change_places(shown: &PrintLanes<'_>, at: &Place) -> Vec<f64> {
    let each: Vec<f64> = inside(shown).map(|change| at.of(change)).collect();
    if each.len() <= CHANGES_MAX {
        return each;
    }
    let places = f64::from(CHANGE_PLACES);
    let mut rough: Vec<f64> = each.into_iter().map(|x| (x * places).round() / places).collect();
    rough.dedup_by(|a, b| (*a - *b).abs() < 0.5 / places);
    rough
}

fn changes_words(shown: &PrintLanes<'_>, is_sliced: bool) -> String {
    let n = inside(shown).count();
    let counted = format::counted(u32::try_from(n).unwrap_or(u32::MAX), "tool change");
    let marks = match n {
        0 => "No tool change in this time.".to_owned(),
        n if n > CHANGES_MAX => {
            format!("{counted} in this time, too many to draw each: upright lines stand where there are any.")
        }
        _ => format!("{counted} in this time, each an upright line."),
    };
    let sliced = if is_sliced {
        " So much happens here that the lanes are drawn in slices; go nearer to see each wait."
    } else {
        ""
    };
    format!("{marks}{sliced}")
}

fn table(shown: &PrintLanes<'_>, lane: &ToolLane<'_>, idx: usize, all: &[LanePiece]) -> Markup {
    let is_sliced = all.len() > TABLE_ROWS;
    let n_slices = u32::try_from(TABLE_ROWS / 2).unwrap_or(1);
    let summed = if is_sliced { parts_of(&slices(all, shown.from, shown.to, n_slices)) } else { all.to_vec() };
    let name = format!("{} over time", lane.name);
    html! {
        details id={ "lane-" (idx) "-table" } {
            summary {
                (lane.name)
                @if is_sliced { " as a table of " (n_slices) " slices, the parts of each summed up" } @else { " as a table" }
            }
            div class="scroll" tabindex="0" role="region" aria-label={ "Table: " (name) } {
                table {
                    caption class="unseen" { (name) }
                    thead { tr { th scope="col" { "From" } th scope="col" { "To" } th scope="col" { "Lasted" } th scope="col" { "Tool was" } th scope="col" { "Mean" } } }
                    tbody {
                        @for piece in &summed {
                            tr {
                                td { (format::clock(piece.from, shown.zone)) }
                                td { (format::clock(piece.to, shown.zone)) }
                                td { (format::duration(piece.to - piece.from)) }
                                td { (meaning(piece.kind)) }
                                td { (format::celsius(piece.mean)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
