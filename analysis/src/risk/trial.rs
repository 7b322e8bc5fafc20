//! What would tell two factors apart that always went together: one of them set as it was without the other, for so
//! many runs. Owns which of the two is set, to what, and how many runs that takes; says nothing that the record does
//! not hold.

use super::learn::Inseparable;
use super::levels::{is_flag, named, values};
use super::measure::Measure;
use super::patterns::Bound;
use super::run::ToolRun;
use crate::estimate::count;
use statrs::distribution::{Binomial, DiscreteCDF};

/// What a person can set for a print, what is easiest first. No temperature: what one material was printed at may be
/// out of another one's range.
const SETTINGS: [&str; 6] = ["retract", "retract_departure", "retract_mm_s", "prime", "ooze_shield", "dried"];
/// Chance that the trial says that it is the setting although it is not.
const WRONG: f64 = 0.05;
/// Chance that it says so if it is the setting.
const POWER: f64 = 0.8;
/// A trial of more runs nobody makes.
const RUNS_MAX: u64 = 200;

/// A trial.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// The factor to set otherwise.
    pub set: &'static str,
    /// To this, in its unit: its median where `held` was otherwise.
    pub to: f64,
    /// Instead of this: its median where `held` was so.
    pub instead: f64,
    /// The factor that is to stay as it was where it failed more often,
    pub held: &'static str,
    /// and how that was.
    pub bound: Bound,
    /// So many runs tell in four cases of five that it was `set`, if it was, and in one of twenty by mistake, if it was
    /// not, as long as the one that matters goes on failing as it did; `None` if the record's own shares are too close for that.
    pub runs: Option<usize>,
}

/// The trial that would tell a pair apart; `None` where neither of the two can be set, or where the record does not hold
/// what to set it to.
#[must_use]
pub fn trial(pair: &Inseparable, runs: &[ToolRun], happened: &[Option<bool>]) -> Option<Trial> {
    let place = |factor: &str| SETTINGS.iter().position(|setting| *setting == factor);
    let [one, other] = pair.factors;
    let (set, held) = match (place(one), place(other)) {
        (Some(first), Some(second)) if second < first => (other, one),
        (Some(_), _) => (one, other),
        (None, Some(_)) => (other, one),
        (None, None) => return None,
    };
    of(named(set)?, named(held)?, runs, happened)
}

fn of(set: &Measure, held: &Measure, runs: &[ToolRun], happened: &[Option<bool>]) -> Option<Trial> {
    let known: Vec<(f64, f64, bool)> = values(set, runs)
        .into_iter()
        .zip(values(held, runs))
        .zip(happened)
        .filter_map(|((set, held), yes)| Some((set?, held?, (*yes)?)))
        .collect();
    let mean = known.iter().map(|(_, held, _)| held).sum::<f64>() / count(known.len());
    let (high, low): (Vec<_>, Vec<_>) = known.iter().partition(|(_, held, _)| *held >= mean);
    let failed = |side: &[(f64, f64, bool)]| (side.iter().filter(|(_, _, yes)| *yes).count(), side.len());
    let is_high = share(failed(&low)) <= share(failed(&high));
    let (with, without) = if is_high { (high, low) } else { (low, high) };
    let (instead, to) = (median(&with)?, median(&without)?);
    if (instead - to).abs() < 1e-9 * (1.0 + to.abs()) {
        return None;
    }
    let bound = match (is_flag(held), is_high) {
        (true, true) => Bound::Yes,
        (true, false) => Bound::No,
        (false, true) => Bound::AtLeast(mean),
        (false, false) => Bound::Under(mean),
    };
    let runs = runs_needed(failed(&with), failed(&without));
    Some(Trial { set: set.name, to, instead, held: held.name, bound, runs })
}

/// The middle value of the setting; the upper of two.
fn median(side: &[(f64, f64, bool)]) -> Option<f64> {
    let mut values: Vec<f64> = side.iter().map(|(set, _, _)| *set).collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Laplace's estimate of a share.
fn share((events, n): (usize, usize)) -> f64 {
    (count(events) + 1.0) / (count(n) + 2.0)
}

/// The least number of runs in which so few of them fail as only one in twenty would see if they failed as those `with`
/// did, and four in five would see if they failed as those `without` did. Exact binomials.
fn runs_needed(with: (usize, usize), without: (usize, usize)) -> Option<usize> {
    let (high, low) = (share(with), share(without));
    let is_enough = |n: &u64| {
        let Ok((failing, spared)) = Binomial::new(high, *n).and_then(|at| Ok((at, Binomial::new(low, *n)?))) else {
            return false;
        };
        let few = (0..=*n).take_while(|few| failing.cdf(*few) <= WRONG).last();
        few.is_some_and(|few| spared.cdf(few) >= POWER)
    };
    (low < high).then(|| (1..=RUNS_MAX).find(is_enough)).flatten().and_then(|n| usize::try_from(n).ok())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::polymer::Material;
    use crate::risk::{Features, Group};
    use crate::units::Millimetres;

    /// PETG with 6 mm, in one run of three; PLA with 0.8 mm. Every second run of PETG fails.
    fn record() -> (Vec<ToolRun>, Vec<Option<bool>>) {
        let run = |print: usize| {
            let is_petg = print.is_multiple_of(3);
            let (material, length) = if is_petg { (Material::Petg, 6.0) } else { (Material::Pla, 0.8) };
            let features = Features { retract: Some(Millimetres::new(length)), ..Features::of(material) };
            ToolRun { print, features }
        };
        let happened = |print: usize| Some(print.is_multiple_of(6));
        ((0..120).map(run).collect(), (0..120).map(happened).collect())
    }

    fn pair(factors: [&'static str; 2]) -> Inseparable {
        Inseparable { factors, groups: [Group::Material, Group::Retraction], correlation: 1.0 }
    }

    #[test]
    fn a_setting_is_tried_as_it_was_without_the_material_that_it_always_went_with() {
        let (runs, happened) = record();
        let found = trial(&pair(["material_petg", "retract"]), &runs, &happened).unwrap();
        assert_eq!((found.set, found.to, found.instead), ("retract", 0.8, 6.0));
        assert_eq!((found.held, found.bound), ("material_petg", Bound::Yes));
        // 21 of 42 against 1 of 82: of six runs at one half, none fails in 1.6 %; at 1 in 82, in 93 %. Of five, in 3.1 %
        // and 94 %; of four, in 6.3 %.
        assert_eq!(found.runs, Some(5));
        assert_eq!(trial(&pair(["retract", "material_petg"]), &runs, &happened), Some(found));
        // The same told of the material that did not fail.
        let of_pla = trial(&pair(["retract", "material_pla"]), &runs, &happened).unwrap();
        assert_eq!(of_pla, Trial { held: "material_pla", bound: Bound::No, ..found });
    }

    #[test]
    fn there_is_no_trial_of_what_cannot_be_set_or_never_differed() {
        let (runs, happened) = record();
        assert_eq!(trial(&pair(["material_petg", "liner_hours"]), &runs, &happened), None);
        assert_eq!(trial(&pair(["material_petg", "standby"]), &runs, &happened), None);
        let same: Vec<ToolRun> =
            runs.iter().map(|run| ToolRun { print: run.print, features: runs[0].features }).collect();
        assert_eq!(trial(&pair(["material_petg", "retract"]), &same, &happened), None);
    }

    #[test]
    fn shares_that_are_alike_need_more_runs_than_anybody_makes() {
        assert_eq!(runs_needed((5, 100), (4, 100)), None);
        assert_eq!(runs_needed((0, 40), (10, 40)), None);
    }
}
