//! The best split of some runs, and how often chance alone would find one as good. The only place that knows linfa's
//! trees; runs and values in, a threshold out.

use super::quantity::Quantity;
use super::{Bound, Condition};
use crate::estimate::count;
use linfa::DatasetBase;
use linfa::traits::Fit as _;
use linfa_trees::{DecisionTree, SplitQuality};
use ndarray::{Array1, Array2};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};
use statrs::function::factorial::ln_binomial;
use std::collections::BTreeMap;

/// Values nearer to each other than this are one value to linfa's trees, so they are here.
const SAME: f64 = 1e-5;

/// A quantity, the threshold that parts runs best, and how often chance alone would find one as good.
pub(super) struct Split<'a> {
    quantity: &'a Quantity,
    threshold: f64,
    pub(super) chance: f64,
}

/// What is searched for splits, and how.
pub(super) struct Search<'a> {
    pub(super) quantities: &'a [&'a Quantity],
    pub(super) happened: &'a [bool],
    /// Fewest known runs on either side of a threshold.
    pub(super) leaf_runs: usize,
    /// How many runs say as much as one that is independent of all others.
    pub(super) repetition: f64,
}

impl<'a> Search<'a> {
    /// The split of `runs` that is least likely to be chance. Each quantity is asked alone, over the runs of which it is
    /// known, so that nothing has to be filled in; one known of fewer than four in five of `runs` is not asked.
    pub(super) fn best(&self, runs: &[usize]) -> Option<Split<'a>> {
        let asked: Vec<Asked<'a>> = self.asked(runs).collect();
        let searches = count(asked.len());
        asked
            .into_iter()
            .filter_map(|asked| {
                let (threshold, gain) = stump(&asked.pairs, self.leaf_runs)?;
                let chance = (searches * self.chance(&asked, threshold)).min(1.0);
                let threshold = roundest(&asked.pairs, threshold);
                Some((gain, Split { quantity: asked.quantity, threshold, chance }))
            })
            .min_by(|(a_gain, a), (b_gain, b)| a.chance.total_cmp(&b.chance).then(b_gain.total_cmp(a_gain)))
            .map(|(_, split)| split)
    }

    /// How many thresholds there are to choose from, over all quantities.
    pub(super) fn thresholds(&self, runs: &[usize]) -> usize {
        self.asked(runs).map(|asked| asked.cuts).sum()
    }

    fn asked(&self, runs: &[usize]) -> impl Iterator<Item = Asked<'a>> {
        self.quantities.iter().filter_map(|quantity| Asked::of(quantity, self.happened, runs, self.leaf_runs))
    }

    /// How often the best of a quantity's thresholds parts outcomes at least as far as this one did if they are drawn at
    /// random. One threshold: twice the smaller tail of the hypergeometric distribution (Fisher's exact test). The best
    /// of several: that many times as often at most (Bonferroni), or, where less, as often as the largest of a
    /// standardised Brownian bridge is as far out, (b - 1/b) φ(b) ln((1-e)²/e²) + 4 φ(b)/b, with e the smallest share on
    /// one side and b the standard normal quantile of the exact test: Miller and Siegmund, Biometrics 38 (1982) 1011.
    /// Where runs repeat each other, b is the less for it.
    fn chance(&self, asked: &Asked<'_>, threshold: f64) -> f64 {
        let normal = Normal::standard();
        let exact = asked.exact_test(threshold);
        let far = -normal.inverse_cdf(exact / 2.0) / self.repetition.sqrt();
        let once = if self.repetition > 1.0 { 2.0 * normal.cdf(-far) } else { exact };
        let each = count(asked.cuts) * once;
        if asked.cuts == 1 || far <= 1.0 || !far.is_finite() {
            return each.min(1.0);
        }
        let edge = count(self.leaf_runs) / count(asked.pairs.len());
        let density = normal.pdf(far);
        let bridge = (far - 1.0 / far) * density * 2.0 * ((1.0 - edge) / edge).ln() + 4.0 * density / far;
        each.min(bridge).min(1.0)
    }
}

/// How many runs say as much as an independent one, if those of a print share their fate: 1 + (m - 1) r, with m the mean
/// number of runs that a run's print has and r the correlation of outcomes within prints (design effect; Kish, Survey
/// Sampling (1965), section 5.4).
pub(super) fn repetition(prints: &[usize], happened: &[bool]) -> f64 {
    let mut of_print: BTreeMap<usize, (usize, usize)> = BTreeMap::new();
    for (print, yes) in prints.iter().zip(happened) {
        let (n, events) = of_print.entry(*print).or_default();
        *n += 1;
        *events += usize::from(*yes);
    }
    let n = count(prints.len());
    let (mut within, mut squares, mut events_n) = (0.0, 0.0, 0.0);
    for (runs, events) in of_print.values().map(|(runs, events)| (count(*runs), count(*events))) {
        within += events * (runs - events) / runs;
        squares += runs * runs;
        events_n += events;
    }
    let freedom = n - count(of_print.len());
    let whole = events_n / n * (1.0 - events_n / n);
    if freedom < 1.0 || whole <= 0.0 {
        return 1.0;
    }
    let correlation = (1.0 - within / freedom / whole).clamp(0.0, 1.0);
    1.0 + (squares / n - 1.0) * correlation
}

impl Split<'_> {
    /// The runs below the threshold, those at or above it, and those of which the quantity is not known.
    pub(super) fn part(&self, runs: &[usize]) -> [Vec<usize>; 3] {
        let mut parts = [const { Vec::new() }; 3];
        for run in runs {
            let place = self.quantity.of(*run).map_or(2, |value| usize::from(value >= self.threshold));
            parts[place].push(*run);
        }
        parts
    }

    /// What is asked of the runs below the threshold, and of the others.
    pub(super) const fn bounds(&self) -> [Bound; 2] {
        if self.quantity.is_flag {
            [Bound::No, Bound::Yes]
        } else {
            [Bound::Under(self.threshold), Bound::AtLeast(self.threshold)]
        }
    }

    pub(super) const fn condition(&self, bound: Bound) -> Condition {
        Condition { factor: self.quantity.name, bound, chance: self.chance }
    }
}

/// A quantity that can be asked of some runs.
struct Asked<'a> {
    quantity: &'a Quantity,
    /// Its known values, rising, and what came of each.
    pairs: Vec<(f64, bool)>,
    /// Thresholds that leave enough runs on either side.
    cuts: usize,
}

impl<'a> Asked<'a> {
    fn of(quantity: &'a Quantity, happened: &[bool], runs: &[usize], leaf_runs: usize) -> Option<Self> {
        let mut pairs: Vec<(f64, bool)> =
            runs.iter().filter_map(|run| quantity.of(*run).map(|value| (value, happened[*run]))).collect();
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        let cuts = cuts(pairs.iter().map(|(value, _)| *value), leaf_runs);
        (5 * pairs.len() >= 4 * runs.len() && cuts > 0).then_some(Self { quantity, pairs, cuts })
    }

    fn exact_test(&self, threshold: f64) -> f64 {
        let events = self.pairs.iter().filter(|(_, yes)| *yes).count();
        let below = self.pairs.iter().filter(|(value, _)| *value < threshold);
        let (n, hits) = below.fold((0, 0), |(n, hits), (_, yes)| (n + 1, hits + usize::from(*yes)));
        exact_test(self.pairs.len(), events, n, hits)
    }
}

/// Between how many of the rising `values` a threshold leaves enough on either side.
fn cuts(values: impl ExactSizeIterator<Item = f64> + Clone, leaf_runs: usize) -> usize {
    let n = values.len();
    let steps = values.clone().zip(values.skip(1)).enumerate();
    steps.filter(|(at, (low, high))| at + 1 >= leaf_runs && n - at > leaf_runs && high - low >= SAME).count()
}

/// The threshold that parts the outcomes best by Gini's impurity, and by how much it lowers that: a tree of one
/// question. linfa prunes its trees where both sides say the same, as with rare events they always do, so that deeper
/// ones would lose what is sought here; the question of a pruned root can still be read.
fn stump(pairs: &[(f64, bool)], leaf_runs: usize) -> Option<(f64, f64)> {
    let values: Vec<f64> = pairs.iter().map(|(value, _)| *value).collect();
    let records = Array2::from_shape_vec((pairs.len(), 1), values).ok()?;
    let outcomes: Array1<bool> = pairs.iter().map(|(_, yes)| *yes).collect();
    let smallest = f32::from(u16::try_from(leaf_runs).unwrap_or(u16::MAX));
    let tree = DecisionTree::params()
        .split_quality(SplitQuality::Gini)
        .max_depth(Some(1))
        .min_weight_split(2.0 * smallest)
        .min_weight_leaf(smallest)
        .min_impurity_decrease(1e-9)
        .fit(&DatasetBase::new(records, outcomes))
        .ok()?;
    let (_, threshold, gain) = tree.root_node().split();
    (gain > 0.0).then_some((threshold, gain))
}

/// Two-sided exact test that `hits` of `drawn` runs are events where `events` of all `n` are.
fn exact_test(n: usize, events: usize, drawn: usize, hits: usize) -> f64 {
    let choose = |n: usize, k: usize| ln_binomial(whole(n), whole(k));
    let all = choose(n, drawn);
    let likely = |hits: usize| (choose(events, hits) + choose(n - events, drawn - hits) - all).exp();
    let (fewest, most) = ((events + drawn).saturating_sub(n), events.min(drawn));
    let up: f64 = (hits..=most).map(likely).sum();
    let down: f64 = (fewest..=hits).map(likely).sum();
    (2.0 * up.min(down)).min(1.0)
}

fn whole(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

/// The roundest number that parts the rising values as `threshold` does, so that people can keep it in mind: above the
/// last value below it and not above the next one.
fn roundest(pairs: &[(f64, bool)], threshold: f64) -> f64 {
    let next = pairs.partition_point(|(value, _)| *value < threshold);
    let (Some((below, _)), Some((above, _))) = (next.checked_sub(1).and_then(|at| pairs.get(at)), pairs.get(next))
    else {
        return threshold;
    };
    let tens = (-6..=6).rev().map(|power| 10_f64.powi(power));
    let halves = tens.flat_map(|ten| [ten, ten / 2.0]);
    let rounded = halves.map(|step| {
        if step < 1.0 { (threshold / step).round() / (1.0 / step).round() } else { (threshold / step).round() * step }
    });
    rounded.into_iter().find(|value| below < value && value <= above).unwrap_or(threshold)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// One-sided exact tests as R's `fisher.test` gives them, doubled: (n, events, drawn, hits).
    #[test]
    fn exact_test_agrees_with_published_tables() {
        let tables = [
            ((8, 4, 4, 3), 0.242_857_1),
            ((30, 17, 12, 2), 0.000_465_181),
            ((16, 9, 10, 8), 0.024_475_5),
            ((40, 7, 20, 1), 0.045_738_0),
            ((40, 5, 20, 0), 0.023_562_0),
        ];
        for ((n, events, drawn, hits), tail) in tables {
            let found = exact_test(n, events, drawn, hits);
            assert!((found - 2.0 * tail).abs() < 5e-7, "{hits} of {drawn}: {found} against twice {tail}");
        }
    }

    #[test]
    fn a_threshold_is_as_round_as_the_gap_allows() {
        let of = |below: f64, above: f64| roundest(&[(below, false), (above, true)], f64::midpoint(below, above));
        for (below, above, round) in
            [(8.55, 8.63, 8.6), (11.2, 12.7, 12.0), (37.0, 44.0, 40.0), (1379.0, 1382.0, 1380.0)]
        {
            let found = of(below, above);
            assert!((found - round).abs() < 1e-9, "between {below} and {above}: {found}");
        }
        let (below, above) = (0.1 + 0.2, 0.300_02);
        assert!(below < of(below, above) && of(below, above) <= above);
    }

    fn chance(outcomes: impl Iterator<Item = bool>, threshold: f64, repetition: f64) -> f64 {
        let happened: Vec<bool> = outcomes.collect();
        let values = (0..happened.len()).map(|run| Some(count(run))).collect();
        let quantity = Quantity { name: "order", is_flag: false, values };
        let search = Search { quantities: &[&quantity], happened: &happened, leaf_runs: 30, repetition };
        let all: Vec<usize> = (0..happened.len()).collect();
        search.chance(&search.asked(&all).next().unwrap(), threshold)
    }

    /// Far out, the chance stays a chance and falls with the evidence.
    #[test]
    fn stronger_evidence_is_less_likely_chance() {
        let chances = [20, 40, 100, 300]
            .map(|events| chance((0..4000).map(move |run| run < events), f64::from(events) - 0.5, 1.0));
        assert!(chances.windows(2).all(|pair| pair[0] > pair[1] || pair[1] < 1e-200), "{chances:?}");
        assert!(chances[0] < 1e-20, "{chances:?}");
    }

    /// Each run told four times is the evidence of one: about the chance of a quarter of the runs.
    #[test]
    fn runs_that_repeat_each_other_count_once() {
        let (truth, told) = (|run: usize| (run < 200 && run.is_multiple_of(4)) || run.is_multiple_of(10), 400);
        let prints: Vec<usize> = (0..4 * told).map(|run| run / 4).collect();
        let outcomes: Vec<bool> = prints.iter().map(|print| truth(*print)).collect();
        let repeated = repetition(&prints, &outcomes);
        assert!((repeated - 4.0).abs() < 1e-9, "{repeated}");
        let (four, one) = (chance(outcomes.into_iter(), 799.5, repeated), chance((0..told).map(truth), 199.5, 1.0));
        assert!((four.ln() / one.ln() - 1.0).abs() < 0.15, "{four} against {one}");
        let alone: Vec<usize> = (0..told).collect();
        let each: Vec<bool> = alone.iter().map(|run| truth(*run)).collect();
        assert!((repetition(&alone, &each) - 1.0).abs() < 1e-12);
    }
}
