//! The learner on simulated histories whose truth is known: it finds what is there, and seldom what is not.

mod draws;

use super::effects::Joint;
use super::measure::{Numbers, numbers};
use super::score::surprise;
use super::*;
use crate::estimate::{Estimate, Refusal, count};
use crate::polymer::Material;
use crate::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A standard normal draw, near enough: the sum of twelve uniform ones less six.
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}

/// Two tools in each print: doses spread over two decades, temperatures and retractions that people set in steps, a
/// liner that ages, spools that last some ten prints.
fn history(rng: &mut ChaCha8Rng, prints: usize) -> Vec<ToolRun> {
    let mut runs = Vec::new();
    let materials = [Material::Pla, Material::Petg, Material::Pva];
    let mut spools = [Material::Pla, Material::Pla];
    for print in 0..prints {
        let changes = rng.random_range(5..120);
        let length = Seconds::new(3600.0 * rng.random_range(0.5..9.0));
        for spool in &mut spools {
            if rng.random_bool(0.1) {
                *spool = materials[rng.random_range(0..materials.len())];
            }
            let dose = (2.0 + normal(rng)).exp();
            let standby = [150.0, 170.0, 190.0, 210.0][rng.random_range(0..4)];
            runs.push(ToolRun {
                print,
                features: Features {
                    dose_max: Some(DoseMinutes::new(dose)),
                    dose_sum: Some(DoseMinutes::new(dose * (1.0 + 3.0 * rng.random::<f64>()))),
                    idle_hot: Some(Seconds::new(length.get() * rng.random_range(0.2..0.7))),
                    idle_mean: Some(Celsius::new(standby + 5.0 * normal(rng))),
                    idle_max: Some(Celsius::new(standby + 20.0 + 5.0 * normal(rng))),
                    ooze: rng.random_bool(0.8).then(|| CubicMm::new((0.5 * normal(rng)).exp())),
                    standby: Some(Celsius::new(standby)),
                    retract: Some(Millimetres::new([0.8, 1.2, 2.0, 4.0, 6.0][rng.random_range(0..5)])),
                    retract_mm_s: Some([25.0, 35.0, 50.0][rng.random_range(0..3)]),
                    print_temperature: Some(Celsius::new(205.0 + 10.0 * normal(rng))),
                    prime: Some(CubicMm::new(rng.random_range(5.0..40.0))),
                    tool_changes: Some(changes),
                    print_length: Some(length),
                    liner_hours: Some(5.0 * count(print % 90)),
                    dried: rng.random_bool(0.7).then(|| rng.random_bool(0.5)),
                    ooze_shield: None,
                    done: Some(1.0),
                    ..Features::of(*spool)
                },
            });
        }
    }
    runs
}

fn draw(rng: &mut ChaCha8Rng, runs: &[ToolRun], log_odds: impl Fn(&Features) -> f64) -> Vec<Option<bool>> {
    runs.iter().map(|run| Some(rng.random_bool(1.0 / (1.0 + (-log_odds(&run.features)).exp())))).collect()
}

fn dose(features: &Features) -> f64 {
    features.dose_max.map_or(0.0, DoseMinutes::get).ln_1p()
}

fn retract(features: &Features) -> f64 {
    features.retract.map_or(0.0, Millimetres::get)
}

/// Learns ten histories of 240 prints with that truth and holds that `group` comes first and is not too little.
fn recovers(mode: FailureMode, group: Group, log_odds: impl Fn(&Features) -> f64) {
    let mut learned_n = 0;
    for seed in 0..10 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let runs = history(&mut rng, 240);
        let learned = learn(mode, &runs, &draw(&mut rng, &runs, &log_odds));
        let first = learned.factors.first().unwrap();
        println!("seed {seed}: {} {:.2}, {:?}", first.factor, first.effect.value, learned.state);
        assert_eq!((first.group, first.rank), (group, 1), "seed {seed}");
        assert_ne!(learned.state, State::TooLittle, "seed {seed}");
        learned_n += u32::from(learned.state == State::Learned);
    }
    assert!(learned_n >= 5, "learned in {learned_n} of 10");
}

/// About one jam in ten runs; the odds treble with a factor of 2.5 in dose.
#[test]
fn a_mode_that_rises_with_dose_is_laid_to_idle_heat() {
    recovers(FailureMode::Jam, Group::IdleHeat, |features| -2.6 + 1.2 * (dose(features) - 2.1));
}

/// About one string in ten runs; the odds fall by a half with each millimetre retracted.
#[test]
fn a_mode_that_falls_with_retraction_is_laid_to_retraction() {
    recovers(FailureMode::Stringing, Group::Retraction, |features| -2.6 - 0.7 * (retract(features) - 2.8));
}

/// Histories in which nothing matters: how many of them have a mode that is called learned, or leaning.
fn called(histories: u64, fate_is_shared: bool) -> (u64, u64) {
    let (mut learned_n, mut leaning_n) = (0, 0);
    for seed in 0..histories {
        let mut rng = ChaCha8Rng::seed_from_u64(1000 + seed);
        let runs = history(&mut rng, 60);
        let states = [0.05_f64, 0.12, 0.3].map(|rate| {
            let mut happened = draw(&mut rng, &runs, |_| (rate / (1.0 - rate)).ln());
            if fate_is_shared {
                (0..happened.len()).for_each(|at| happened[at] = happened[at - at % 2]);
            }
            learn(FailureMode::Jam, &runs, &happened).state
        });
        learned_n += u64::from(states.contains(&State::Learned));
        leaning_n += u64::from(states.contains(&State::Leaning));
    }
    println!(
        "of {histories} histories of chance, shared fate {fate_is_shared}: {learned_n} learned, {leaning_n} leaning"
    );
    (learned_n, leaning_n)
}

/// Nine modes are to be wrong in at most one history of twenty, so three in at most one of sixty.
#[test]
fn chance_alone_is_seldom_called_learned() {
    let (learned_n, leaning_n) = called(120, false);
    assert!(learned_n * 60 <= 120, "{learned_n} of 120");
    assert!(leaning_n * 4 <= 120, "{leaning_n} of 120");
}

/// Failures by chance that end their print: sums and waits are cut off, and how far the job came is told or not.
#[test]
fn chance_that_ends_its_print_is_seldom_called_learned() {
    let mut learned_n = 0;
    for seed in 0..60 {
        let mut rng = ChaCha8Rng::seed_from_u64(3000 + seed);
        let mut runs = history(&mut rng, 120);
        let happened = draw(&mut rng, &runs, |_| -2.4);
        for print in 0..120 {
            if happened[2 * print] != Some(true) && happened[2 * print + 1] != Some(true) {
                continue;
            }
            let done = rng.random_range(0.02..1.0);
            for run in &mut runs[2 * print..2 * print + 2] {
                let cut = run.features;
                run.features = Features {
                    dose_max: cut.dose_max.map(|dose| DoseMinutes::new(dose.get() * done)),
                    dose_sum: cut.dose_sum.map(|dose| DoseMinutes::new(dose.get() * done)),
                    idle_hot: cut.idle_hot.map(|hot| Seconds::new(hot.get() * done)),
                    print_length: cut.print_length.map(|took| Seconds::new(took.get() * done)),
                    done: (seed % 2 == 0).then_some(done),
                    ..cut
                };
            }
        }
        let states = [FailureMode::Jam, FailureMode::Adhesion].map(|mode| learn(mode, &runs, &happened).state);
        learned_n += u32::from(states.contains(&State::Learned));
    }
    println!("of 60 histories whose failures end their prints: {learned_n} learned");
    assert!(learned_n <= 1, "{learned_n} of 60");
}

/// Both tools of a print told the same outcome is one piece of evidence, not two.
#[test]
fn chance_that_strikes_both_tools_of_a_print_is_seldom_called_learned() {
    let (learned_n, _) = called(60, true);
    assert!(learned_n * 60 <= 60, "{learned_n} of 60");
}

#[test]
fn a_forecast_sees_neither_its_own_print_nor_a_later_one() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let runs = history(&mut rng, 80);
    let mut happened = draw(&mut rng, &runs, |features| -1.5 + dose(features) - 2.1);
    let before = learn(FailureMode::Jam, &runs, &happened).predictions;
    let print = 50;
    for outcome in &mut happened[2 * print..] {
        *outcome = outcome.map(|yes| !yes);
    }
    let after = learn(FailureMode::Jam, &runs, &happened).predictions;
    assert_eq!(before[..2 * (print + 1)], after[..2 * (print + 1)]);
    assert_ne!(before, after);
}

/// A word that is taken back moves the forecasts from then on and no earlier one, and the last word alone counts.
#[test]
fn a_late_word_is_known_from_then_on() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let runs = history(&mut rng, 80);
    let happened = draw(&mut rng, &runs, |features| -1.5 + dose(features) - 2.1);
    let mut told: Vec<Told> = (0..).zip(&happened).map(|(run, yes)| Told::of(run, run / 2 + 1, *yes)).collect();
    let first = learn_told(FailureMode::Jam, &runs, &told);
    assert_eq!(first, learn(FailureMode::Jam, &runs, &happened));
    let turned = happened[20].map(|yes| !yes);
    told.push(Told::of(20, 60, turned));
    told.sort_by_key(|word| word.before);
    let second = learn_told(FailureMode::Jam, &runs, &told);
    let changed = (0..runs.len()).find(|run| first.predictions[*run] != second.predictions[*run]);
    assert_eq!(changed, Some(2 * 60));
    let events = if turned == Some(true) { first.events + 1 } else { first.events - 1 };
    assert_eq!((second.n, second.events), (first.n, events));
}

/// How much of the gain over the running rate counts as evidence, in a history with an effect.
fn counted(fate_is_shared: bool) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(21);
    let mut runs = history(&mut rng, 240);
    if fate_is_shared {
        (0..runs.len()).for_each(|at| runs[at].features = runs[at - at % 2].features);
    }
    let mut happened = draw(&mut rng, &runs, |features| -2.0 + 1.2 * (dose(features) - 2.1));
    if fate_is_shared {
        (0..happened.len()).for_each(|at| happened[at] = happened[at - at % 2]);
    }
    let skill = learn(FailureMode::Jam, &runs, &happened).skill.unwrap();
    skill.evidence / ((skill.log_loss_base - skill.log_loss) * count(skill.n))
}

#[test]
fn a_print_told_twice_counts_once_and_two_tools_of_their_own_fate_count_twice() {
    let (twice, once) = (counted(true), counted(false));
    assert!((0.4..0.65).contains(&(twice / once)) && once > 0.6, "{twice} {once}");
}

/// Noise in many factors costs ln 4 nats over a record at most where each word comes before the next print: the running
/// rate has a quarter of the say beforehand.
#[test]
fn forecasts_of_prints_told_at_once_fall_behind_the_running_rate_by_ln_4_at_most() {
    let mut most: f64 = 0.0;
    for seed in 0..10 {
        let mut rng = ChaCha8Rng::seed_from_u64(700 + seed);
        let runs = history(&mut rng, 100);
        let happened = draw(&mut rng, &runs, |_| -2.0);
        let skill = learn(FailureMode::Jam, &runs, &happened).skill.unwrap();
        most = most.max((skill.log_loss - skill.log_loss_base) * count(skill.n));
    }
    println!("at most {most} nats behind");
    assert!(most <= 4.0_f64.ln() + 1e-9, "{most} nats");
}

#[test]
fn with_few_events_there_is_a_rate_and_no_more() {
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let runs = history(&mut rng, 30);
    let mut happened = vec![Some(false); runs.len()];
    happened[4] = Some(true);
    happened[7] = None;
    let learned = learn(FailureMode::Jam, &runs, &happened);
    assert_eq!((learned.n, learned.events, learned.state), (59, 1, State::TooLittle));
    assert_eq!(learned.refused, Some(Refusal::TooFew { have: 1, need: 4 }));
    assert!(learned.factors.is_empty());
    assert_eq!(learned.predictions[0], None);
    // Two clean runs are known before the second print: the running rate is (0 + 1/2) / (2 + 1), what is usual is less.
    let second = learned.predictions[2].unwrap();
    assert!((0.01..0.5 / 3.0).contains(&second), "{second}");
    assert!(learned.rate.unwrap().low > 0.0);
}

#[test]
fn a_record_in_which_nobody_said_is_not_a_clean_one() {
    let mut rng = ChaCha8Rng::seed_from_u64(12);
    let runs = history(&mut rng, 30);
    let learned = learn(FailureMode::Jam, &runs, &[]);
    assert_eq!(learned.rate, Err(Refusal::TooFew { have: 0, need: 1 }));
    assert!(learned.predictions.iter().all(Option::is_none));
}

/// A word on each run, known before the next print.
fn words(runs: &[ToolRun], happened: &[Option<bool>]) -> Vec<Told> {
    let each = runs.iter().zip(happened).enumerate();
    each.map(|(run, (of, yes))| Told::of(run, of.print + 1, *yes)).collect()
}

fn outlook(runs: &[ToolRun], told: &[Told], next: &Features) -> Result<Estimate, Refusal> {
    Learner::of(FailureMode::Jam, runs, told).forecast(next)
}

/// Explanations are not fitted anew with every print, so a run that is added may be forecast by a fit of a little
/// before.
#[test]
fn an_outlook_is_nearly_what_a_run_added_at_the_end_is_told() {
    for (seed, prints) in [(31, 40), (32, 90), (33, 160)] {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut runs = history(&mut rng, prints + 1);
        let happened = draw(&mut rng, &runs, |features| -1.5 + dose(features) - 2.1);
        let next = runs.split_off(2 * prints)[0].features;
        let told = words(&runs, &happened[..2 * prints]);
        let found = outlook(&runs, &told, &next).unwrap();
        runs.push(ToolRun { print: usize::MAX, features: next });
        let added = learn_told(FailureMode::Jam, &runs, &told).predictions[2 * prints].unwrap();
        assert!((found.value - added).abs() < 0.1 * added, "{prints} prints: {found:?} against {added}");
        assert!(found.low < found.value && found.value < found.high && found.n == 2 * prints, "{found:?}");
    }
}

#[test]
fn more_of_the_factor_that_does_it_is_more_risk() {
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    let runs = history(&mut rng, 200);
    let happened = draw(&mut rng, &runs, |features| -1.5 + 1.2 * (dose(features) - 2.1));
    let told = words(&runs, &happened);
    let typical = runs[7].features;
    let risk = |dose: f64| {
        let next = Features {
            dose_max: Some(DoseMinutes::new(dose)),
            dose_sum: Some(DoseMinutes::new(2.0 * dose)),
            ..typical
        };
        outlook(&runs, &told, &next).unwrap()
    };
    let risks: Vec<Estimate> = [1.0, 4.0, 16.0, 64.0].map(risk).to_vec();
    println!("{risks:?}");
    assert!(risks.windows(2).all(|pair| pair[0].value < pair[1].value && pair[0].low < pair[1].low));
    assert!(risks[0].high < risks[3].low, "{risks:?}");
}

#[test]
fn an_outlook_without_a_model_is_refused() {
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let runs = history(&mut rng, 30);
    let mut happened = vec![Some(false); runs.len()];
    let next = runs[0].features;
    assert_eq!(outlook(&runs, &words(&runs, &happened), &next), Err(Refusal::NoEvents));
    happened[4] = Some(true);
    assert_eq!(outlook(&runs, &words(&runs, &happened), &next), Err(Refusal::TooFew { have: 1, need: 4 }));
    assert_eq!(outlook(&runs[..10], &[], &next), Err(Refusal::TooFew { have: 0, need: 20 }));
    let all = vec![Some(true); runs.len()];
    assert_eq!(outlook(&runs, &words(&runs, &all), &next), Err(Refusal::OneClassOnly));
}

/// How often of `histories` the interval of a next run holds the probability that made the data.
fn outlooks_held(histories: u64, prints: usize, log_odds: impl Fn(&Features) -> f64) -> u32 {
    let mut held = 0;
    for seed in 0..histories {
        let mut rng = ChaCha8Rng::seed_from_u64(8000 + seed);
        let mut runs = history(&mut rng, prints + 1);
        let happened = draw(&mut rng, &runs, &log_odds);
        let next = runs.split_off(2 * prints)[0].features;
        let found = outlook(&runs, &words(&runs, &happened[..2 * prints]), &next).unwrap();
        let truth = 1.0 / (1.0 + (-log_odds(&next)).exp());
        held += u32::from((found.low..=found.high).contains(&truth));
    }
    println!("{prints} prints: held {held} of {histories}");
    held
}

/// Binomial(100, 0.9) lies within 84 to 95 nineteen times in twenty. With a short record the interval is careful, and
/// so it is where nothing matters: then it is held to no more than the lower end.
#[test]
fn outlook_holds_the_truth_about_ninety_times_in_a_hundred_or_more() {
    let both = |features: &Features| -1.5 + 0.8 * (dose(features) - 2.1) - 0.4 * (retract(features) - 2.8);
    assert!((84..=95).contains(&outlooks_held(100, 120, both)));
    assert!(outlooks_held(100, 40, both) >= 84);
    assert!(outlooks_held(100, 40, |_| -1.5) >= 84);
}

/// Forecasts of one regression on all factors (every hazard log-linear in the physics' features, with their priors),
/// fitted anew every ten prints: surprise over the record from the tenth print on, nats.
fn by_one_regression(mode: FailureMode, runs: &[ToolRun], happened: &[Option<bool>]) -> f64 {
    let read: Vec<Numbers> = runs.iter().map(|run| numbers(&run.features)).collect();
    let mut lost = 0.0;
    for from in (20..runs.len()).step_by(20) {
        let past: Vec<&Numbers> = read[..from].iter().collect();
        let known: Vec<bool> = happened[..from].iter().map(|yes| yes.unwrap()).collect();
        let fitted = Joint::of(mode, &past).and_then(|joint| {
            let found = joint.problem(&known, &vec![1.0; from]).fit(None)?;
            Ok((joint, found))
        });
        let (joint, found) = fitted.unwrap();
        for at in from..(from + 20).min(runs.len()) {
            lost += surprise(found.probability(&joint.row(&read[at])), happened[at].unwrap());
        }
    }
    lost
}

/// Why explanations are averaged: over worlds of other forms than either assumes, all of them together forecast better
/// than one regression on every factor.
#[test]
fn averaging_over_explanations_forecasts_better_than_one_regression_on_all_factors() {
    type Truth = fn(&Features) -> f64;
    let worlds: [(&str, FailureMode, Truth); 4] = [
        ("a dose over 20 min", FailureMode::Jam, |f| if dose(f).exp_m1() > 20.0 { 0.35 } else { 0.02 }),
        ("heat times minutes, saturating", FailureMode::Jam, |f| {
            let above = f.idle_mean.map_or(0.0, |mean| (mean.get() - 170.0).max(0.0));
            let load = above * f.idle_hot.map_or(0.0, Seconds::as_minutes);
            0.015 - 0.4 * (-load / 4000.0).exp_m1()
        }),
        ("retraction under 1.5 mm", FailureMode::Stringing, |f| {
            0.02 + 0.3 * ((1.5 - retract(f)) / 0.7).clamp(0.0, 1.0)
        }),
        ("an old liner", FailureMode::Liner, |f| {
            (0.004 + (f.liner_hours.unwrap_or(0.0) / 420.0).powi(5) * 0.3).min(0.9)
        }),
    ];
    for (name, mode, truth) in worlds {
        let (mut one, mut all, mut best) = (0.0, 0.0, 0.0);
        for seed in 0..4 {
            let mut rng = ChaCha8Rng::seed_from_u64(61_000 + seed);
            let runs = history(&mut rng, 200);
            let happened: Vec<Option<bool>> =
                runs.iter().map(|run| Some(rng.random_bool(truth(&run.features)))).collect();
            one += by_one_regression(mode, &runs, &happened);
            let learned = learn(mode, &runs, &happened);
            for at in 20..runs.len() {
                all += surprise(learned.predictions[at].unwrap(), happened[at].unwrap());
                best += surprise(truth(&runs[at].features), happened[at].unwrap());
            }
        }
        println!("{name}: one regression {one:.1}, all explanations {all:.1}, the truth itself {best:.1} nats");
        assert!(all < one, "{name}: {all} against {one}");
    }
}
