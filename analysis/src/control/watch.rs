//! Watching a series whose normal state is known. Owns the charts over what each reading brings that the one before did not
//! tell, how small a shift they miss, and the slow learning that goes on; what is normal is `baseline`'s.

use super::baseline::{Baseline, WILD};
use super::cusum::{Cusum, Side};
use super::drift::{DriftPlan, Signal};
use super::gathered::Gathered;
use super::run_length::cusum_limit;
use crate::estimate::{Refusal, count, deviations};
use crate::units::Seconds;
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Slack of each chart, in standard deviations of what a reading brings: a chart finds shifts of about twice its slack
/// soonest. Together they find any shift of 0.3 to 4 within about a sixth of the time of the chart made for it.
const SLACKS: [f64; 4] = [0.15, 0.35, 0.75, 1.5];

/// What a reading brings counts for so many standard deviations at the most: a few wild ones are no shift, and a true one
/// of any size still shows within as many readings as the steepest chart's limit takes.
const NEWS_MOST: f64 = 3.0;

/// The level may be off by so many of its standard deviations: as much more slack.
const GUARD: f64 = 2.0;

/// A sum rises no further than so many limits, so that it comes back soon after what raised it is over.
const CAP: f64 = 1.5;

/// A signal ends, and a reading stops being taken for normal, at this share of the limit.
const CALM: f64 = 0.5;

/// What is normal is learned again from so many times the readings that it was learned from, up to what is remembered.
const AGAIN: f64 = 4.0;

/// How often a shift of the blind zone's size is found.
const FOUND: f64 = 0.9;

/// What is known once it was learned.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Watch {
    baseline: Baseline,
    charts: [Chart; 4],
    /// The deviation of the reading before.
    before: Option<f64>,
    /// Readings that the level rests on.
    known: f64,
    /// Readings of what is remembered.
    known_most: f64,
    gathered: Gathered,
    standing: Option<Side>,
}

/// A chart, and what was read since each of its sums was zero.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Chart {
    cusum: Cusum,
    runs: [Run; 2],
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Run {
    n: usize,
    total: f64,
    lasted: Seconds,
}

impl Watch {
    pub(super) fn new(baseline: Baseline, plan: &DriftPlan) -> Self {
        let interval = baseline.interval.get();
        let run = plan.quiet.get() / interval * count(2 * SLACKS.len());
        let chart = |slack| Chart { cusum: Cusum::new(0.0, slack, cusum_limit(slack, run)), runs: [Run::default(); 2] };
        let known = count(baseline.n);
        let known_most = known.max(plan.memory.get() / interval);
        let gathered = Gathered::new();
        Self { baseline, charts: SLACKS.map(chart), before: None, known, known_most, gathered, standing: None }
    }

    pub(super) const fn baseline(&self) -> &Baseline {
        &self.baseline
    }

    /// By how much the level may be off, in standard deviations of what a reading brings.
    fn guard(&self) -> f64 {
        GUARD / self.known.sqrt()
    }

    /// What is of no consequence, in the same.
    fn ignored(&self, tolerance: f64) -> f64 {
        tolerance * (1.0 - self.baseline.correlation) / self.baseline.innovation
    }

    pub(super) fn push(&mut self, value: f64, after: Seconds, tolerance: f64) -> Option<Signal> {
        let plain = value - self.baseline.level;
        let deviation = self.baseline.deviation(value);
        let news = self.baseline.news(deviation, self.before, after).clamp(-NEWS_MOST, NEWS_MOST);
        let guard = self.guard() + self.ignored(tolerance);
        for chart in &mut self.charts {
            chart.push(news, guard, plain, after);
        }
        let before = self.before.replace(deviation);
        self.judge();
        if self.charts.iter().all(|chart| Side::BOTH.iter().all(|side| chart.part(*side) < CALM)) {
            if let Some(before) = before.filter(|_| self.baseline.follows(after)) {
                self.gather(deviation, before, news);
            }
            self.absorb(plain);
        }
        self.signal()
    }

    /// The chart that is the furthest over its limit says which way; the signal ends when all of that side are calm.
    fn judge(&mut self) {
        let (part, side) = self.furthest();
        if part > 1.0 {
            self.standing = Some(side);
        } else if let Some(side) = self.standing
            && self.charts.iter().all(|chart| chart.part(side) < CALM)
        {
            self.standing = None;
        }
    }

    fn furthest(&self) -> (f64, Side) {
        let parts = self.charts.iter().flat_map(|chart| Side::BOTH.map(|side| (chart.part(side), side)));
        parts.fold((0.0, Side::Up), |most, one| if one.0 > most.0 { one } else { most })
    }

    /// Learns again what is normal, but for the level, once enough was quiet.
    fn gather(&mut self, deviation: f64, before: f64, news: f64) {
        let most = WILD * self.baseline.spread();
        self.gathered.push(deviation.clamp(-most, most), before.clamp(-most, most), news);
        // Of a coarse sensor the step says more than the flicker.
        if count(self.gathered.n()) >= (AGAIN * count(self.baseline.n)).min(self.known_most) {
            if !self.baseline.is_coarse {
                self.baseline = self.gathered.renewed(&self.baseline);
            }
            self.gathered = Gathered::new();
        }
    }

    /// Takes a quiet reading for normal. What is wild among them weighs no more than `WILD` standard deviations.
    fn absorb(&mut self, plain: f64) {
        self.known = (self.known + 1.0).min(self.known_most);
        let most = WILD * self.baseline.spread();
        self.baseline.level += plain.clamp(-most, most) / self.known;
    }

    pub(super) fn signal(&self) -> Option<Signal> {
        let side = self.standing?;
        let of_side = |chart: &Chart| chart.part(side);
        let chart = self.charts.iter().max_by(|a, b| of_side(a).total_cmp(&of_side(b)))?;
        let run = chart.run(side);
        (run.n > 0).then(|| Signal { side, since: run.lasted, size: run.total / count(run.n) })
    }

    /// After `t` readings with a shift of `s` the sum is at least `t (s - k)`, give or take `sqrt(t)`. What is wild is drawn
    /// in, so that a shift counts as its mean after that; the level may be off against it by the guard once more.
    pub(super) fn blind_zone(&self, within: Seconds, tolerance: f64) -> Result<f64, Refusal> {
        let readings = (within.get() / self.baseline.interval.get()).floor();
        if readings < 1.0 {
            return Err(Refusal::OutOfReach);
        }
        let luck = deviations(FOUND) * readings.sqrt();
        let needed = |chart: &Chart| {
            chart.cusum.slack() + 2.0 * self.guard() + self.ignored(tolerance) + (chart.cusum.limit() + luck) / readings
        };
        let least = self.charts.iter().map(needed).min_by(f64::total_cmp).ok_or(Refusal::OutOfReach)?;
        let shift = shift_of(least).ok_or(Refusal::OutOfReach)?;
        // Before and after it the value may lie half a step off, and a step of the deviation does not count.
        let hidden = if self.baseline.is_coarse { 2.0 * self.baseline.step } else { 0.0 };
        Ok(hidden + shift * self.baseline.innovation / (1.0 - self.baseline.correlation))
    }
}

impl Chart {
    fn push(&mut self, news: f64, guard: f64, plain: f64, after: Seconds) {
        let _: Option<Side> = self.cusum.push_guarded(news, guard);
        self.cusum.cap(CAP * self.cusum.limit());
        for (side, run) in Side::BOTH.into_iter().zip(&mut self.runs) {
            if self.cusum.sum(side).n == 0 {
                *run = Run::default();
            } else {
                *run = Run { n: run.n + 1, total: run.total + plain, lasted: run.lasted + after };
            }
        }
    }

    /// A side's sum as a share of the limit.
    fn part(&self, side: Side) -> f64 {
        self.cusum.sum(side).value / self.cusum.limit()
    }

    const fn run(&self, side: Side) -> Run {
        match side {
            Side::Up => self.runs[0],
            Side::Down => self.runs[1],
        }
    }
}

/// The shift of a standard normal value at which its mean is `mean` once what is wild is drawn in; `None` where none is.
fn shift_of(mean: f64) -> Option<f64> {
    let normal = Normal::standard();
    let drawn_in = |shift: f64| {
        let room = NEWS_MOST - shift;
        shift - (normal.pdf(room) - room * normal.sf(room))
    };
    let (mut low, mut high) = (0.0, NEWS_MOST + 3.0);
    if drawn_in(high) < mean {
        return None;
    }
    while high - low > 1e-6 {
        let middle = f64::midpoint(low, high);
        if drawn_in(middle) < mean {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(high)
}
