//! What holds in any situation, over random ones.

use super::sample::{Bench, Beside};
use crate::advice::candidates::{is_in_force, is_same};
use crate::advice::{Ages, Candidate, Change, Held, LinerKnown, Rule, candidates, may_cure, within};
use crate::polymer::{Drive, Material};
use crate::risk::FailureMode::{Blob, Stringing};
use crate::risk::{Features, Restarts};
use crate::survival::{Outlook, Posterior, Prior};
use crate::thermal::Heater;
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::HashMap;
use std::sync::LazyLock;

const SITUATIONS: u64 = 3000;

static LINER: LazyLock<Outlook> = LazyLock::new(|| Posterior::of(&[], Prior::liner()).outlook(0.0));

fn one_of<T: Copy>(rng: &mut ChaCha8Rng, of: &[T]) -> T {
    of[rng.random_range(0..of.len())]
}

/// Something three times in four.
fn maybe<T>(rng: &mut ChaCha8Rng, make: impl Fn(&mut ChaCha8Rng) -> T) -> Option<T> {
    rng.random_bool(0.75).then(|| make(rng))
}

fn degrees(rng: &mut ChaCha8Rng, low: f64, high: f64) -> Celsius {
    let at = rng.random_range(low..high);
    Celsius::new(if rng.random_bool(0.5) { (at / 5.0).round() * 5.0 } else { at })
}

fn held(rng: &mut ChaCha8Rng) -> Held {
    Held {
        print: maybe(rng, |rng| degrees(rng, 170.0, 320.0)),
        standby: maybe(rng, |rng| degrees(rng, 20.0, 320.0)),
        retract: maybe(rng, |rng| Millimetres::new(rng.random_range(0.0..12.0))),
        retract_mm_s: maybe(rng, |rng| rng.random_range(5.0..120.0)),
        prime: maybe(rng, |rng| CubicMm::new(rng.random_range(0.0..90.0))),
        ooze_shield: maybe(rng, |rng| rng.random_bool(0.5)),
        dried: maybe(rng, |rng| rng.random_bool(0.5)),
    }
}

fn liner(rng: &mut ChaCha8Rng) -> LinerKnown {
    let rated = LinerKnown::Rated(degrees(rng, 200.0, 320.0));
    one_of(rng, &[LinerKnown::Assumed, LinerKnown::Absent, rated])
}

/// A run with settings of its own; half of them at the standby that is in force.
fn features(rng: &mut ChaCha8Rng, bench: &Bench) -> Features {
    let own = held(rng);
    Features {
        standby: if rng.random_bool(0.5) { bench.held.standby } else { own.standby },
        restart_deficit: maybe(rng, |rng| CelsiusDelta::new(rng.random_range(0.0..80.0))),
        stagnant: maybe(rng, |rng| DoseMinutes::new(rng.random_range(0.0..500.0))),
        restarts: maybe(rng, |rng| Restarts {
            dose_max: DoseMinutes::new(rng.random_range(0.0..500.0)),
            ..Restarts::default()
        }),
        ooze: maybe(rng, |rng| CubicMm::new(rng.random_range(0.0..200.0))),
        retract: own.retract,
        retract_mm_s: own.retract_mm_s,
        print_temperature: own.print,
        prime: own.prime,
        dried: own.dried,
        ooze_shield: own.ooze_shield,
        ..Features::of(bench.facts.kind)
    }
}

fn any(seed: u64) -> Bench {
    let rng = &mut ChaCha8Rng::seed_from_u64(seed);
    let mut bench = Bench::of(one_of(rng, &Material::ALL));
    (bench.held, bench.liner) = (held(rng), liner(rng));
    // What people hold is mostly near what is usual.
    if rng.random_bool(0.7) {
        let print = bench.facts.usual_print() + CelsiusDelta::new(rng.random_range(-25.0..25.0));
        bench.held.print = Some(print);
        bench.held.standby = maybe(rng, |rng| print - CelsiusDelta::new(rng.random_range(0.0..120.0)));
    }
    bench.is_shared = rng.random_bool(0.2);
    bench.drive = one_of(rng, &[None, Some(Drive::Short), Some(Drive::LongTube)]);
    let tau = Seconds::new(rng.random_range(60.0..300.0));
    bench.heater = Heater { time_constant: tau, cooling_constant: tau, ..Heater::HOT_END };
    for _ in 0..rng.random_range(0..4) {
        let usual = rng.random_range(1.0_f64..7.5).exp();
        let waits: Vec<f64> = (0..rng.random_range(0..6)).map(|_| usual * rng.random_range(0.5..2.0)).collect();
        let print = bench.held.print.map_or(200.0, Celsius::get);
        bench.run(&waits, print - rng.random_range(0.0..60.0), None);
        let own = features(rng, &bench);
        *bench.newest() = own;
    }
    bench.tried = (0..rng.random_range(0..30)).map(|_| features(rng, &bench)).collect();
    bench.ages = Ages {
        liner_wear: maybe(rng, |rng| rng.random_range(0.0..900.0)),
        nozzle_hours: maybe(rng, |rng| rng.random_range(0.0..900.0)),
        ..Ages::default()
    };
    // Seldom: asking it for an age takes long.
    bench.outlook = rng.random_bool(0.05).then(|| LINER.clone());
    bench.beside = maybe(rng, |rng| Beside {
        facts: one_of(rng, &Material::ALL).built_in(),
        print: maybe(rng, |rng| degrees(rng, 170.0, 320.0)),
        liner: liner(rng),
        waits: [rng.random(), rng.random()],
    });
    bench
}

/// Said anew here, so that a slip in the limits shows.
fn is_safe(bench: &Bench, change: &Change) -> bool {
    let Bench { facts, held, liner, beside, .. } = bench;
    let stands = |liner: LinerKnown, at: Celsius| liner.rating().is_none_or(|rating| at <= rating);
    match change {
        Change::Standby(step) => {
            let over = |print: Celsius| step.to <= print;
            let shortest = bench.courses.iter().flat_map(|course| &course.waits).map(|wait| wait.lasted.get());
            let shortest = shortest.fold(f64::INFINITY, f64::min);
            let (heater, around) = (bench.heater, crate::thermal::AMBIENT);
            let reheats = || {
                let print = held.print?;
                let needed = heater.cooling(print, step.to, around)? + heater.heating(step.to, print, around)?;
                (shortest.is_finite() && shortest >= needed.get()).then_some(())
            };
            stands(*liner, step.to)
                && held.print.is_none_or(over)
                && step.to >= facts.glass_transition.value
                && !bench.is_shared
                && (step.to >= facts.first_flow.value || reheats().is_some())
        }
        Change::PrintTemperature(step) => {
            let off =
                |at: Celsius| (facts.print_low.value - at).get().max((at - facts.print_high.value).get()).max(0.0);
            stands(*liner, step.to) && off(step.to) <= step.from.map_or(0.0, off)
        }
        // A long tube takes up 5.5 mm, and no drive grips more than 3.2 mm of pressure.
        Change::Retract(step) => (0.0..9.7).contains(&step.to.get()),
        Change::RetractSpeed(step) => (5.0..120.0).contains(&step.to),
        Change::Prime(step) => (0.0..=90.0).contains(&step.to.get()),
        Change::Material(_) => {
            let beside = beside.as_ref().unwrap();
            stands(*liner, beside.print.unwrap()) && stands(beside.liner, held.print.unwrap())
        }
        Change::AllMetal => liner.rating().is_some(),
        Change::OozeShield(step) | Change::Dried(step) => step.from != Some(step.to),
        Change::Replace(_) | Change::Clean => true,
    }
}

#[test]
fn no_candidate_is_beyond_the_limits_or_in_force_already() {
    for seed in 0..SITUATIONS {
        let bench = any(seed);
        let situation = bench.situation();
        for Candidate { change, .. } in candidates(&situation) {
            assert_eq!(within(&change, &situation), Ok(()), "seed {seed}");
            assert!(is_safe(&bench, &change), "seed {seed}: {change:?} of {:?}", bench.held);
            assert!(!is_in_force(&change), "seed {seed}: {change:?}");
        }
    }
}

#[test]
fn nothing_that_heats_more_is_meant_for_strings_or_blobs() {
    let mut heats_n = 0;
    for seed in 0..SITUATIONS {
        let bench = any(seed);
        for candidate in candidates(&bench.situation()) {
            let heats = match candidate.change {
                Change::Standby(step) | Change::PrintTemperature(step) => step.from.is_none_or(|from| step.to > from),
                Change::Material(step) => {
                    step.to.built_in().usual_print() > step.from.unwrap().built_in().usual_print()
                }
                _ => false,
            };
            let cures = candidate.modes.iter().any(|mode| [Stringing, Blob].contains(mode));
            assert!(!(heats && cures), "seed {seed}: {candidate:?}");
            assert!(candidate.modes.iter().all(|mode| may_cure(&candidate.change, *mode)), "seed {seed}");
            heats_n += usize::from(heats);
        }
    }
    assert!(heats_n > 1000, "{heats_n}");
}

#[test]
fn no_two_candidates_are_the_same_and_no_setting_has_more_than_a_dozen() {
    for seed in 0..SITUATIONS {
        let found = candidates(&any(seed).situation());
        for (idx, one) in found.iter().enumerate() {
            let others = &found[idx + 1..];
            assert!(!others.iter().any(|other| is_same(&one.change, &other.change)), "seed {seed}: {one:?}");
            let n = found.iter().filter(|other| other.change.is_of_kind(&one.change)).count();
            assert!(n <= 12, "seed {seed}: {n} like {one:?}");
            assert!(!one.modes.is_empty(), "seed {seed}: {one:?}");
        }
    }
}

fn said(bench: &Bench) -> Vec<Candidate> {
    candidates(&bench.situation()).into_iter().filter(|candidate| candidate.rule.is_some()).collect()
}

#[test]
fn a_rule_that_was_followed_is_silent() {
    let mut heard = HashMap::new();
    for seed in 0..SITUATIONS {
        for Candidate { change, rule, .. } in said(&any(seed)) {
            let mut bench = any(seed);
            bench.make(&change);
            let again: Vec<_> = said(&bench).into_iter().filter(|other| other.change.is_of_kind(&change)).collect();
            assert_eq!(again, [], "seed {seed}: after {change:?} by {rule:?} of {:?}", bench.held);
            *heard.entry(std::mem::discriminant(&rule.unwrap())).or_insert(0) += 1;
        }
    }
    assert_eq!(heard.len(), 11, "each rule speaks: {heard:?}");
}

#[test]
fn following_the_rules_comes_to_an_end_and_takes_nothing_back() {
    for seed in 0..SITUATIONS {
        let mut bench = any(seed);
        let mut followed: Vec<(Change, Option<Rule>)> = Vec::new();
        while let Some(Candidate { change, rule, .. }) = said(&bench).into_iter().next() {
            bench.make(&change);
            followed.push((change, rule));
            assert!(followed.len() <= 14, "seed {seed}: {followed:?}");
        }
    }
}
