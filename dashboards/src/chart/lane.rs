//! The heat lane: a tool's time as a band, as high and as deep in colour as it was hot. Working is solid, waiting
//! slanted, no reading blank with a dotted edge. Owns how it looks and what its times are told by.

mod pieces;

pub(crate) use pieces::{Slice, SlicePart, slices};

use super::{along, mark, patch, px};
use crate::format;
use crate::view::{LaneKind, LanePiece};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use jiff::tz::TimeZone;
use maud::{Markup, html};
pub(super) use pieces::{parts_of, settled};

/// The band's full height in pixels, and the temperature that fills it: above what PLA to PC are printed at.
const BAND_PX: f64 = 66.0;
const BAND_TOP: Celsius = Celsius::new(300.0);
/// Height of a piece that tells no temperature: the band's edge, without a claim.
const UNTOLD_PX: f64 = 10.0;
const AXIS_PX: f64 = 20.0;

/// More pieces than this are drawn in so many slices: a screen is hardly wider.
const PIECES_MAX: usize = 500;
const SLICES: u32 = 200;

/// What a lane shows.
pub(crate) struct Lane<'a> {
    /// Unique in the document.
    pub(crate) id: String,
    /// Whose lane.
    pub(crate) name: String,
    /// The tool's pieces, in any order.
    pub(crate) pieces: &'a [LanePiece],
    /// The window's beginning.
    pub(crate) from: Timestamp,
    /// The window's end.
    pub(crate) to: Timestamp,
    /// What its times are told by.
    pub(crate) axis: Axis<'a>,
}

/// What a lane's times are told by.
#[derive(Clone, Copy)]
pub(crate) enum Axis<'a> {
    /// The clock of a zone.
    Clock(&'a TimeZone),
    /// Hours and minutes since an instant, at which a job begins.
    Since(Timestamp),
}

impl Axis<'_> {
    /// An instant beside a tick.
    fn tick(self, at: Timestamp) -> String {
        match self {
            Self::Clock(zone) => format::clock(at, zone),
            Self::Since(begins) => format::job_time_short(at - begins),
        }
    }

    /// An instant in a table.
    fn cell(self, at: Timestamp) -> String {
        match self {
            Self::Clock(zone) => format::clock(at, zone),
            Self::Since(begins) => format::job_time(at - begins),
        }
    }

    /// Where round times lie: so many milliseconds after `at` was round, less a whole number of steps.
    fn shift_ms(self, at: Timestamp) -> i64 {
        match self {
            // The clock's offset at the window's beginning sets their phase.
            Self::Clock(zone) => crate::week::zoned(at, zone).map_or(0, |at| i64::from(at.offset().seconds()) * 1000),
            Self::Since(begins) => -begins.as_ms(),
        }
    }
}

/// Draws the lane with its time axis, and the table behind it.
pub(crate) fn lane(lane: &Lane<'_>) -> Markup {
    let settled = settled(lane.pieces, lane.from, lane.to);
    let is_sliced = settled.len() > PIECES_MAX;
    let pieces = if is_sliced { parts_of(&slices(&settled, lane.from, lane.to, SLICES)) } else { settled };
    html! {
        (drawing(lane, &pieces))
        details id={ (lane.id) "-table" } {
            summary {
                @if is_sliced { "The lane as a table of " (SLICES) " slices, the parts of each summed up" }
                @else { "The lane as a table" }
            }
            div class="scroll" tabindex="0" role="region" aria-label={ "Table: " (lane.name) } { (table(lane, &pieces)) }
        }
    }
}

/// What the lane's shapes mean; once a page is enough.
pub(crate) fn lane_key() -> Markup {
    html! {
        p class="key" {
            (patch("k-working", "working")) (patch("k-waiting", "waiting, hot")) (patch("k-cold", "not heated"))
            (patch("k-gap", "no reading")) (patch("k-unknown", "told too little"))
            span class="key-entry" { "higher and deeper is hotter; the full height is " (format::celsius_whole(BAND_TOP)) }
        }
    }
}

/// The share of the residence limit as a bar. The words beside it are the page's.
pub(crate) fn budget(dose: DoseMinutes, limit: DoseMinutes) -> Markup {
    let share = if limit.get() > 0.0 { dose.get() / limit.get() } else { 0.0 };
    let class = if share >= 1.0 { "budget-over" } else { "budget-used" };
    html! {
        svg class="budget" width="100%" height="12" aria-hidden="true" {
            rect class="budget-track" x="0" y="0.5" width="100%" height="11" {}
            (mark(class, "0", "0.5", &along(share.clamp(0.0, 1.0)), "11"))
        }
    }
}

fn drawing(lane: &Lane<'_>, pieces: &[LanePiece]) -> Markup {
    let at = Place { from: lane.from, length: (lane.to - lane.from).get() };
    let all = px(BAND_PX + AXIS_PX);
    html! {
        div class="lane" {
            svg width="100%" height=(all) aria-hidden="true" {
                @for (degrees, y) in scale() {
                    text class="tick" x="90%" y=(y) dy="4" text-anchor="end" { (format::celsius_whole(degrees)) }
                }
            }
            svg role="img" width="100%" height=(all) aria-labelledby={ (lane.id) "-name " (lane.id) "-told" } {
                title id={ (lane.id) "-name" } { (lane.name) }
                desc id={ (lane.id) "-told" } { (told(pieces)) }
                @for piece in pieces { (shape(piece, &at)) }
                @for (_, y) in scale() { line class="grid" x1="0" x2="100%" y1=(y) y2=(y) {} }
                (time_axis(lane, &at))
            }
        }
    }
}

/// The temperatures that the scale names, and where.
pub(super) fn scale() -> [(Celsius, String); 2] {
    [100.0, 200.0].map(Celsius::new).map(|degrees| (degrees, px(BAND_PX - height(degrees))))
}

fn time_axis(lane: &Lane<'_>, at: &Place) -> Markup {
    html! {
        line class="axis" x1="0" x2="100%" y1=(px(BAND_PX)) y2=(px(BAND_PX)) {}
        @for tick in time_ticks(lane.axis, lane.from, lane.to) {
            @let x = at.of(tick);
            line class="axis" x1=(along(x)) x2=(along(x)) y1=(px(BAND_PX)) y2=(px(BAND_PX + 4.0)) {}
            text class="tick" x=(along(x)) y=(px(BAND_PX + 16.0)) text-anchor=(anchor(x)) {
                (lane.axis.tick(tick))
            }
        }
    }
}

/// Where an instant lies in the window.
pub(super) struct Place {
    pub(super) from: Timestamp,
    /// In seconds.
    pub(super) length: f64,
}

impl Place {
    pub(super) fn of(&self, at: Timestamp) -> f64 {
        if self.length > 0.0 { ((at - self.from).get() / self.length).clamp(0.0, 1.0) } else { 0.0 }
    }
}

pub(super) fn shape(piece: &LanePiece, at: &Place) -> Markup {
    let (x, width) = (along(at.of(piece.from)), along(at.of(piece.to) - at.of(piece.from)));
    let class = class(piece.kind);
    let told = piece.mean.filter(|_| !matches!(piece.kind, LaneKind::Gap | LaneKind::Unknown));
    let Some(mean) = told else {
        let full = matches!(piece.kind, LaneKind::Gap | LaneKind::Unknown);
        let high = if full { BAND_PX - 1.0 } else { UNTOLD_PX };
        return html! {
            @if full { (mark(class, &x, &px(0.5), &width, &px(high))) }
            @else { (mark(&format!("{class} untold"), &x, &px(BAND_PX - high), &width, &px(high))) }
        };
    };
    let (y, high) = (px(BAND_PX - height(mean)), px(height(mean)));
    html! {
        rect class={ "mark " (class) } fill-opacity=(depth(mean)) x=(x) y=(y) width=(width) height=(high) {}
        rect class={ "texture " (class) } x=(x) y=(y) width=(width) height=(high) {}
    }
}

const fn class(kind: LaneKind) -> &'static str {
    match kind {
        LaneKind::Working => "k-working",
        LaneKind::Waiting => "k-waiting",
        LaneKind::Cold => "k-cold",
        LaneKind::Gap => "k-gap",
        LaneKind::Unknown => "k-unknown",
    }
}

pub(super) const fn meaning(kind: LaneKind) -> &'static str {
    match kind {
        LaneKind::Working => "working",
        LaneKind::Waiting => "waiting, hot",
        LaneKind::Cold => "not heated",
        LaneKind::Gap => "no reading",
        LaneKind::Unknown => "told too little",
    }
}

fn height(mean: Celsius) -> f64 {
    BAND_PX * (mean.get() / BAND_TOP.get()).clamp(0.02, 1.0)
}

/// From pale at room heat to full at the band's top; waiting standby and printing heat differ by eye.
fn depth(mean: Celsius) -> String {
    format!("{:.2}", (mean.get() / BAND_TOP.get()).clamp(0.0, 1.0).mul_add(0.85, 0.15))
}

pub(super) fn anchor(x: f64) -> &'static str {
    match x {
        left if left < 0.06 => "start",
        right if right > 0.94 => "end",
        _ => "middle",
    }
}

pub(super) fn told(pieces: &[LanePiece]) -> String {
    let kinds = [LaneKind::Working, LaneKind::Waiting, LaneKind::Cold, LaneKind::Gap, LaneKind::Unknown];
    let sums = kinds.map(|kind| {
        let of_kind = pieces.iter().filter(|piece| piece.kind == kind);
        (kind, of_kind.fold(Seconds::ZERO, |sum, piece| sum + (piece.to - piece.from)))
    });
    let held = sums.iter().filter(|(_, sum)| *sum > Seconds::ZERO);
    let parts: Vec<_> = held.map(|(kind, sum)| format!("{} {}", meaning(*kind), format::duration(*sum))).collect();
    if parts.is_empty() { "Nothing recorded.".to_owned() } else { format!("{}.", parts.join("; ")) }
}

fn table(lane: &Lane<'_>, pieces: &[LanePiece]) -> Markup {
    html! {
        table {
            thead { tr { th { "From" } th { "To" } th { "Lasted" } th { "Tool was" } th { "Mean" } } }
            tbody {
                @for piece in pieces {
                    tr {
                        td { (lane.axis.cell(piece.from)) }
                        td { (lane.axis.cell(piece.to)) }
                        td { (format::duration(piece.to - piece.from)) }
                        td { (meaning(piece.kind)) }
                        td { (format::celsius(piece.mean)) }
                    }
                }
            }
        }
    }
}

/// Round times, at most five.
pub(super) fn time_ticks(axis: Axis<'_>, from: Timestamp, to: Timestamp) -> Vec<Timestamp> {
    const MINUTE_MS: i64 = 60_000;
    let (begins, from, to) = (from, from.as_ms(), to.as_ms());
    let steps = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10_080].map(|minutes| minutes * MINUTE_MS);
    let Some(step) = steps.into_iter().find(|step| (to - from) / step < 5) else { return Vec::new() };
    let shift = axis.shift_ms(begins);
    let first = (from + shift).div_euclid(step) * step - shift;
    let marks = std::iter::successors(Some(first), |at| Some(at + step)).take_while(|at| *at <= to);
    marks.filter(|at| *at >= from).map(Timestamp::from_ms).collect()
}
