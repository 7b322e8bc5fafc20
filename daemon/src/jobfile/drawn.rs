//! One tool's filament: what is drawn back, brought forward again, and pushed out. Owns what counts as one retraction:
//! all that is drawn back until some of it is brought forward.

use super::outline::Retractions;
use super::spread::Tally;
use dwell_analysis::estimate::count;
use dwell_analysis::units::Millimetres;
use std::collections::VecDeque;

/// Rounding of a file's numbers, mm: less is nothing.
const NOTHING: f64 = 1e-6;

/// Spots of the filament that are watched at once. A drive passes the same spot so often only over a short piece of
/// filament; where more than these lie within one retraction, the older ones are let go.
const SPOTS_MAX: usize = 256;

/// Filament under a metre says little of retractions a metre.
const METRE: f64 = 1000.0;

/// The filament of one tool.
#[derive(Clone, Debug, Default)]
pub(super) struct Drawn {
    /// Drawn back now, mm.
    depth: f64,
    /// By the machine, by a length that is not told.
    is_back_untold: bool,
    open: Option<Open>,
    /// Pushed out so far, mm.
    used: f64,
    n: u64,
    untold: u64,
    lengths: Tally,
    speeds: Tally,
    extras: Tally,
    /// Where the filament stood when it was drawn back, and how often that spot has passed the drive.
    spots: VecDeque<(f64, u32)>,
    /// The longest retraction so far, mm: no other reaches further back.
    longest: f64,
    on_one_spot: u32,
    /// Of the visit under way.
    visit_n: u32,
    visit_lengths: Tally,
}

#[derive(Clone, Copy, Debug)]
struct Open {
    /// What had been pushed out before, mm.
    at: f64,
    length: f64,
    /// Of its longest piece.
    speed: Option<f64>,
    piece: f64,
    /// Brought forward again, at least in part.
    is_returning: bool,
    extra: f64,
    /// Another tool has worked meanwhile: what is pushed beyond it is a purge.
    is_from_before: bool,
}

impl Drawn {
    /// Draws back `length`, at `speed` if that is known.
    pub(super) fn back(&mut self, length: f64, speed: Option<f64>) {
        if self.open.is_some_and(|open| open.is_returning) {
            self.close();
        }
        if self.open.is_none() {
            self.n += 1;
            self.visit_n += 1;
        }
        let mut open = self.open.unwrap_or(Open {
            at: self.used,
            length: 0.0,
            speed: None,
            piece: 0.0,
            is_returning: false,
            extra: 0.0,
            is_from_before: false,
        });
        self.depth += length;
        open.length += length;
        if length > open.piece {
            (open.piece, open.speed) = (length, speed.or(open.speed));
        }
        self.open = Some(open);
    }

    /// The machine draws back by a length of its own.
    pub(super) fn back_untold(&mut self) {
        if !self.is_back_untold {
            self.is_back_untold = true;
            self.n += 1;
            self.untold += 1;
            self.visit_n += 1;
        }
    }

    /// The machine brings all forward, and `extra` more.
    pub(super) fn recover(&mut self, extra: Option<f64>) -> f64 {
        self.is_back_untold = false;
        self.forward(self.depth + extra.unwrap_or(0.0), true)
    }

    /// Pushes `length` forward, standing still or while travelling. Returns what leaves the nozzle of it.
    pub(super) fn forward(&mut self, length: f64, stands: bool) -> f64 {
        let back = self.depth.min(length);
        self.depth -= back;
        if self.depth < NOTHING {
            self.depth = 0.0;
        }
        let out = length - back;
        let out = if out < NOTHING { 0.0 } else { out };
        self.used += out;
        if let Some(open) = &mut self.open {
            open.is_returning = true;
            if stands {
                open.extra += out;
            }
        }
        if !stands && out > 0.0 {
            self.close();
        }
        out
    }

    /// The tool is left: what is drawn back now is drawn back for the wait.
    pub(super) fn leave(&mut self) -> (u32, Option<Millimetres>) {
        if self.open.is_some_and(|open| open.is_returning) {
            self.close();
        }
        if let Some(open) = self.open.take() {
            self.book(&open);
            self.open = Some(Open { length: 0.0, is_from_before: true, ..open });
        }
        let visit = (self.visit_n, self.visit_lengths.mode().map(Millimetres::new));
        self.visit_n = 0;
        self.visit_lengths.clear();
        visit
    }

    /// Drawn back now; `None` where the machine has done it by a length that is not told.
    pub(super) fn depth(&self) -> Option<Millimetres> {
        (!self.is_back_untold).then(|| Millimetres::new(self.depth))
    }

    pub(super) const fn used(&self) -> Millimetres {
        Millimetres::new(self.used)
    }

    pub(super) fn retractions(mut self) -> Retractions {
        self.close();
        let n = count(usize::try_from(self.n).unwrap_or(usize::MAX));
        Retractions {
            n: self.n,
            length: self.lengths.spread(),
            speed: self.speeds.spread(),
            extra: self.extras.spread(),
            untold: self.untold,
            per_metre: (self.used >= METRE).then(|| n / (self.used / METRE)),
            on_one_spot: self.on_one_spot,
        }
    }

    fn close(&mut self) {
        // What was drawn back before another tool worked has been booked when the tool was left.
        let Some(open) = self.open.take().filter(|open| !open.is_from_before) else { return };
        self.book(&open);
        if open.is_returning {
            self.extras.add(open.extra);
        }
    }

    fn book(&mut self, open: &Open) {
        if open.length < NOTHING {
            return;
        }
        self.lengths.add(open.length);
        self.visit_lengths.add(open.length);
        if let Some(speed) = open.speed {
            self.speeds.add(speed);
        }
        self.pass(open.at, open.length);
    }

    /// The filament from `here` back by `length` has passed the drive once more, there and back.
    fn pass(&mut self, here: f64, length: f64) {
        let mut most = 1;
        self.longest = self.longest.max(length);
        for (at, n) in &mut self.spots {
            // The spot just below the one that stood at the drive then.
            if *at > here - length {
                *n += 1;
                most = most.max(*n);
            }
        }
        self.on_one_spot = self.on_one_spot.max(most);
        if self.spots.len() == SPOTS_MAX {
            self.spots.pop_front();
        }
        self.spots.push_back((here, 1));
        while self.spots.front().is_some_and(|(at, _)| *at <= here - self.longest) {
            self.spots.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_of_one_retraction_are_one_and_what_is_pushed_beyond_it_is_extra() {
        let mut drawn = Drawn::default();
        assert!((drawn.forward(5.0, false) - 5.0).abs() < 1e-12);
        drawn.back(0.2, Some(10.0));
        drawn.back(0.6, Some(35.0));
        assert!(drawn.forward(0.9, true).abs() - 0.1 < 1e-12);
        drawn.forward(3.0, false);
        let told = drawn.retractions();
        assert_eq!((told.n, told.length.mode, told.speed.mode, told.extra.mode), (1, Some(0.8), Some(35.0), Some(0.1)));
    }

    #[test]
    fn what_is_pushed_after_another_tool_worked_is_no_extra() {
        let mut drawn = Drawn::default();
        drawn.forward(5.0, false);
        drawn.back(2.0, Some(35.0));
        assert_eq!(drawn.leave(), (1, Some(Millimetres::new(2.0))));
        assert_eq!(drawn.depth(), Some(Millimetres::new(2.0)));
        assert!((drawn.forward(12.0, true) - 10.0).abs() < 1e-12);
        drawn.forward(1.0, false);
        let told = drawn.retractions();
        assert_eq!((told.n, told.length.n, told.extra.n), (1, 1, 0));
    }

    /// Ten retractions of 2 mm, 0.1 mm of filament pushed between them: the last spot of the first has passed with all
    /// ten; with 3 mm between them each spot passes once.
    #[test]
    fn spot_of_the_filament_counts_how_often_it_passes_the_drive() {
        for (between, most) in [(0.1, 10), (3.0, 1), (1.0, 2)] {
            let mut drawn = Drawn::default();
            for _ in 0..10 {
                drawn.forward(between, false);
                drawn.back(2.0, Some(35.0));
                drawn.forward(2.0, true);
            }
            assert_eq!(drawn.retractions().on_one_spot, most, "{between}");
        }
        let mut drawn = Drawn::default();
        drawn.back_untold();
        drawn.back_untold();
        assert_eq!(drawn.depth(), None);
        drawn.recover(Some(0.5));
        assert_eq!((drawn.n, drawn.untold, drawn.depth()), (1, 1, Some(Millimetres::new(0.0))));
        assert!((drawn.used().get() - 0.5).abs() < 1e-12);
        assert_eq!(drawn.retractions().untold, 1);
    }
}
