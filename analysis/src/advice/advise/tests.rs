//! Who may speak for a change, and which value is best: on records whose law is known.

use super::*;
use crate::advice::change::{Change, PartKind};
use crate::advice::course::tests::situation;
use crate::advice::effect::tests::{history, jams, told};
use crate::advice::{Course, Held, Lesson};
use crate::risk::{FailureMode, Features, Learner};
use crate::units::{Celsius, DoseMinutes, Seconds};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// A record of 150 runs by a law, and what is advised of its newest 30, waiting at 200 °C.
fn advised(seed: u64, law: fn(&Features) -> f64, n_told: usize) -> Vec<Suggestion> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let courses = history(&mut rng, 150);
    let (learner, events) = told(&mut rng, &courses[..n_told], law);
    let lessons = [lesson(&learner, events, n_told)];
    let tried: Vec<Features> = courses.iter().map(|course| course.features).collect();
    let asked = asked_of(&courses[120..], &tried, &lessons);
    advise(&asked)
}

fn asked_of<'a>(courses: &'a [Course], tried: &'a [Features], lessons: &'a [Lesson<'a>]) -> Situation<'a> {
    let plain = situation(courses, lessons);
    Situation { held: Held { standby: Some(Celsius::new(200.0)), ..plain.held }, tried, ..plain }
}

fn lesson(learner: &Learner, events: usize, n: usize) -> Lesson<'_> {
    let (state, loss) = (learner.state(), Seconds::minutes(120.0));
    Lesson { mode: FailureMode::Jam, learner, state, inseparable: &[], loss, n, events, own_n: n, own_events: events }
}

fn standby(advised: &[Suggestion]) -> Option<(&Suggestion, f64)> {
    advised.iter().find_map(|one| match one.change {
        Change::Standby(step) => Some((one, step.to.get())),
        _ => None,
    })
}

/// In a world where the dose of waits jams: the cooler standby comes first and takes most of the risk, mostly learned, else
/// as what the record leans to.
#[test]
fn what_was_learned_is_advised_and_takes_most_of_the_risk() {
    let mut learned = 0;
    for seed in 0..6 {
        let advised = advised(500 + seed, jams, 150);
        let (first, to) = standby(&advised).unwrap();
        let risk = first.risk.unwrap();
        assert_ne!(first.basis, Basis::CommonPractice, "{seed}");
        assert_eq!(first.meant, [FailureMode::Jam], "{seed}");
        learned += u32::from(first.basis == Basis::Learned);
        assert!(to <= 180.0 && risk.sure > 0.9 && risk.after.value < 0.5 * risk.now.value, "{seed}: {to} {risk:?}");
        assert_eq!(&advised[0], first, "{seed}");
    }
    assert!(learned >= 4, "{learned}");
}

/// In a world where nothing matters nothing is called learned.
#[test]
fn where_nothing_matters_practice_speaks_alone() {
    for seed in 0..6 {
        let advised = advised(600 + seed, |_| 0.12, 150);
        assert!(advised.iter().all(|one| one.basis != Basis::Learned), "{seed}: {advised:?}");
    }
}

/// Nobody told an outcome: what the trade says is advised without a figure.
#[test]
fn where_nobody_told_outcomes_practice_speaks_without_figures() {
    let advised = advised(700, jams, 0);
    let (first, _) = standby(&advised).unwrap();
    assert_eq!((first.basis, first.risk, first.gain), (Basis::CommonPractice, None, None));
    assert!(advised.iter().all(|one| one.rule.is_some()), "{advised:?}");
}

/// Once the record says that heat does not jam but cures, no practice advises to wait cooler.
#[test]
fn practice_that_the_record_speaks_against_is_not_advised() {
    let cured = |features: &Features| (0.4 - 0.02 * features.dose_max.map_or(0.0, DoseMinutes::get)).max(0.02);
    for seed in 0..6 {
        let advised = advised(800 + seed, cured, 150);
        assert_eq!(standby(&advised).filter(|(_, to)| *to < 200.0), None, "{seed}");
    }
}

#[test]
fn of_two_values_of_a_setting_one_is_advised() {
    let advised = advised(500, jams, 150);
    for (nth, one) in advised.iter().enumerate() {
        assert!(advised[nth + 1..].iter().all(|other| !one.change.is_of_kind(&other.change)), "{advised:?}");
    }
    assert!(Change::Clean.is_of_kind(&Change::Replace(PartKind::Nozzle)));
}
