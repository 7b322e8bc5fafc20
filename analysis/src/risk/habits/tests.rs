//! Habits where there are two, one, or odd shapes, and where some are not known.

use super::*;
use crate::polymer::Material;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn run(print: usize, minutes: f64, temperature: f64, changes: usize) -> ToolRun {
    let features = Features {
        wait_longest: Some(Seconds::minutes(minutes)),
        idle_mean: Some(Celsius::new(temperature)),
        tool_changes: Some(changes),
        print_length: Some(Seconds::minutes(120.0)),
        ..Features::of(Material::Pla)
    };
    ToolRun { print, features }
}

/// A standard normal draw, by Box and Muller.
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (far, turn): (f64, f64) = (1.0 - rng.random::<f64>(), rng.random());
    (-2.0 * far.ln()).sqrt() * (std::f64::consts::TAU * turn).cos()
}

/// One way of waiting: some minutes, give or take a third, at some temperature, give or take 4 K.
fn kind(rng: &mut ChaCha8Rng, print: usize, minutes: f64, temperature: f64) -> ToolRun {
    let changes = rng.random_range(20..60);
    run(print, minutes * (0.3 * normal(rng)).exp(), temperature + 4.0 * normal(rng), changes)
}

#[test]
fn two_planted_habits_are_found_and_their_events_counted() {
    for (seed, n) in [(1, 40), (2, 120), (3, 400), (4, 2000)] {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let hot: Vec<bool> = (0..n).map(|_| rng.random_bool(0.4)).collect();
        let of = |rng: &mut ChaCha8Rng, at: usize| {
            if hot[at] { kind(rng, at, 15.0, 205.0) } else { kind(rng, at, 3.0, 165.0) }
        };
        let runs: Vec<ToolRun> = (0..n).map(|at| of(&mut rng, at)).collect();
        let happened: Vec<Option<bool>> =
            (0..n).map(|at| (at % 5 > 0).then_some(hot[at] && at.is_multiple_of(2))).collect();
        let found = habits(&runs, &happened).unwrap();
        println!("{n}: {:?}", found.groups);
        assert_eq!(found.groups.len(), 2, "{n} runs");
        let (long, short) = (&found.groups[0], &found.groups[1]);
        let wrong = (0..n).filter(|at| found.members[*at] != Some(usize::from(!hot[*at]))).count();
        assert!(wrong * 50 <= n, "{wrong} of {n}");
        assert!(
            (long.wait_longest.as_minutes() / 15.0).ln().abs() < 0.25 && (long.idle_mean.get() - 205.0).abs() < 3.0
        );
        assert!(
            (short.wait_longest.as_minutes() / 3.0).ln().abs() < 0.25 && (short.idle_mean.get() - 165.0).abs() < 3.0
        );
        for (place, group) in found.groups.iter().enumerate() {
            let inside = || (0..n).filter(|at| found.members[*at] == Some(place));
            let outcomes: Vec<bool> = inside().filter_map(|at| happened[at]).collect();
            assert_eq!((group.n, group.events), (inside().count(), outcomes.iter().filter(|yes| **yes).count()));
            assert_eq!(group.rate.unwrap().n, outcomes.len());
        }
    }
}

/// How many of 20 records are said to be of more than one kind.
fn parted(n: usize, of: impl Fn(&mut ChaCha8Rng, usize) -> ToolRun) -> usize {
    let more = |seed: u64| {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let runs: Vec<ToolRun> = (0..n).map(|at| of(&mut rng, at)).collect();
        habits(&runs, &[]).unwrap().groups.len() > 1
    };
    (0..20).filter(|seed| more(*seed)).count()
}

/// One way of waiting is one group: Normal, evenly spread, or skewed to long waits; in short and long records.
#[test]
fn runs_of_one_kind_are_one_group() {
    for n in [30, 200, 1200] {
        let alike = parted(n, |rng, at| kind(rng, at, 6.0, 180.0));
        let even = parted(n, |rng, at| {
            run(at, rng.random_range(1.0_f64..3.0).exp(), rng.random_range(160.0..200.0), rng.random_range(20..60))
        });
        let skewed = parted(n, |rng, at| {
            let wait = 2.0 - 8.0 * rng.random::<f64>().ln();
            run(at, wait, 175.0 + 5.0 * normal(rng), rng.random_range(20..60))
        });
        println!("{n} runs: more than one group in {alike}, {even}, {skewed} of 20");
        assert!(alike <= 1 && even <= 1 && skewed <= 1, "{n} runs: {alike}, {even}, {skewed} of 20");
    }
}

#[test]
fn groups_hold_each_run_once_and_what_is_not_known_nowhere() {
    for seed in 0..30 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut runs: Vec<ToolRun> = (0..150)
            .map(|at| run(at, rng.random_range(0.0..90.0), f64::from(rng.random_range(15..21_u8)) * 10.0, at % 40))
            .collect();
        for at in (0..150_usize).filter(|at| at.is_multiple_of(7)) {
            runs[at].features.idle_mean = None;
        }
        runs[8].features.wait_longest = Some(Seconds::new(f64::NAN));
        let found = habits(&runs, &[]).unwrap();
        assert_eq!(found.groups.iter().map(|group| group.n).sum::<usize>(), 150 - 22 - 1);
        assert!((0..150_usize).all(|at| found.members[at].is_none() == (at.is_multiple_of(7) || at == 8)));
        assert!(found.members.iter().flatten().all(|place| *place < found.groups.len()));
        assert!(
            found.groups.iter().all(|group| group.n >= 8 && group.rate == Err(Refusal::TooFew { have: 0, need: 1 }))
        );
        assert_eq!(habits(&runs, &[]).unwrap(), found);
    }
}

#[test]
fn changes_that_are_seldom_known_have_no_part_in_it() {
    let mut rng = ChaCha8Rng::seed_from_u64(9);
    let mut runs: Vec<ToolRun> = (0..60).map(|at| kind(&mut rng, at, 6.0, 180.0)).collect();
    runs.iter_mut().skip(30).for_each(|run| run.features.tool_changes = None);
    let found = habits(&runs, &[]).unwrap();
    assert!(found.members.iter().all(Option::is_some) && found.groups[0].changes_per_hour.is_none());
}

#[test]
fn runs_that_do_not_differ_are_one_group_and_few_are_refused() {
    let same = vec![run(0, 5.0, 170.0, 8); 25];
    let found = habits(&same, &[Some(true); 25]).unwrap();
    assert_eq!((found.groups.len(), found.groups[0].n, found.groups[0].events), (1, 25, 25));
    assert_eq!(found.groups[0].changes_per_hour, Some(4.0));
    assert_eq!(habits(&same[..19], &[]), Err(Refusal::TooFew { have: 19, need: 20 }));
}

/// The likelihood of one group is the Normal one, worked from the rows' own covariance.
#[test]
fn density_is_the_normal_one() {
    let rows: Vec<Vec<f64>> = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]].map(|row| row.to_vec()).to_vec();
    let mixture = Mixture::of(&rows, 1).unwrap();
    // Variances 0.5 + BLUR, no covariance: ln density at the mean is -ln(2 pi 0.51).
    let variance = 0.51_f64;
    let at_mean = -(std::f64::consts::TAU * variance).ln();
    assert!((mixture.closest(&[0.0, 0.0]).1 - at_mean).abs() < 1e-9);
    assert!((mixture.closest(&[1.0, 0.0]).1 - (at_mean - 0.5 / variance)).abs() < 1e-9);
}
