//! Whether a change helped: what its prints say against what was expected without it. Owns the rule that ends a trial
//! and the figures of its verdict; what was expected is the risk model's, from what was known before the trial.
//!
//! The trial is looked at after every print, and ends for good at the first look that settles it. A look before the
//! planned end asks for more than the one at it, so that all looks together call a change that does nothing helpful in
//! at most one trial of twenty, and what halves the risk harmful in hardly any: counted in `verdict/tests.rs`.

use super::belief::{Belief, Level, RiskRatio, Tally, chance, hazard, spread};
use super::trial::{Arm, Design, PRINTS_MAX, Plan};
use crate::estimate::{Estimate, Refusal};

/// It helped where the probability that it lowers the risk is at least this, at the planned end,
pub(super) const PLANNED: f64 = 0.97;
/// and this at any look before or after it.
const EARLY: f64 = 0.997;
/// It harmed where the probability that it raises the risk is at least this, at any look. Less than is asked of help:
/// what is given up by mistake is lost once, what harms goes on.
const HARM: f64 = 0.985;
/// What lies beyond each end of an interval.
const TAIL: f64 = 0.05;
/// A print alone is no trial: nothing is settled by fewer with the change.
const CHANGED_LEAST: usize = 4;

/// A print of a trial.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tried {
    /// What it was drawn to have; `None` where nothing is drawn.
    pub arm: Option<Arm>,
    /// Whether it had the change; `None` is not known.
    pub applied: Option<bool>,
    /// Whether it failed in a way that the change is for; `None` is not known.
    pub happened: Option<bool>,
    /// The chance that it fails so without the change, with its 90 % interval, by what was known before the trial.
    pub expected: Estimate,
}

/// What a trial says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// Whether it helped.
    pub outcome: Outcome,
    /// What ended it; `None` while it goes on.
    pub stop: Option<WhyStop>,
    /// Failures with the change.
    pub seen: usize,
    /// Failures expected in the same prints without it, their mean with a 90 % interval for it. Before and after it is what
    /// the prints' own `expected` come to; in an alternation it goes by the prints as before and the model's differences.
    pub expected: Estimate,
    /// The risk with the change over that without it: posterior median and 90 % interval.
    pub ratio: Estimate,
    /// The probability that it lowers the risk.
    pub sure: f64,
    /// Prints with the change whose outcome is known,
    pub n_changed: usize,
    /// and those as before.
    pub n_as_before: usize,
    /// Failures among those.
    pub seen_as_before: usize,
    /// Prints that had not what they were to have.
    pub not_applied: usize,
    /// Of an alternation in which there were such: the ratio by what each print really had. The verdict goes by the
    /// draw: who departs from it may do so for a reason that makes the print fail.
    pub ratio_as_applied: Option<Estimate>,
}

/// Whether a change helped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It lowers the risk.
    Helped,
    /// It does not, or not enough to show.
    DidNotHelp {
        /// It raises the risk.
        harmed: bool,
    },
    /// Too early to say.
    NotYet {
        /// Prints with a known outcome that are still needed.
        more: usize,
    },
}

/// What ended a trial.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhyStop {
    /// It did harm.
    Harm,
    /// It was settled before its planned end.
    Settled,
    /// It came to its end.
    Planned,
}

/// What the prints of a trial say, in the order in which they were made.
///
/// Without a draw, a print known not to have had the change says nothing of it and is only counted.
///
/// # Errors
/// While there is no print with the change and a known outcome.
pub fn verdict(plan: &Plan, prints: &[Tried]) -> Result<Verdict, Refusal> {
    let mut groups = Groups::new(plan.design);
    let (mut ended, mut made) = (None, 0);
    for print in prints {
        made += 1;
        if !groups.add(print, print.has_change(plan.design)) {
            continue;
        }
        ended = groups.look(plan);
        if ended.is_some() {
            break;
        }
    }
    if groups.changed.n == 0 {
        return Err(Refusal::TooFew { have: 0, need: 1 });
    }
    let prints = &prints[..made];
    let (outcome, stop) = match ended {
        Some((outcome, stop)) => (outcome, Some(stop)),
        None => (Outcome::NotYet { more: groups.more(plan) }, None),
    };
    Ok(groups.verdict(plan, prints, outcome, stop))
}

impl Tried {
    /// Whether it counts as one with the change; `None` where it counts for neither.
    fn has_change(&self, design: Design) -> Option<bool> {
        match (design, self.arm) {
            (Design::Alternation, arm) => arm.map(|arm| arm == Arm::Changed),
            (Design::BeforeAfter, _) => (self.applied != Some(false)).then_some(true),
        }
    }

    /// The same by what it really had, where that is known.
    fn had_change(&self) -> Option<bool> {
        self.applied.or(self.arm.map(|arm| arm == Arm::Changed))
    }

    fn departs(&self) -> bool {
        let meant = self.arm != Some(Arm::AsBefore);
        self.applied.is_some_and(|applied| applied != meant)
    }
}

/// Prints with a known outcome that were to have the same.
struct Group {
    n: usize,
    failed: usize,
    hazards: Vec<f64>,
    tally: Tally,
}

impl Group {
    fn new() -> Self {
        Self { n: 0, failed: 0, hazards: Vec::new(), tally: Tally::new() }
    }

    fn add(&mut self, hazard: f64, happened: bool) {
        self.n += 1;
        self.failed += usize::from(happened);
        self.hazards.push(hazard);
        self.tally.add(hazard, usize::from(happened), usize::from(!happened));
    }

    /// Failures expected with all hazards so many times as high.
    fn expected(&self, times: f64) -> f64 {
        self.hazards.iter().map(|hazard| chance(hazard * times)).sum()
    }
}

/// Both groups, and what was open in what was expected of them.
struct Groups {
    design: Design,
    /// Of the logarithm of the level, print by print, lowest first.
    spreads: Vec<f64>,
    changed: Group,
    as_before: Group,
}

impl Groups {
    fn new(design: Design) -> Self {
        Self { design, spreads: Vec::new(), changed: Group::new(), as_before: Group::new() }
    }

    /// Whether the print tells anything.
    fn add(&mut self, print: &Tried, has_change: Option<bool>) -> bool {
        let (Some(happened), Some(has_change)) = (print.happened, has_change) else {
            return false;
        };
        let group = if has_change { &mut self.changed } else { &mut self.as_before };
        group.add(hazard(print.expected.value), happened);
        let spread = spread(&print.expected);
        self.spreads.insert(self.spreads.partition_point(|other| *other < spread), spread);
        true
    }

    fn n(&self) -> usize {
        self.changed.n + self.as_before.n
    }

    /// What is believed of the level that both share. All that is open in what was expected counts as common to all
    /// prints, by its median: where some of it is each print's own, the interval is wider than it must be.
    fn level(&self) -> Belief {
        let before = match (self.design, self.spreads.get(self.spreads.len() / 2)) {
            (Design::BeforeAfter, Some(spread)) => Level::with_mean(*spread, &self.changed.tally),
            (Design::BeforeAfter, None) | (Design::Alternation, _) => Level::OPEN,
        };
        Belief::of_level(before, &self.as_before.tally)
    }

    fn ratio(&self) -> Belief {
        Belief::of_ratio(&self.level(), &self.changed.tally)
    }

    /// What ends the trial at this look.
    fn look(&self, plan: &Plan) -> Option<(Outcome, WhyStop)> {
        if self.changed.n < CHANGED_LEAST {
            return None;
        }
        let n = self.n();
        let sure = self.ratio().under_one();
        if 1.0 - sure >= HARM {
            return Some((Outcome::DidNotHelp { harmed: true }, WhyStop::Harm));
        }
        if sure >= if n == plan.prints { PLANNED } else { EARLY } {
            let stop = if n < plan.prints { WhyStop::Settled } else { WhyStop::Planned };
            return Some((Outcome::Helped, stop));
        }
        let is_excluded = || self.risk_ratio().under(plan.ratio) < TAIL;
        let is_over = n >= longest(plan) || n >= plan.prints && is_excluded();
        is_over.then_some((Outcome::DidNotHelp { harmed: false }, WhyStop::Planned))
    }

    /// Prints still needed: to the planned end or, after it, to the longest that it is made.
    fn more(&self, plan: &Plan) -> usize {
        let n = self.n();
        let end = if n < plan.prints { plan.prints } else { longest(plan) };
        end.saturating_sub(n)
    }

    fn risk_ratio(&self) -> RiskRatio {
        RiskRatio::of(&self.level(), &self.changed.tally)
    }

    fn estimate(&self) -> Estimate {
        let ratio = self.risk_ratio();
        let at = |share| ratio.quantile(share);
        Estimate { value: at(0.5), low: at(TAIL), high: at(1.0 - TAIL), n: self.n() }
    }

    fn verdict(&self, plan: &Plan, prints: &[Tried], outcome: Outcome, stop: Option<WhyStop>) -> Verdict {
        let level = self.level();
        let expected = |share| self.changed.expected(level.quantile(share));
        let is_drawn = plan.design == Design::Alternation;
        let not_applied = prints.iter().filter(|print| print.departs()).count();
        let (changed, as_before) = (&self.changed, &self.as_before);
        let value = level.mean(&changed.tally);
        Verdict {
            outcome,
            stop,
            seen: changed.failed,
            expected: Estimate { value, low: expected(TAIL), high: expected(1.0 - TAIL), n: changed.n },
            ratio: self.estimate(),
            sure: self.ratio().under_one(),
            n_changed: changed.n,
            n_as_before: as_before.n,
            seen_as_before: as_before.failed,
            not_applied,
            ratio_as_applied: (is_drawn && not_applied > 0).then(|| as_applied(prints)).flatten(),
        }
    }
}

fn as_applied(prints: &[Tried]) -> Option<Estimate> {
    let mut groups = Groups::new(Design::Alternation);
    for print in prints {
        groups.add(print, print.had_change());
    }
    (groups.changed.n > 0).then(|| groups.estimate())
}

/// An undecided trial is made half as long again, no longer than anybody makes.
fn longest(plan: &Plan) -> usize {
    (plan.prints + plan.prints / 2).min(PRINTS_MAX).max(plan.prints)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;
