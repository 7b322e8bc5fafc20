//! How a change is tried: which print is to have it, and how many prints it takes. Owns the design, the number and the
//! draw; what the prints then say is the verdict's. Draws nothing from a clock: the seed is the caller's, who writes
//! what is drawn down before the first print.

use super::belief::{Belief, Level, Tally, chance, hazard};
use super::change::Change;
use super::suggestion::Basis;
use super::verdict::PLANNED;
use crate::estimate::{Estimate, Refusal, count, deviations};
use statrs::distribution::{Binomial, Discrete, DiscreteCDF};

/// Chance that a trial of the planned length says of a change that does what is expected that it helped.
const POWER: f64 = 0.8;
/// A longer trial nobody makes.
pub const PRINTS_MAX: usize = 200;
/// Prints of a block, half of them changed: after each block both groups are alike in size, whatever drifts meanwhile.
const BLOCK: usize = 4;
/// The orders of a block: true is changed.
const ORDERS: [[bool; BLOCK]; 6] = [
    [true, true, false, false],
    [true, false, true, false],
    [true, false, false, true],
    [false, true, true, false],
    [false, true, false, true],
    [false, false, true, true],
];
/// Points at which the level's spread is averaged over, in as many equal shares.
const LEVELS: usize = 15;
/// No smaller ratio is looked for: a change that leaves one failure in fifty prevents them.
const RATIO_LEAST: f64 = 0.02;
/// Halvings of the stretch in which the smallest effect is looked for.
const HALVINGS: usize = 12;

/// Which prints have the change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Design {
    /// A drawn half of them, the others as before: what else changes meanwhile changes for both.
    Alternation,
    /// All from now on, against what the record expects without it.
    BeforeAfter,
}

/// What a print of an alternation is drawn to have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arm {
    /// The change.
    Changed,
    /// What was in force before.
    AsBefore,
}

impl Design {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Alternation => "alternation",
            Self::BeforeAfter => "before_after",
        }
    }
}

impl Arm {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::AsBefore => "as_before",
        }
    }
}

/// A trial, as it is meant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Which prints have the change.
    pub design: Design,
    /// Prints with a known outcome after which it is judged; of an alternation, both halves together.
    pub prints: usize,
    /// The risk with the change over that without it, as expected beforehand.
    pub ratio: f64,
    /// Chance that so many prints show it, if it is so.
    pub power: f64,
    /// The weakest effect that so many prints show with a chance of `POWER`, as a ratio of risks; `None` where not even
    /// a change that prevents every failure would show.
    pub detects: Option<f64>,
}

/// How many prints a change takes to be judged, and in which design.
///
/// A change is alternated where the record only leans its way or only practice speaks for it, and can be taken back
/// from print to print. Else it is judged before and after, if that shows it within `PRINTS_MAX` prints or nothing else
/// is possible: what is left open by the record's interval no number of prints makes up for.
///
/// Where `PRINTS_MAX` prints are not enough the trial has that many, and its `power` and `detects` say what that is
/// worth.
///
/// # Errors
/// Where it has never failed so far, or the change is not expected to lower the risk.
pub fn plan(change: &Change, basis: Basis, now: &Estimate, after: &Estimate) -> Result<Plan, Refusal> {
    if now.value <= 0.0 {
        return Err(Refusal::NoEvents);
    }
    if after.value >= now.value || now.value >= 1.0 {
        return Err(Refusal::OutOfReach);
    }
    let ratio = (after.value / now.value).max(RATIO_LEAST);
    let made = |design| sized(design, now, ratio);
    let reaches = |plan: &Plan| plan.power >= POWER;
    Ok(match (can_alternate(change), basis) {
        (false, _) => made(Design::BeforeAfter),
        (true, Basis::CommonPractice | Basis::Mixed) => made(Design::Alternation),
        (true, Basis::Learned) => {
            let followed = made(Design::BeforeAfter);
            let alternated = made(Design::Alternation);
            if reaches(&followed) || !reaches(&alternated) { followed } else { alternated }
        }
    })
}

/// Whether it can be taken back for the next print.
#[must_use]
pub const fn can_alternate(change: &Change) -> bool {
    match change {
        Change::Standby(_)
        | Change::Retract(_)
        | Change::RetractSpeed(_)
        | Change::Prime(_)
        | Change::OozeShield(_)
        | Change::PrintTemperature(_)
        | Change::Material(_) => true,
        // A dried spool stays dry, a clean nozzle clean, and a part in.
        Change::Dried(_) | Change::Replace(_) | Change::Clean | Change::AllMetal => false,
    }
}

/// What the next `n` prints are to have: blocks of four, two of them changed, each block's order drawn from the seed.
/// The same seed draws the same, and more prints of it begin with the fewer.
#[must_use]
pub fn draw(n: usize, seed: u64) -> Vec<Arm> {
    let mut bits = Bits(seed);
    let blocks = std::iter::repeat_with(|| ORDERS[bits.one_of_six()]);
    let arm = |is_changed| if is_changed { Arm::Changed } else { Arm::AsBefore };
    blocks.flatten().map(arm).take(n).collect()
}

/// `SplitMix64` of Steele, Lea and Flood, OOPSLA 2014: what a seed gives is the same on every machine and in every release.
struct Bits(u64);

impl Bits {
    const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// Three bits of eight, until they are one of six.
    fn one_of_six(&mut self) -> usize {
        loop {
            match self.next() >> 61 {
                0 => return 0,
                1 => return 1,
                2 => return 2,
                3 => return 3,
                4 => return 4,
                5 => return 5,
                _ => {}
            }
        }
    }
}

/// The smallest trial of a design that shows the effect, or the longest that anybody makes.
fn sized(design: Design, now: &Estimate, ratio: f64) -> Plan {
    let prints = enough(design, now, ratio, PRINTS_MAX).unwrap_or(PRINTS_MAX);
    let rule = Rule::of(design, now, prints);
    Plan { design, prints, ratio, power: rule.power(ratio), detects: rule.detects() }
}

/// The fewest prints, in whole blocks, that show the effect; `None` if `most` do not.
fn enough(design: Design, now: &Estimate, ratio: f64, most: usize) -> Option<usize> {
    let shows = |blocks: usize| Rule::of(design, now, blocks * BLOCK).power(ratio) >= POWER;
    let (mut low, mut high) = (0, most / BLOCK);
    if !shows(high) {
        return None;
    }
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        if shows(middle) { high = middle } else { low = middle }
    }
    Some(high * BLOCK)
}

/// What a trial of one length, all of its prints alike, is judged by: for each number of failures without the change,
/// how many with it are few enough.
struct Rule {
    now: f64,
    level: Level,
    n_as_before: usize,
    n_changed: usize,
    /// `None`: not even none would be.
    few_enough: Vec<Option<usize>>,
}

impl Rule {
    fn of(design: Design, now: &Estimate, prints: usize) -> Self {
        let level = Level::of(now);
        let (n_as_before, judged) = match design {
            Design::Alternation => (prints / 2, Level::OPEN),
            Design::BeforeAfter => (0, level),
        };
        let n_changed = prints - n_as_before;
        let hazard = hazard(now.value);
        let mut few_enough = Vec::with_capacity(n_as_before + 1);
        let mut at_least = None;
        for failed in 0..=n_as_before {
            let mut as_before = Tally::new();
            as_before.add(hazard, failed, n_as_before - failed);
            let level = Belief::of_level(judged, &as_before);
            let is_few = |failed: usize| {
                let mut changed = Tally::new();
                changed.add(hazard, failed, n_changed - failed);
                Belief::of_ratio(&level, &changed).under_one() >= PLANNED
            };
            // More failures without the change never ask for fewer with it.
            let from = at_least.map_or(0, |few: usize| few + 1);
            at_least = (from..=n_changed).take_while(|few| is_few(*few)).last().or(at_least);
            few_enough.push(at_least);
        }
        Self { now: now.value, level, n_as_before, n_changed, few_enough }
    }

    /// The chance that the failures with the change are few enough, if it has this effect.
    fn power(&self, ratio: f64) -> f64 {
        let ratio = hazard(self.now * ratio) / hazard(self.now);
        let at_level = |place: usize| {
            let ln = self.level.middle + self.level.spread * deviations((count(place) + 0.5) / count(LEVELS));
            let without = hazard(self.now) * ln.exp();
            self.power_at(chance(without), chance(without * ratio))
        };
        (0..LEVELS).map(at_level).sum::<f64>() / count(LEVELS)
    }

    fn power_at(&self, without: f64, with: f64) -> f64 {
        let law = |n: usize, chance: f64| u64::try_from(n).ok().and_then(|n| Binomial::new(chance, n).ok());
        let (Some(before), Some(changed)) = (law(self.n_as_before, without), law(self.n_changed, with)) else {
            return 0.0;
        };
        let shown = |(failed, few): (u64, &Option<usize>)| {
            let few = few.and_then(|few| u64::try_from(few).ok());
            few.map_or(0.0, |few| before.pmf(failed) * changed.cdf(few))
        };
        (0..).zip(&self.few_enough).map(shown).sum()
    }

    fn detects(&self) -> Option<f64> {
        if self.power(RATIO_LEAST) < POWER {
            return None;
        }
        let (mut low, mut high) = (RATIO_LEAST, 1.0);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if self.power(middle) >= POWER { low = middle } else { high = middle }
        }
        Some(low)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;
