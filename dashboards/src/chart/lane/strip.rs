//! A lane that goes on: the last hours and the expected next, cut into blocks of clock time, so that only the newest
//! block changes as time goes by. Owns how coarsely it is drawn: places are whole per cent of a block, heights whole
//! pixels, so that a second later most of it is the same to the letter.

use super::pieces::{parts_of, settled, slices};
use super::{AXIS_PX, BAND_PX, class, depth, height, meaning, scale};
use crate::format;
use crate::page::Live;
use crate::view::{LaneKind, LanePiece};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// A block of a whole strip, and how its window moves on.
const QUARTER: Seconds = Seconds::minutes(15.0);
/// So many quarters before the one that is on, and in all.
const QUARTERS_BACK: i64 = 7;
const QUARTERS: i64 = 12;
/// A block with more pieces than this is drawn in slices.
const PIECES_MAX: usize = 6;
const SLICES: u32 = 3;
/// A small strip is one block, in so many slices.
const SMALL_SLICES: u32 = 6;

const KINDS: [LaneKind; 5] = [LaneKind::Working, LaneKind::Waiting, LaneKind::Cold, LaneKind::Gap, LaneKind::Unknown];

/// What a strip shows.
pub(crate) struct Strip<'a> {
    /// Unique in the document.
    pub(crate) id: String,
    /// The id of the element that says whose, and the same in words.
    pub(crate) whose: String,
    /// Whose.
    pub(crate) name: String,
    /// What was, in any order.
    pub(crate) history: &'a [LanePiece],
    /// What is expected.
    pub(crate) next: &'a [LanePiece],
    /// Between the two.
    pub(crate) now: Timestamp,
    /// The clock beside it.
    pub(crate) zone: &'a TimeZone,
    /// One of many: coarser, and without a table of its own.
    pub(crate) small: bool,
}

/// A block: its place in time, and what lies in it, settled.
struct Block {
    from: Timestamp,
    to: Timestamp,
    was: Vec<LanePiece>,
    next: Vec<LanePiece>,
}

/// Where a strip's window begins and ends.
fn window(now: Timestamp) -> (Timestamp, Timestamp) {
    let ms = 15 * 60_000;
    let from = (now.as_ms().div_euclid(ms) - QUARTERS_BACK) * ms;
    (Timestamp::from_ms(from), Timestamp::from_ms(from + QUARTERS * ms))
}

/// Draws the strip; the table behind it is [`strip_table`].
pub(crate) fn strip(strip: &Strip<'_>, live: &Live) -> Markup {
    let (id, blocks) = (strip.id.as_str(), blocks(strip));
    let told = format!("{id}-told");
    let ids: Vec<_> = blocks.iter().map(|block| block.id(id)).collect();
    html! {
        div class={ "lane" @if strip.small { " small" } } {
            @if !strip.small { svg width="100%" height=(BAND_PX + AXIS_PX) aria-hidden="true" {
                @for (degrees, y) in scale() {
                    text class="tick" x="90%" y=(y) dy="4" text-anchor="end" { (format::celsius_whole(degrees)) }
                }
            } }
            div id=(id) class="strip" role="img" aria-labelledby=(strip.whose) aria-describedby=(told) data-child="div block" {
                (live.list(id, &ids, |idx, block_id| html! {
                    div class="block" id=(block_id) {
                        @if let Some(block) = blocks.get(idx) { (live.hole(block_id, || drawing(block, strip))) }
                    }
                }))
            }
        }
        p id=(told) class="unseen" { (live.hole(&told, || html! { (words(strip, &blocks)) })) }
    }
}

/// The same in quarters of an hour, for who reads tables.
pub(crate) fn strip_table(strip: &Strip<'_>, live: &Live) -> Markup {
    let (id, blocks) = (format!("{}-rows", strip.id), blocks(strip));
    let ids: Vec<_> = blocks.iter().map(|block| block.id(&id)).collect();
    html! {
        details id={ (strip.id) "-table" } {
            summary { "The lane as a table" }
            div class="scroll" tabindex="0" role="region" aria-label={ "Table: " (strip.name) } {
                table {
                    thead { tr { th scope="col" { "From" } @for kind in KINDS { th scope="col" { (column(kind)) } } } }
                    tbody id=(id) data-child="tr" {
                        (live.list(&id, &ids, |idx, row_id| html! {
                            tr id=(row_id) {
                                @if let Some(block) = blocks.get(idx) { (live.hole(row_id, || row(block, strip))) }
                            }
                        }))
                    }
                }
            }
        }
    }
}

impl Block {
    /// By its place in time, so that it stays the same block as the window moves on.
    fn id(&self, of: &str) -> String {
        format!("{of}-{}", self.from.as_ms() / 900_000)
    }

    fn at(&self, at: Timestamp) -> f64 {
        ((at - self.from).get() / (self.to - self.from).get() * 100.0).clamp(0.0, 100.0).round()
    }
}

fn blocks(strip: &Strip<'_>) -> Vec<Block> {
    let (from, to) = window(strip.now);
    let length = if strip.small { to - from } else { QUARTER };
    let mut blocks = Vec::new();
    let mut begins = from;
    while begins < to {
        let ends = begins + length;
        let was = settled(strip.history, begins.max(from), ends.min(strip.now));
        let next: Vec<_> = strip.next.iter().filter_map(|piece| within(piece, begins, ends)).collect();
        let cut = |pieces: Vec<LanePiece>, from, to| coarse(pieces, from, to, strip.small);
        let was = if begins < strip.now { cut(was, begins, ends.min(strip.now)) } else { Vec::new() };
        blocks.push(Block { from: begins, to: ends, was, next: cut(next, begins, ends) });
        begins = ends;
    }
    blocks
}

fn within(piece: &LanePiece, from: Timestamp, to: Timestamp) -> Option<LanePiece> {
    let piece = LanePiece { from: piece.from.max(from), to: piece.to.min(to), ..*piece };
    (piece.from < piece.to).then_some(piece)
}

/// In slices where there are more pieces than can be told apart; of a small strip, each slice is what most of it was.
fn coarse(pieces: Vec<LanePiece>, from: Timestamp, to: Timestamp, small: bool) -> Vec<LanePiece> {
    if pieces.len() <= PIECES_MAX {
        return pieces;
    }
    if !small {
        return parts_of(&slices(&pieces, from, to, SLICES));
    }
    let cut = slices(&pieces, from, to, SMALL_SLICES);
    let length = Seconds::new((to - from).get() / f64::from(SMALL_SLICES));
    let mut whole: Vec<LanePiece> = Vec::new();
    for (slice, nth) in cut.iter().zip(0_u32..) {
        let Some(most) = slice.parts.iter().max_by(|a, b| a.lasts.get().total_cmp(&b.lasts.get())) else { continue };
        let begins = from + Seconds::new(length.get() * f64::from(nth));
        let piece = LanePiece { from: begins, to: begins + length, kind: most.kind, mean: most.mean() };
        match whole.last_mut().filter(|last| last.kind == piece.kind && last.to == piece.from && alike(last, &piece)) {
            Some(last) => last.to = piece.to,
            None => whole.push(piece),
        }
    }
    whole
}

/// Whether two pieces of a small strip look the same: about two pixels.
fn alike(one: &LanePiece, other: &LanePiece) -> bool {
    match (one.mean, other.mean) {
        (Some(one), Some(other)) => (one - other).get().abs() < 10.0,
        (None, None) => true,
        (Some(_), None) | (None, Some(_)) => false,
    }
}

fn drawing(block: &Block, strip: &Strip<'_>) -> Markup {
    let is_on = block.from <= strip.now && strip.now < block.to;
    html! {
        svg width="100%" height=(BAND_PX + AXIS_PX) aria-hidden="true" {
            @for piece in &block.was { (shape(piece, block, !strip.small)) }
            @if !block.next.is_empty() {
                g class="ahead" { @for piece in &block.next { (shape(piece, block, false)) (edge(piece, block)) } }
            }
            @for tick in ticks(block, strip) { (clock(tick, block, strip)) }
            @if is_on { (now_line(block.at(strip.now))) }
        }
    }
}

fn shape(piece: &LanePiece, block: &Block, shaded: bool) -> Markup {
    let (from, to) = (block.at(piece.from), block.at(piece.to));
    let (x, width) = (format!("{from:.0}%"), format!("{:.0}%", to - from));
    let full = matches!(piece.kind, LaneKind::Gap | LaneKind::Unknown);
    let class = class(piece.kind);
    let told = piece.mean.filter(|_| !full);
    let high = if full { BAND_PX - 1.0 } else { told.map_or(super::UNTOLD_PX, height) }.round();
    let y = BAND_PX - high;
    let opacity = told.filter(|_| shaded).map(depth);
    html! {
        // A block's sides are no edges of a silence that goes on.
        @if to > from && piece.kind == LaneKind::Gap { line class=(class) x1=(x) x2={ (format!("{to:.0}")) "%" } y1=(y) y2=(y) {} }
        @else if to > from { rect class={ (class) @if told.is_none() && !full { " untold" } } fill-opacity=[opacity] x=(x) y=(y) width=(width) height=(high) {} }
    }
}

/// The upper edge of what is expected: a block's sides are no edges.
fn edge(piece: &LanePiece, block: &Block) -> Markup {
    let (from, to) = (block.at(piece.from), block.at(piece.to));
    let y = BAND_PX - piece.mean.map_or(super::UNTOLD_PX, height).round();
    html! {
        @if to > from { line class={ "edge " (class(piece.kind)) } x1={ (from) "%" } x2={ (to) "%" } y1=(y) y2=(y) {} }
    }
}

fn now_line(x: f64) -> Markup {
    let at = format!("{x:.0}%");
    html! {
        line class="now-line" x1=(at) x2=(at) y1="-3" y2=(BAND_PX) {}
        text class="now-word" x=(at) y="-6" { "now" }
    }
}

/// The instants of a block that are named below it: half hours, of a small strip hours.
fn ticks(block: &Block, strip: &Strip<'_>) -> Vec<Timestamp> {
    let step = if strip.small { 60 * 60_000 } else { 30 * 60_000 };
    let shift = crate::week::zoned(block.from, strip.zone).map_or(0, |at| i64::from(at.offset().seconds()) * 1000);
    let first = (block.from.as_ms() + shift + step - 1).div_euclid(step) * step - shift;
    let all = std::iter::successors(Some(first), |at| Some(at + step));
    all.take_while(|at| *at < block.to.as_ms()).map(Timestamp::from_ms).collect()
}

fn clock(at: Timestamp, block: &Block, strip: &Strip<'_>) -> Markup {
    let x = format!("{:.0}%", block.at(at));
    html! {
        @if !strip.small { line class="axis" x1=(x) x2=(x) y1=(BAND_PX) y2=(BAND_PX + 4.0) {} }
        text class="tick" x=(x) y=(BAND_PX + 16.0) { (format::clock(at, strip.zone)) }
    }
}

const fn column(kind: LaneKind) -> &'static str {
    match kind {
        LaneKind::Working => "Working",
        LaneKind::Waiting => "Waiting, hot",
        LaneKind::Cold => "Not heated",
        LaneKind::Gap => "No reading",
        LaneKind::Unknown => "Told too little",
    }
}

fn row(block: &Block, strip: &Strip<'_>) -> Markup {
    html! {
        th scope="row" { (format::clock(block.from, strip.zone)) }
        @for kind in KINDS {
            td {
                @let (was, next) = (sum(&block.was, kind), sum(&block.next, kind));
                @if let Some(was) = &was { (was) }
                @if was.is_some() && next.is_some() { "; " }
                @if let Some(next) = next { "expected " (next) }
            }
        }
    }
}

/// How long a kind lasted, and how hot it was on average.
fn sum(pieces: &[LanePiece], kind: LaneKind) -> Option<String> {
    let (lasted, heat) = total(pieces, kind)?;
    let heat = heat.map_or_else(String::new, |heat| format!(", {}", format::celsius_whole(heat)));
    Some(format!("{}{heat}", format::duration_coarse(lasted)))
}

fn total(pieces: &[LanePiece], kind: LaneKind) -> Option<(Seconds, Option<Celsius>)> {
    let (mut lasted, mut told, mut weighted) = (Seconds::ZERO, 0.0, 0.0);
    for piece in pieces.iter().filter(|piece| piece.kind == kind) {
        let length = piece.to - piece.from;
        lasted += length;
        if let Some(mean) = piece.mean {
            told += length.get();
            weighted += mean.get() * length.get();
        }
    }
    (lasted > Seconds::ZERO).then(|| (lasted, (told > 0.0).then(|| Celsius::new(weighted / told))))
}

fn words(strip: &Strip<'_>, blocks: &[Block]) -> String {
    let said = |of: fn(&Block) -> &[LanePiece]| {
        let pieces: Vec<_> = blocks.iter().flat_map(of).copied().collect();
        let sums = KINDS.iter().filter_map(|kind| Some((meaning(*kind), total(&pieces, *kind)?.0)));
        sums.map(|(what, lasted)| format!("{what} {}", format::duration_coarse(lasted))).collect::<Vec<_>>().join("; ")
    };
    let (was, next) = (said(|block| &block.was), said(|block| &block.next));
    let since = format::clock(window(strip.now).0, strip.zone);
    let next = if next.is_empty() { String::new() } else { format!(" Expected next: {next}.") };
    format!("Since {since}: {was}.{next}")
}
