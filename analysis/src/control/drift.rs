//! A lasting shift of a series whose normal state has to be learned first. Owns the charts over what each reading brings
//! that the one before did not tell, and how small a shift they miss; what is normal is `baseline`'s.

use super::baseline::{Baseline, Reading, WILD};
use super::cusum::{Cusum, Side};
use super::run_length::cusum_limit;
use crate::estimate::{Refusal, count, deviations};
use crate::units::Seconds;
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Slack of each chart, in standard deviations of what a reading brings: a chart finds shifts of about twice its slack
/// soonest. Together they find any shift of 0.3 to 4 within about a sixth of the time of the chart made for it.
const SLACKS: [f64; 4] = [0.15, 0.35, 0.75, 1.5];

/// The level may be off by so many of its standard deviations: as much more slack.
const GUARD: f64 = 2.0;

/// A sum rises no further than so many limits, so that it comes back soon after what raised it is over.
const CAP: f64 = 1.5;

/// A signal ends, and a reading stops being taken for normal, at this share of the limit.
const CALM: f64 = 0.5;

/// How often a shift of the blind zone's size is found.
const FOUND: f64 = 0.9;

/// What a detector is to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftPlan {
    /// Readings that what is normal is learned from; at least 100.
    pub learn: usize,
    /// The sensor's step, in the series' unit; `None` if it is to be seen from the readings.
    pub step: Option<f64>,
    /// How long what is normal is remembered: a change of the level that takes longer is taken for normal.
    pub memory: Seconds,
    /// Mean time between two false alarms, at least.
    pub quiet: Seconds,
}

/// A shift that stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Signal {
    /// Which way.
    pub side: Side,
    /// How long ago it began, by the sum that found it.
    pub since: Seconds,
    /// Its mean size since then, in the series' unit; below zero downwards.
    pub size: f64,
}

/// Finds shifts, reading by reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    plan: DriftPlan,
    stage: Stage,
    /// Time since the newest number that was read, as far as no number came since.
    unread: Seconds,
}

#[derive(Clone, Debug, PartialEq)]
enum Stage {
    Learning { readings: Vec<Reading>, refused: Option<Refusal> },
    Watching(Box<Watch>),
}

/// What is known once it was learned.
#[derive(Clone, Debug, PartialEq)]
struct Watch {
    baseline: Baseline,
    charts: [Chart; 4],
    /// The deviation of the reading before.
    before: Option<f64>,
    /// Readings that the level rests on.
    known: f64,
    known_most: f64,
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

impl Drift {
    /// A detector that has learned nothing yet.
    #[must_use]
    pub const fn new(plan: DriftPlan) -> Self {
        let stage = Stage::Learning { readings: Vec::new(), refused: None };
        Self { plan, stage, unread: Seconds::ZERO }
    }

    /// Takes in a reading that came `after` the one before it; the shift that stands with it. What is no number is neither
    /// good nor bad, nor is a gap.
    pub fn push(&mut self, value: f64, after: Seconds) -> Option<Signal> {
        let after = self.unread + after;
        if !value.is_finite() {
            self.unread = after;
            return self.standing();
        }
        self.unread = Seconds::ZERO;
        match &mut self.stage {
            Stage::Learning { readings, refused } => {
                readings.push(Reading { value, after });
                match Baseline::learn(readings, self.plan.learn, self.plan.step) {
                    Ok(baseline) => self.stage = Stage::Watching(Box::new(Watch::new(baseline, &self.plan))),
                    Err(Refusal::TooFew { .. }) => {}
                    // Nothing can be learned from these: the oldest go, and it is tried again with what comes.
                    Err(why) => {
                        readings.drain(..readings.len().div_ceil(4));
                        *refused = Some(why);
                    }
                }
                None
            }
            Stage::Watching(watch) => watch.push(value, after),
        }
    }

    /// The shift that stands.
    #[must_use]
    pub fn standing(&self) -> Option<Signal> {
        match &self.stage {
            Stage::Learning { .. } => None,
            Stage::Watching(watch) => watch.signal(),
        }
    }

    /// What was learned.
    ///
    /// # Errors
    /// As long as nothing was: too few readings, or none that differ.
    pub fn baseline(&self) -> Result<&Baseline, Refusal> {
        match &self.stage {
            Stage::Learning { readings, refused } => {
                Err(refused.unwrap_or(Refusal::TooFew { have: readings.len(), need: self.plan.learn.max(100) }))
            }
            Stage::Watching(watch) => Ok(&watch.baseline),
        }
    }

    /// The blind zone: a sudden shift smaller than this, in the series' unit, is not found within that time 9 times in
    /// 10; a larger one is.
    ///
    /// # Errors
    /// As long as nothing was learned, and where the time is too short to find any shift in.
    pub fn blind_zone(&self, within: Seconds) -> Result<f64, Refusal> {
        self.baseline()?;
        match &self.stage {
            Stage::Learning { .. } => Err(Refusal::TooFew { have: 0, need: self.plan.learn }),
            Stage::Watching(watch) => watch.blind_zone(within),
        }
    }
}

impl Watch {
    fn new(baseline: Baseline, plan: &DriftPlan) -> Self {
        let interval = baseline.interval.get();
        let run = plan.quiet.get() / interval * count(2 * SLACKS.len());
        let chart = |slack| Chart { cusum: Cusum::new(0.0, slack, cusum_limit(slack, run)), runs: [Run::default(); 2] };
        let known = count(baseline.n);
        let known_most = known.max(plan.memory.get() / interval);
        Self { baseline, charts: SLACKS.map(chart), before: None, known, known_most, standing: None }
    }

    fn guard(&self) -> f64 {
        GUARD / self.known.sqrt()
    }

    fn push(&mut self, value: f64, after: Seconds) -> Option<Signal> {
        let plain = value - self.baseline.level;
        let deviation = self.baseline.deviation(value);
        let news = self.baseline.news(deviation, self.before, after).clamp(-WILD, WILD);
        let guard = self.guard();
        for chart in &mut self.charts {
            chart.push(news, guard, plain, after);
        }
        self.before = Some(deviation);
        self.judge();
        if self.charts.iter().all(|chart| Side::BOTH.iter().all(|side| chart.part(*side) < CALM)) {
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

    /// Takes a quiet reading for normal. What is wild among them weighs no more than `WILD` standard deviations.
    fn absorb(&mut self, plain: f64) {
        self.known = (self.known + 1.0).min(self.known_most);
        let most = WILD * self.baseline.spread();
        // A deviation that is a reading's own and not left of the one before counts for the level as one of independent ones.
        self.baseline.level += plain.clamp(-most, most) / self.known;
    }

    fn signal(&self) -> Option<Signal> {
        let side = self.standing?;
        let of_side = |chart: &Chart| chart.part(side);
        let chart = self.charts.iter().max_by(|a, b| of_side(a).total_cmp(&of_side(b)))?;
        let run = chart.run(side);
        (run.n > 0).then(|| Signal { side, since: run.lasted, size: run.total / count(run.n) })
    }

    /// After `t` readings with a shift of `s` the sum is at least `t (s - k)`, give or take `sqrt(t)`. What is wild is drawn
    /// in, so that a shift counts as its mean after that; the level may be off against it by the guard once more.
    fn blind_zone(&self, within: Seconds) -> Result<f64, Refusal> {
        let readings = (within.get() / self.baseline.interval.get()).floor();
        if readings < 1.0 {
            return Err(Refusal::OutOfReach);
        }
        let luck = deviations(FOUND) * readings.sqrt();
        let needed = |chart: &Chart| chart.cusum.slack() + 2.0 * self.guard() + (chart.cusum.limit() + luck) / readings;
        let least = self.charts.iter().map(needed).min_by(f64::total_cmp).ok_or(Refusal::OutOfReach)?;
        let shift = shift_of(least).ok_or(Refusal::OutOfReach)?;
        let hidden = if self.baseline.is_coarse() { self.baseline.step } else { 0.0 };
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
        let room = WILD - shift;
        shift - (normal.pdf(room) - room * normal.sf(room))
    };
    let (mut low, mut high) = (0.0, WILD + 3.0);
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
