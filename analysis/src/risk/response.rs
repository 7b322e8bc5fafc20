//! How often it happens at each level of one quantity, never falling (or never rising) with it: isotonic regression.
//! Owns the pooling and the steps that come of it; which quantity and which way are the caller's, and follow from
//! physics, never from the same runs.

use super::patterns::enough;
use crate::estimate::{Confidence, Estimate, Refusal, count, rate};

/// Which way a risk can go only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// More of the quantity is no less risk.
    Rising,
    /// More of the quantity is no more risk.
    Falling,
}

/// Runs next to each other in the quantity, among which the share of events does not move the way it can.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Lowest value among its runs, in the quantity's unit. Between a step's end and the next one's beginning there was
    /// no run.
    pub from: f64,
    /// Highest value among its runs.
    pub to: f64,
    /// Runs of the step in which it happened.
    pub events: usize,
    /// Runs of the step.
    pub n: usize,
    /// Their share, with the exact 90 % interval of the step as found: its ends were chosen on the same runs, so the
    /// interval is somewhat too narrow.
    pub rate: Estimate,
}

/// A risk that goes one way only with a quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Response {
    /// The way that was asked for.
    pub direction: Direction,
    /// From the quantity's lowest values up. One step alone means that the runs show nothing that goes this way.
    pub steps: Vec<Step>,
    /// Runs with a known outcome of which the quantity is not known; they are in no step.
    pub unplaced: usize,
}

/// The monotone response of `happened` to `values`, paired by position, both of them known or not (not finite is not
/// known). Runs of equal value are taken together first, so their order does not matter.
///
/// # Errors
/// With fewer than 20 runs of which both are known, or fewer than 4 events among them.
pub fn response(values: &[Option<f64>], happened: &[Option<bool>], direction: Direction) -> Result<Response, Refusal> {
    let known = values.iter().zip(happened).filter_map(|(value, yes)| Some((*value, (*yes)?)));
    let (mut runs, mut unplaced) = (Vec::new(), 0);
    for (value, yes) in known {
        match value.filter(|value| value.is_finite()) {
            Some(value) => runs.push((value, yes)),
            None => unplaced += 1,
        }
    }
    let events = runs.iter().filter(|(_, yes)| *yes).count();
    enough(runs.len(), events)?;
    runs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let levels: Vec<(f64, usize, usize)> = runs
        .chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq())
        .map(|level| (level[0].0, level.iter().filter(|(_, yes)| *yes).count(), level.len()))
        .collect();
    let shares: Vec<f64> = levels.iter().map(|(_, events, n)| count(*events) / count(*n)).collect();
    let weights: Vec<f64> = levels.iter().map(|(_, _, n)| count(*n)).collect();
    let mut from = 0;
    let mut steps = Vec::new();
    for pool in pool(&shares, &weights, direction) {
        let inside = &levels[from..from + pool.levels];
        from += pool.levels;
        let (events, n) = inside.iter().fold((0, 0), |(events, n), level| (events + level.1, n + level.2));
        let (first, last) = (inside[0].0, inside[inside.len() - 1].0);
        steps.push(Step { from: first, to: last, events, n, rate: rate(events, n, Confidence::Percent90)? });
    }
    Ok(Response { direction, steps, unplaced })
}

/// Neighbours that share one fitted value.
#[derive(Debug)]
struct Pool {
    levels: usize,
    mean: f64,
    weight: f64,
}

/// Pool adjacent violators: the weighted least-squares fit to `values` among those that go one way, as runs of
/// neighbours with one mean each, no two next to each other equal. Barlow, Bartholomew, Bremner and Brunk, Statistical
/// Inference under Order Restrictions (1972), section 1.2.
///
/// linfa-linear 0.8 has this too, but pools too far when one violation reaches back over several values (of 0, 5, 6, 1
/// it makes 3, 3, 3, 3 instead of 0, 4, 4, 4), and chooses the direction itself.
fn pool(values: &[f64], weights: &[f64], direction: Direction) -> Vec<Pool> {
    let violates = |before: f64, after: f64| match direction {
        Direction::Rising => before >= after,
        Direction::Falling => before <= after,
    };
    let mut pools: Vec<Pool> = Vec::new();
    for (mean, weight) in values.iter().zip(weights) {
        let mut last = Pool { levels: 1, mean: *mean, weight: *weight };
        while let Some(before) = pools.pop_if(|before| violates(before.mean, last.mean)) {
            let weight = before.weight + last.weight;
            let mean = (before.mean * before.weight + last.mean * last.weight) / weight;
            last = Pool { levels: before.levels + last.levels, mean, weight };
        }
        pools.push(last);
    }
    pools
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn fit(values: &[f64], weights: &[f64], direction: Direction) -> Vec<f64> {
        pool(values, weights, direction).iter().flat_map(|pool| vec![pool.mean; pool.levels]).collect()
    }

    fn agree(found: &[f64], right: &[f64]) {
        assert_eq!(found.len(), right.len());
        assert!(found.iter().zip(right).all(|(found, right)| (found - right).abs() < 1e-12), "{found:?} {right:?}");
    }

    /// scikit-learn 1.9.1; the first one stands in its documentation.
    #[test]
    fn fit_agrees_with_another_library() {
        const THIRD: f64 = 1.0 / 3.0;
        let rising = |values: &[f64], weights: &[f64], right: &[f64]| {
            agree(&fit(values, weights, Direction::Rising), right);
        };
        let [low, high] = [2.75, 22.0 / 3.0];
        rising(
            &[5.0, 3.0, 1.0, 2.0, 8.0, 10.0, 7.0, 9.0, 6.0, 4.0],
            &[1.0; 10],
            &[low, low, low, low, high, high, high, high, high, high],
        );
        let pair = 8.0 * THIRD;
        rising(&[1.0, 3.0, 2.0, 4.0, 3.5, 5.0], &[1.0, 2.0, 1.0, 1.0, 3.0, 1.0], &[1.0, pair, pair, 3.625, 3.625, 5.0]);
        rising(
            &[0.0, 0.0, 1.0, 0.0, 0.0, 1.0, 0.0, 1.0, 1.0, 1.0],
            &[1.0; 10],
            &[0.0, 0.0, THIRD, THIRD, THIRD, 0.5, 0.5, 1.0, 1.0, 1.0],
        );
        rising(
            &[0.02, 0.10, 0.05, 0.20, 0.15, 0.40],
            &[50.0, 10.0, 40.0, 20.0, 20.0, 5.0],
            &[0.02, 0.06, 0.06, 0.175, 0.175, 0.40],
        );
        agree(&fit(&[0.1, 0.3, 0.2, 0.5], &[1.0; 4], Direction::Falling), &[0.275; 4]);
        rising(&[0.0, 5.0, 6.0, 1.0], &[1.0; 4], &[0.0, 4.0, 4.0, 4.0]);
    }

    /// The fit at a place is the highest, over all beginnings before it, of the lowest mean from there to any end after
    /// it: Barlow and others, theorem 1.4. Slow, and reckoned otherwise.
    fn highest_of_lowest(values: &[f64], weights: &[f64]) -> Vec<f64> {
        let mean = |from: usize, to: usize| {
            let sum: f64 = (from..=to).map(|at| values[at] * weights[at]).sum();
            sum / weights[from..=to].iter().sum::<f64>()
        };
        let lowest = |from: usize, at: usize| (at..values.len()).map(|to| mean(from, to)).fold(f64::INFINITY, f64::min);
        (0..values.len()).map(|at| (0..=at).map(|from| lowest(from, at)).fold(f64::NEG_INFINITY, f64::max)).collect()
    }

    #[test]
    fn any_fit_goes_one_way_keeps_the_mean_and_is_the_least_squares_one() {
        for seed in 0..300 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let n = rng.random_range(1..30);
            let values: Vec<f64> = (0..n).map(|_| f64::from(rng.random_range(0..12_u8)) / 4.0).collect();
            let weights: Vec<f64> = (0..n).map(|_| f64::from(rng.random_range(1..9_u8))).collect();
            let found = fit(&values, &weights, Direction::Rising);
            assert!(found.windows(2).all(|pair| pair[0] <= pair[1]), "seed {seed}: {found:?}");
            let sum = |of: &[f64]| of.iter().zip(&weights).map(|(value, weight)| value * weight).sum::<f64>();
            assert!((sum(&found) - sum(&values)).abs() < 1e-9, "seed {seed}");
            agree(&found, &highest_of_lowest(&values, &weights));
            let down: Vec<f64> = values.iter().map(|value| -value).collect();
            let mirrored: Vec<f64> = fit(&down, &weights, Direction::Falling).iter().map(|value| -value).collect();
            agree(&mirrored, &found);
        }
    }

    #[test]
    fn steps_hold_each_run_once_in_any_order_and_those_without_a_value_apart() {
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        let doses: Vec<Option<f64>> =
            (0..200).map(|run| (run % 10 > 0).then(|| f64::from(rng.random_range(0..40_u8)))).collect();
        let risk = |dose: Option<f64>| if dose.is_some_and(|dose| dose >= 20.0) { 0.5 } else { 0.05 };
        let happened: Vec<Option<bool>> =
            doses.iter().map(|dose| (!rng.random_bool(0.1)).then(|| rng.random_bool(risk(*dose)))).collect();
        let found = response(&doses, &happened, Direction::Rising).unwrap();
        let told = |has: bool| (0..200).filter(|run| happened[*run].is_some() && doses[*run].is_some() == has).count();
        assert_eq!((found.steps.iter().map(|step| step.n).sum::<usize>(), found.unplaced), (told(true), told(false)));
        assert!(
            found.steps.windows(2).all(|pair| pair[0].to < pair[1].from && pair[0].rate.value < pair[1].rate.value)
        );
        for step in &found.steps {
            let inside = (0..200).filter(|run| doses[*run].is_some_and(|dose| (step.from..=step.to).contains(&dose)));
            let outcomes: Vec<bool> = inside.filter_map(|run| happened[run]).collect();
            assert_eq!((outcomes.len(), outcomes.iter().filter(|yes| **yes).count()), (step.n, step.events));
        }
        let turned: (Vec<Option<f64>>, Vec<Option<bool>>) = doses.iter().zip(&happened).rev().unzip();
        assert_eq!(response(&turned.0, &turned.1, Direction::Rising).unwrap(), found);
    }

    /// What rises shows nothing when it is asked how it falls.
    #[test]
    fn the_wrong_way_is_one_step() {
        let doses: Vec<Option<f64>> = (0..40).map(|run| Some(f64::from(run))).collect();
        let happened: Vec<Option<bool>> = (0..40).map(|run| Some(run >= 30)).collect();
        let of = |direction| response(&doses, &happened, direction).unwrap().steps;
        let ends: Vec<(f64, f64, usize, usize)> =
            of(Direction::Rising).iter().map(|step| (step.from, step.to, step.events, step.n)).collect();
        assert_eq!(ends, [(0.0, 29.0, 0, 30), (30.0, 39.0, 10, 10)]);
        assert_eq!(of(Direction::Falling).len(), 1);
        assert_eq!(response(&doses, &[], Direction::Rising), Err(Refusal::TooFew { have: 0, need: 20 }));
    }
}
