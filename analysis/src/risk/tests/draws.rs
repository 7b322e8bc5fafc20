//! Pairs of risks, as runs are and as they would be, against the laws that made the record.

use super::*;

/// Newest runs of a history that are asked of.
const ASKED: usize = 40;

type Law = fn(&Features) -> f64;

fn risk(law: Law, features: &Features) -> f64 {
    1.0 / (1.0 + (-law(features)).exp())
}

fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let n = count(values.len());
    values.sum::<f64>() / n
}

/// The middle 90 % of the draws.
fn middle(draws: &[f64]) -> (f64, f64) {
    let mut sorted = draws.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    (sorted[sorted.len() / 20], sorted[sorted.len() - 1 - sorted.len() / 20])
}

fn learned(seed: u64, prints: usize, law: Law) -> (Learner, Vec<Features>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let runs = history(&mut rng, prints);
    let happened = draw(&mut rng, &runs, law);
    let asked = runs[runs.len() - ASKED.min(runs.len())..].iter().map(|run| run.features).collect();
    (Learner::of(FailureMode::Jam, &runs, &words(&runs, &happened)), asked)
}

/// A fifth of the dose.
fn cooler(features: &Features) -> Features {
    let less = |dose: DoseMinutes| DoseMinutes::new(0.2 * dose.get());
    Features { dose_max: features.dose_max.map(less), dose_sum: features.dose_sum.map(less), ..*features }
}

fn by_dose(features: &Features) -> f64 {
    -2.2 + 1.2 * (dose(features) - 2.1)
}

#[test]
fn runs_that_stay_as_they_are_have_the_same_draws_to_the_last_bit() {
    let (learner, asked) = learned(51, 120, by_dose);
    let draws = learner.draws(&asked, &asked, 400).unwrap();
    assert_eq!(draws.now, draws.after);
    assert!(draws.now.iter().any(|one| one.to_bits() != draws.now[0].to_bits()));
    let moved: Vec<Features> = asked.iter().map(cooler).collect();
    assert_eq!(learner.draws(&asked, &moved, 400).unwrap().now, draws.now, "what is, does not hang on what would be");
}

#[test]
fn less_of_what_does_it_is_less_risk_in_nearly_every_pair_and_more_is_more() {
    let (learner, asked) = learned(52, 200, by_dose);
    let moved: Vec<Features> = asked.iter().map(cooler).collect();
    let falls = |now: &[Features], after: &[Features]| {
        let draws = learner.draws(now, after, 400).unwrap();
        mean(draws.now.iter().zip(&draws.after).map(|(now, after)| if after < now { 1.0 } else { 0.0 }))
    };
    let (less, more) = (falls(&asked, &moved), falls(&moved, &asked));
    println!("falls {less}, and the other way round {more}");
    assert!(less > 0.97 && more < 0.03, "{less} {more}");
}

#[test]
fn a_factor_that_does_nothing_is_not_sure_to_help() {
    let (learner, asked) = learned(53, 200, by_dose);
    let moved: Vec<Features> =
        asked.iter().map(|of| Features { retract: Some(Millimetres::new(0.8)), ..*of }).collect();
    let draws = learner.draws(&asked, &moved, 400).unwrap();
    let falls = mean(draws.now.iter().zip(&draws.after).map(|(now, after)| if after < now { 1.0 } else { 0.0 }));
    assert!(falls < 0.9, "{falls}");
}

/// A mean over draws is what the explanations and the running rate expect, each by its weight: what a forecast tells.
#[test]
fn the_mean_of_the_draws_is_what_is_forecast() {
    for seed in [54, 55, 56] {
        let (learner, asked) = learned(seed, 120, by_dose);
        let draws = learner.draws(&asked, &asked, 4000).unwrap();
        let told = mean(asked.iter().map(|of| learner.forecast(of).unwrap().value));
        let found = mean(draws.now.iter().copied());
        assert!((found / told - 1.0).abs() < 0.05, "{found} against {told}");
    }
}

#[test]
fn what_is_believed_beforehand_speaks_where_little_happened() {
    let (learner, asked) = learned(57, 6, |_| -9.0);
    assert!(learner.forecast(&asked[0]).is_err());
    let moved: Vec<Features> = asked.iter().map(cooler).collect();
    let draws = learner.draws(&asked, &moved, 400).unwrap();
    assert!(mean(draws.after.iter().copied()) < mean(draws.now.iter().copied()));
    assert!(learner.draws(&asked, &[], 400).is_none());
    assert!(Learner::of(FailureMode::Jam, &[], &[]).draws(&asked, &moved, 400).is_none());
}

/// Pairs by two modes that were told the same are no more alike than chance has it.
#[test]
fn draws_of_two_modes_are_apart() {
    let mut rng = ChaCha8Rng::seed_from_u64(58);
    let runs = history(&mut rng, 100);
    let told = words(&runs, &draw(&mut rng, &runs, by_dose));
    let asked: Vec<Features> = runs[160..].iter().map(|run| run.features).collect();
    let of = |mode| Learner::of(mode, &runs, &told).draws(&asked, &asked, 400).unwrap().now;
    let alike = super::super::measure::correlation(&of(FailureMode::Jam), &of(FailureMode::UnderExtrusion));
    // Three standard errors of nought.
    assert!(alike.abs() < 3.0 / 20.0, "{alike}");
}

/// How often of `histories` the middle 90 % of the draws hold what the law says: as it is, with a fifth of the dose, and
/// with every retraction at 0.8 mm.
fn held(histories: u64, prints: usize, law: Law) -> [u32; 4] {
    let mut held = [0; 4];
    for seed in 0..histories {
        let (learner, asked) = learned(9000 + seed, prints, law);
        let short = |of: &Features| Features { retract: Some(Millimetres::new(0.8)), ..*of };
        let ways: [Vec<Features>; 2] = [asked.iter().map(cooler).collect(), asked.iter().map(short).collect()];
        let truth = |runs: &[Features]| mean(runs.iter().map(|of| risk(law, of)));
        for (way, after) in ways.iter().enumerate() {
            let draws = learner.draws(&asked, after, 400).unwrap();
            let holds = |draws: &[f64], truth: f64| {
                let (low, high) = middle(draws);
                u32::from((low..=high).contains(&truth))
            };
            held[0] += if way == 0 { holds(&draws.now, truth(&asked)) } else { 0 };
            held[1 + way] += holds(&draws.after, truth(after));
            let less: Vec<f64> = draws.now.iter().zip(&draws.after).map(|(now, after)| now - after).collect();
            held[3] += if way == 0 { holds(&less, truth(&asked) - truth(after)) } else { 0 };
        }
    }
    println!("{prints} prints: of {histories} held as it is, cooler, shorter, gain of cooler: {held:?}");
    held
}

/// The second law lets longer retractions jam less, which nobody expects beforehand. In a record of forty prints, what a
/// change gains is believed to be less than it is somewhat too often: that it does nothing is not ruled out yet.
#[test]
fn the_middle_ninety_percent_hold_the_truth_in_85_of_100_histories_or_more() {
    let both: Law = |features| -1.5 + 0.8 * (dose(features) - 2.1) + 0.4 * (retract(features) - 2.8);
    let contrary: Law = |features| -1.5 + 0.8 * (dose(features) - 2.1) - 0.4 * (retract(features) - 2.8);
    let laws: [(usize, Law); 4] = [(120, both), (120, contrary), (40, both), (60, |_| -1.5)];
    for (prints, law) in laws {
        let [now, cooler, shorter, gain] = held(60, prints, law);
        assert!(now.min(cooler).min(shorter) >= 51 && (gain >= 51 || prints < 60), "{prints} prints");
    }
}
