//! What a tool extrudes first in a visit, and whether that is a purge. No comment is read, so it is judged by place:
//! pushed out standing still it is one; laid in a box that every tool goes to first and then leaves, and in which hardly
//! anything else is laid, it is one too. Anything else is part.

use super::outline::{Purge, PurgePlace};
use crate::entry::ToolNumber;
use dwell_analysis::units::CubicMm;

/// So far beyond what it has laid first a tool has gone elsewhere, mm.
const AWAY: f64 = 3.0;

/// Boxes that are nearer than this are one place, mm.
const NEAR: f64 = 1.0;

/// Less than this pushed out standing still is no purge but the end of a recovery, mm3.
const PUSHED_MIN: f64 = 0.5;

/// Visits after which it can be told whether tools share a place.
const VISITS_MIN: u32 = 3;

/// Least X, Y; greatest X, Y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Area {
    least: [f64; 2],
    most: [f64; 2],
}

/// The first extrusion of a visit.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct First {
    pushed: f64,
    spot: Option<[f64; 2]>,
    laid: f64,
    area: Option<Area>,
    is_over: bool,
}

/// What a visit's first extrusion was.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Began {
    /// Pushed out standing still, mm3, and where.
    pushed: f64,
    spot: Option<[f64; 2]>,
    /// Laid before the tool went elsewhere, mm3, if that was where all tools do so.
    laid: f64,
}

impl Began {
    /// Pushed out standing still, if that is more than the end of a recovery, mm3.
    pub(super) fn pushed(&self) -> f64 {
        if self.pushed >= PUSHED_MIN { self.pushed } else { 0.0 }
    }

    /// What of it was a purge, once it is known whether the tools have a place for that.
    pub(super) fn purge(&self, common: Option<PurgePlace>) -> Purge {
        let pushed = self.pushed();
        let tower = common.filter(|_| self.laid > 0.0);
        let laid = if tower.is_some() { self.laid } else { 0.0 };
        let spot = self.spot.filter(|_| pushed > 0.0).map(PurgePlace::Spot);
        Purge { volume: CubicMm::new(pushed + laid), place: tower.or(spot) }
    }
}

/// The place that tools have gone to first, if there is one.
#[derive(Clone, Debug, Default)]
pub(super) struct Common {
    area: Option<Area>,
    /// Visits that began in it, and that began elsewhere.
    n: u32,
    n_elsewhere: u32,
    tools: Vec<ToolNumber>,
    /// Laid in it first, and laid in it otherwise, mm3, since it is what it is.
    first: f64,
    other: f64,
}

impl Area {
    const fn of(at: [f64; 2]) -> Self {
        Self { least: at, most: at }
    }

    fn with(self, at: [f64; 2]) -> Self {
        let ([left, low], [right, high], [x, y]) = (self.least, self.most, at);
        Self { least: [left.min(x), low.min(y)], most: [right.max(x), high.max(y)] }
    }

    fn size(self) -> [f64; 2] {
        [self.most[0] - self.least[0], self.most[1] - self.least[1]]
    }

    fn holds(&self, at: [f64; 2], margin: f64) -> bool {
        let ([left, low], [right, high], [x, y]) = (self.least, self.most, at);
        (left - margin..=right + margin).contains(&x) && (low - margin..=high + margin).contains(&y)
    }

    fn shared(self, other: Self) -> Option<Self> {
        let least = [self.least[0].max(other.least[0]), self.least[1].max(other.least[1])];
        let most = [self.most[0].min(other.most[0]), self.most[1].min(other.most[1])];
        // Parts that touch share an edge; a place is shared by half at least, each way.
        let ([width, depth], [other_width, other_depth]) = (self.size(), other.size());
        let is_wide = most[0] - least[0] + NEAR >= width.max(other_width) / 2.0;
        let is_deep = most[1] - least[1] + NEAR >= depth.max(other_depth) / 2.0;
        (is_wide && is_deep).then(|| Self {
            least: [least[0].min(most[0]), least[1].min(most[1])],
            most: [least[0].max(most[0]), least[1].max(most[1])],
        })
    }
}

impl First {
    pub(super) fn push(&mut self, at: [f64; 2], volume: f64) {
        if !self.is_over {
            self.pushed += volume;
            self.spot = self.spot.or(Some(at));
        }
    }

    /// Lays filament on the way; says whether that still belongs to what is laid first.
    pub(super) fn lay(&mut self, from: [f64; 2], to: [f64; 2], volume: f64) -> bool {
        if !self.is_over {
            self.area = Some(self.area.unwrap_or(Area::of(from)).with(from).with(to));
            self.laid += volume;
        }
        !self.is_over
    }

    pub(super) fn travel(&mut self, to: [f64; 2]) {
        self.is_over |= self.area.is_some_and(|area| !area.holds(to, AWAY));
    }
}

impl Common {
    /// A visit that followed a change has ended; it began with `first`.
    pub(super) fn add(&mut self, tool: ToolNumber, first: &First) -> Began {
        let began = Began { pushed: first.pushed, spot: first.spot, laid: 0.0 };
        // A tool that stays where it began lays its part there.
        let Some(area) = first.area.filter(|_| first.is_over) else {
            self.n_elsewhere += u32::from(first.area.is_some());
            return began;
        };
        let shared = self.area.map_or(Some(area), |held| held.shared(area));
        if shared.is_none() && self.n > 1 {
            self.n_elsewhere += 1;
            return began;
        }
        if shared.is_none() || shared != self.area {
            (self.first, self.other) = (0.0, 0.0);
        }
        if shared.is_none() {
            // One visit alone is no custom.
            self.n_elsewhere += 1;
            self.n = 0;
            self.tools.clear();
        }
        self.area = shared.or(Some(area));
        self.n += 1;
        self.first += first.laid;
        if !self.tools.contains(&tool) {
            self.tools.push(tool);
        }
        Began { laid: first.laid, ..began }
    }

    /// Something else is laid.
    pub(super) fn lay(&mut self, from: [f64; 2], to: [f64; 2], volume: f64) {
        let middle = [f64::midpoint(from[0], to[0]), f64::midpoint(from[1], to[1])];
        if self.area.is_some_and(|area| area.holds(middle, 0.0)) {
            self.other += volume;
        }
    }

    /// Where all tools have purged, all but one visit in five at most.
    pub(super) fn place(&self) -> Option<PurgePlace> {
        let is_custom = self.n >= VISITS_MIN && self.n >= 4 * self.n_elsewhere && self.tools.len() > 1;
        let area = self.area.filter(|_| is_custom && self.other <= self.first);
        area.map(|area| PurgePlace::Tower([area.least, area.most]))
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop")]
mod tests {
    use super::*;

    /// Visits of T1 and T0 by turns, each beginning with a line at Y 5 and then a part at X 20 or 90.
    fn visits(n: usize, prime: impl Fn(usize) -> Option<[f64; 2]>) -> (Vec<Began>, Common) {
        let mut common = Common::default();
        let began = (0..n).map(|place| {
            let tool = ToolNumber::new((place + 1) % 2).unwrap();
            let (mut first, left) = (First::default(), if place % 2 == 0 { 90.0 } else { 20.0 });
            if let Some(at) = prime(place) {
                first.lay(at, [at[0] + 40.0, at[1]], 20.0);
            }
            for corner in
                [[left, 20.0], [left + 30.0, 20.0], [left + 30.0, 50.0], [left, 50.0], [left, 20.0]].windows(2)
            {
                first.travel(corner[0]);
                if !first.lay(corner[0], corner[1], 2.4) {
                    common.lay(corner[0], corner[1], 2.4);
                }
            }
            // The part is filled.
            for row in 0..60_u32 {
                let y = 20.0 + f64::from(row) / 2.0;
                if !first.lay([left, y], [left + 30.0, y], 2.4) {
                    common.lay([left, y], [left + 30.0, y], 2.4);
                }
            }
            common.add(tool, &first)
        });
        (began.collect(), common)
    }

    #[test]
    fn line_that_both_tools_begin_with_is_a_purge() {
        let (began, common) = visits(8, |_| Some([5.0, 5.0]));
        let place = common.place();
        assert!(
            matches!(place, Some(PurgePlace::Tower([[x, _], [_, y]])) if (x - 5.0).abs() < 1e-9 && y < 6.0),
            "{place:?}"
        );
        assert!(began.iter().all(|began| (began.purge(place).volume.get() - 20.0).abs() < 1e-9));
    }

    #[test]
    fn part_that_a_tool_begins_with_is_none() {
        let (began, common) = visits(8, |_| None);
        assert_eq!(common.place(), None);
        assert!(began.iter().all(|began| began.purge(None) == Purge::default()));
        // Nor where one tool alone primes.
        let (_, common) = visits(8, |place| (place % 2 == 0).then_some([5.0, 5.0]));
        assert_eq!(common.place(), None);
    }

    #[test]
    fn one_visit_that_begins_elsewhere_does_not_hide_the_place() {
        let (began, common) = visits(9, |place| (place != 4).then_some([5.0, 5.0]));
        let place = common.place();
        assert!(place.is_some() && began[4].purge(place) == Purge::default() && began[5].purge(place).place == place);
    }

    #[test]
    fn filament_pushed_out_standing_still_is_a_purge() {
        let (mut first, mut common) = (First::default(), Common::default());
        first.push([-10.0, 3.0], 12.0);
        first.lay([20.0, 20.0], [60.0, 20.0], 3.0);
        let purge = common.add(ToolNumber::new(0).unwrap(), &first).purge(common.place());
        assert_eq!((purge.volume.get(), purge.place), (12.0, Some(PurgePlace::Spot([-10.0, 3.0]))));
    }
}
