//! Truth drawn from the prior, lives drawn from the truth: intervals hold as often as they say.
//!
//! The bench: three tools that are watched for a time, each beginning with a part of some age; parts are changed when
//! they fail or, now and then, before; what is in use at the end has not failed.

use super::super::grid::share_under;
use super::super::{End, Life, Posterior, Prior, Weibull};
use crate::estimate::{Confidence, Estimate, count};
use crate::units::Probability;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const DRAWS: usize = 1000;
const TOOLS: usize = 3;
/// Weighted hours that each tool is watched.
const WATCHED: f64 = 900.0;
const PREVENTIVE: f64 = 0.2;
const BINS: usize = 20;

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

fn truth(rng: &mut ChaCha8Rng, prior: &Prior) -> Weibull {
    let drawn = |rng: &mut ChaCha8Rng, middle: f64, spread: f64| middle * (spread * normal(rng)).exp();
    let shape = drawn(rng, prior.middle.shape(), prior.shape_spread);
    Weibull::new(shape, drawn(rng, prior.middle.scale(), prior.scale_spread)).unwrap()
}

/// Lives on one tool, and age and whole life of the part in use at the end.
fn tool(rng: &mut ChaCha8Rng, law: &Weibull) -> (Vec<Life>, f64, f64) {
    let (mut lives, mut at) = (Vec::new(), 0.0);
    let mut entry = rng.random_range(0.0..400.0);
    loop {
        // One that has lasted to its entry.
        let whole = law.age_at(1.0 - law.survival(entry) * (1.0 - rng.random::<f64>()));
        let changed = if rng.random_bool(PREVENTIVE) { entry + rng.random_range(0.0..600.0) } else { f64::INFINITY };
        let ends = whole.min(changed);
        if at + ends - entry >= WATCHED {
            let age = entry + WATCHED - at;
            lives.extend(Life::new(entry, age, End::Censored));
            return (lives, age, whole);
        }
        lives.extend(Life::new(entry, ends, if whole <= changed { End::Failed } else { End::Censored }));
        at += ends - entry;
        entry = 0.0;
    }
}

/// How often each interval held, and which shares of what was expected lay under the truth.
#[derive(Default)]
struct Tally {
    scale: usize,
    shape: usize,
    remaining: usize,
    failed_early: usize,
    scales_under: [u32; BINS],
    chances_before: [u32; BINS],
}

fn simulate(prior: Prior, seed: u64) -> Tally {
    let (mut rng, mut tally) = (ChaCha8Rng::seed_from_u64(seed), Tally::default());
    for _ in 0..DRAWS {
        let law = truth(&mut rng, &prior);
        let tools: Vec<_> = (0..TOOLS).map(|_| tool(&mut rng, &law)).collect();
        let lives: Vec<Life> = tools.iter().flat_map(|(lives, _, _)| lives.clone()).collect();
        let (_, age, whole) = tools[0];
        let posterior = Posterior::of(&lives, prior);
        let outlook = posterior.outlook(age);
        let holds = |estimate: Estimate, value: f64| usize::from((estimate.low..=estimate.high).contains(&value));
        tally.scale += holds(posterior.scale(Confidence::Percent90), law.scale());
        tally.shape += holds(posterior.shape(Confidence::Percent90), law.shape());
        tally.remaining += holds(outlook.remaining(Confidence::Percent90), whole - age);
        // The next part, changed at the limit, fails before it as often as was accepted.
        let limit = posterior.outlook(0.0).age_limit(Probability::new(0.1).unwrap());
        tally.failed_early += usize::from(law.age_at(rng.random()) < limit);
        let grid = &posterior.grid;
        sort_in(&mut tally.scales_under, share_under(&grid.second, &grid.of_second(), law.scale().ln()));
        sort_in(&mut tally.chances_before, outlook.fails_within(whole - age));
    }
    tally
}

fn sort_in(bins: &mut [u32; BINS], share: f64) {
    let bin = (0..BINS).rev().find(|bin| share >= count(*bin) / count(BINS)).unwrap_or(0);
    bins[bin] += 1;
}

fn is_uniform(bins: &[u32; BINS]) -> bool {
    let expected = count(DRAWS) / count(BINS);
    let square: f64 = bins.iter().map(|n| (f64::from(*n) - expected).powi(2) / expected).sum();
    // Chi-square on 19 degrees of freedom, 0.999 quantile.
    square < 43.82
}

#[test]
fn intervals_of_law_and_remaining_life_hold_the_truth_nine_times_in_ten() {
    for (prior, seed) in [(Prior::liner(), 11), (Prior::nozzle(), 12)] {
        let found = simulate(prior, seed);
        let held = [found.scale, found.shape, found.remaining].map(|held| count(held) / count(DRAWS));
        let early = count(found.failed_early) / count(DRAWS);
        assert!(held.iter().all(|share| (0.87..=0.93).contains(share)), "{held:?}");
        // 0.1 with three standard errors either way.
        assert!((0.07..=0.13).contains(&early), "{early}");
        assert!(is_uniform(&found.scales_under), "{:?}", found.scales_under);
        assert!(is_uniform(&found.chances_before), "{:?}", found.chances_before);
    }
}
