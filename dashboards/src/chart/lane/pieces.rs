//! A lane's pieces put in order, and cut into slices where there are more than can be told apart. Owns that nothing is
//! ever drawn over a gap, and that slices keep every kind's time.

use crate::view::{LaneKind, LanePiece};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};

/// The window filled without overlap: gaps are taken out of every other piece, and time that no piece covers is a gap.
pub(in crate::chart) fn settled(pieces: &[LanePiece], from: Timestamp, to: Timestamp) -> Vec<LanePiece> {
    let clipped = |piece: &LanePiece| {
        let piece = LanePiece { from: piece.from.max(from), to: piece.to.min(to), ..*piece };
        (piece.from < piece.to).then_some(piece)
    };
    let (gaps, mut known): (Vec<_>, Vec<_>) =
        pieces.iter().filter_map(clipped).partition(|piece| piece.kind == LaneKind::Gap);
    for gap in gaps {
        known = known.into_iter().flat_map(|piece| without(piece, gap)).collect();
    }
    known.sort_by_key(|piece| piece.from);
    let mut filled = Vec::with_capacity(known.len() * 2 + 1);
    let mut reached = from;
    let gap = |from, to| LanePiece { from, to, kind: LaneKind::Gap, mean: None };
    for piece in known {
        if piece.from > reached {
            filled.push(gap(reached, piece.from));
        }
        let rest = LanePiece { from: piece.from.max(reached), ..piece };
        if rest.from < rest.to {
            reached = rest.to;
            filled.push(rest);
        }
    }
    if reached < to {
        filled.push(gap(reached, to));
    }
    filled
}

/// What is left of a piece before and after a gap.
fn without(piece: LanePiece, gap: LanePiece) -> impl Iterator<Item = LanePiece> {
    let before = LanePiece { to: piece.to.min(gap.from), ..piece };
    let after = LanePiece { from: piece.from.max(gap.to), ..piece };
    [before, after].into_iter().filter(|piece| piece.from < piece.to)
}

/// A slice of a window: how much of it was what.
#[derive(Clone, Debug, Default)]
pub(crate) struct Slice {
    /// One a kind that occurs: its time, and its mean temperature where that is told.
    pub(crate) parts: Vec<SlicePart>,
    from: Option<Timestamp>,
}

/// A kind's part of a slice.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SlicePart {
    pub(crate) kind: LaneKind,
    pub(crate) lasts: Seconds,
    /// Integral of temperature over the time that tells one, K s, and that time.
    weighted: (f64, f64),
}

impl SlicePart {
    pub(crate) fn mean(&self) -> Option<Celsius> {
        let (sum, told) = self.weighted;
        (told > 0.0).then(|| Celsius::new(sum / told))
    }
}

impl Slice {
    fn add(&mut self, kind: LaneKind, lasts: Seconds, mean: Option<Celsius>) {
        let found = self.parts.iter().position(|part| part.kind == kind).unwrap_or_else(|| {
            self.parts.push(SlicePart { kind, lasts: Seconds::ZERO, weighted: (0.0, 0.0) });
            self.parts.len() - 1
        });
        if let Some(part) = self.parts.get_mut(found) {
            part.lasts += lasts;
            if let Some(mean) = mean {
                part.weighted.0 += mean.get() * lasts.get();
                part.weighted.1 += lasts.get();
            }
        }
    }
}

/// Cuts a window into slices of one length. `pieces` are in order and do not overlap.
pub(crate) fn slices(pieces: &[LanePiece], from: Timestamp, to: Timestamp, n: u32) -> Vec<Slice> {
    let length = Seconds::new((to - from).get() / f64::from(n));
    let edge = |at: u32| if at == n { to } else { from + Seconds::new(length.get() * f64::from(at)) };
    let mut ahead = pieces;
    let mut cut = Vec::new();
    for at in 0..n {
        let (begins, ends) = (edge(at), edge(at + 1));
        let mut slice = Slice { parts: Vec::new(), from: Some(begins) };
        while let Some((piece, rest)) = ahead.split_first() {
            let (starts, stops) = (piece.from.max(begins), piece.to.min(ends));
            if starts < stops {
                slice.add(piece.kind, stops - starts, piece.mean);
            }
            if piece.to > ends {
                break;
            }
            ahead = rest;
        }
        cut.push(slice);
    }
    cut
}

/// The slices' parts side by side, so that every kind keeps the room that it takes.
pub(in crate::chart) fn parts_of(slices: &[Slice]) -> Vec<LanePiece> {
    let mut pieces = Vec::new();
    for slice in slices {
        let Some(mut reached) = slice.from else { continue };
        for part in &slice.parts {
            let to = reached + part.lasts;
            pieces.push(LanePiece { from: reached, to, kind: part.kind, mean: part.mean() });
            reached = to;
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(from: i64, to: i64, kind: LaneKind) -> LanePiece {
        LanePiece { from: Timestamp::from_ms(from), to: Timestamp::from_ms(to), kind, mean: Some(Celsius::new(200.0)) }
    }

    #[test]
    fn a_lane_has_no_idle_piece_over_a_gap() {
        let told = [piece(0, 60, LaneKind::Waiting), piece(20, 30, LaneKind::Gap), piece(25, 40, LaneKind::Gap)];
        let lane = settled(&told, Timestamp::from_ms(-10), Timestamp::from_ms(80));
        let shown: Vec<_> = lane.iter().map(|piece| (piece.from.as_ms(), piece.to.as_ms(), piece.kind)).collect();
        assert_eq!(
            shown,
            [
                (-10, 0, LaneKind::Gap),
                (0, 20, LaneKind::Waiting),
                (20, 40, LaneKind::Gap),
                (40, 60, LaneKind::Waiting),
                (60, 80, LaneKind::Gap)
            ]
        );
    }

    #[test]
    fn slices_keep_the_time_and_the_mean_of_every_kind() {
        let every = |at: i64| {
            let kind = if at % 2 == 0 { LaneKind::Working } else { LaneKind::Waiting };
            piece(at * 700, (at + 1) * 700, kind)
        };
        let pieces: Vec<_> = (0..1000).map(every).collect();
        let (from, to) = (Timestamp::from_ms(0), Timestamp::from_ms(700_000));
        let sliced = parts_of(&slices(&pieces, from, to, 200));
        let time = |pieces: &[LanePiece], kind| {
            let of_kind = pieces.iter().filter(|piece| piece.kind == kind);
            of_kind.map(|piece| (piece.to - piece.from).as_ms()).sum::<f64>().round()
        };
        assert!(sliced.len() <= 400, "{}", sliced.len());
        for kind in [LaneKind::Working, LaneKind::Waiting] {
            assert!((time(&pieces, kind) - time(&sliced, kind)).abs() < 1.0, "{kind:?}");
        }
        assert!(sliced.iter().all(|piece| piece.mean.is_some_and(|mean| (mean.get() - 200.0).abs() < 1e-9)));
        assert!(sliced.windows(2).all(|pair| matches!(pair, [a, b] if a.to == b.from)));
    }

    #[test]
    fn a_lane_covers_its_window_once_whatever_overlaps() {
        let told = [piece(0, 50, LaneKind::Working), piece(30, 90, LaneKind::Waiting), piece(95, 99, LaneKind::Cold)];
        let lane = settled(&told, Timestamp::from_ms(10), Timestamp::from_ms(97));
        assert!(lane.windows(2).all(|pair| matches!(pair, [a, b] if a.to == b.from)));
        assert_eq!((lane.first().map(|p| p.from.as_ms()), lane.last().map(|p| p.to.as_ms())), (Some(10), Some(97)));
    }
}
