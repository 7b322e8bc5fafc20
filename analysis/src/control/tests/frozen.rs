//! Values that stand still, and sensors that only look like it.

use super::super::{Expected, Freeze, Frozen, FrozenPlan};
use super::noise::Noise;
use crate::estimate::{Refusal, count};
use crate::units::Seconds;

const PLAN: FrozenPlan = FrozenPlan { learn: 400, quiet: Seconds::new(3.6e6), sure_move: 6.0 };
const SECOND: Seconds = Seconds::new(1.0);

fn stepped(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

/// What comes of a held series, and the detector after it.
fn held(values: impl IntoIterator<Item = f64>) -> (Vec<Freeze>, Frozen) {
    let mut frozen = Frozen::new(PLAN);
    let freezes = values.into_iter().filter_map(|value| frozen.push(value, SECOND, Expected::Held)).collect();
    (freezes, frozen)
}

/// A column of a record, in its own unit.
fn column(text: &str, idx: usize) -> Vec<f64> {
    text.lines().skip(1).map(|line| line.split(',').nth(idx).unwrap().parse().unwrap()).collect()
}

#[test]
fn a_frozen_value_is_found_as_soon_as_the_blind_zone_ends() {
    for step in [0.01, 0.1] {
        let mut noise = Noise::new(3, 0.1, 0.6);
        let (before, mut frozen) = held((0..1_000).map(|_| stepped(210.0 + noise.next(), step)));
        assert_eq!(before.len(), 0);
        let blind = frozen.blind_zone().unwrap();
        assert!(blind <= Seconds::new(120.0), "{blind:?} at steps of {step}");
        let last = stepped(210.0 + noise.next(), step);
        let found = (0..1_000).find(|_| frozen.push(last, SECOND, Expected::Held).is_some()).unwrap();
        assert!((count(found) - blind.get()).abs() <= 1.0, "found after {found} s, said {blind:?}");
        assert!(frozen.push(last + step, SECOND, Expected::Held).is_none(), "it ends with the first change");
    }
}

#[test]
fn a_flickering_sensor_is_quiet_for_a_thousand_hours() {
    for (seed, (step, correlation)) in [(0.01, 0.6), (0.1, 0.6), (0.15, 0.9), (0.2, 0.0)].into_iter().enumerate() {
        let mut noise = Noise::new(u64::try_from(seed).unwrap(), 0.1, correlation);
        let (freezes, frozen) = held((0..3_600_000).map(|_| stepped(210.03 + noise.next(), step)));
        assert_eq!(freezes.len(), 0, "step {step}, correlation {correlation}, {:?}", frozen.blind_zone());
    }
}

#[test]
fn a_coarse_sensor_on_the_edge_and_then_off_it_is_not_frozen() {
    // Noise of a twentieth of a step: it flickers on the edge, and rests for hours once the room is a little warmer.
    let mut noise = Noise::new(5, 0.025, 0.3);
    let mut level = |hour: f64| stepped(60.25 + 0.2 * hour + noise.next(), 0.5);
    let (freezes, frozen) = held((0..7_200).map(|s| level((f64::from(s) / 3_600.0).floor())));
    assert_eq!(freezes.len(), 0);
    let blind = frozen.blind_zone();
    assert!(matches!(blind, Err(Refusal::TooLoose | Refusal::NothingVaries)), "what it can't tell it says: {blind:?}");
}

#[test]
fn real_sensors_of_coarse_steps_are_never_frozen_and_can_not_be_told_from_frozen_ones() {
    // Steps of 0.3 K, of 0.58 °F and of 0.49 K. There and back five times over, and then an hour at rest.
    for (text, idx) in [
        (include_str!("../../../testdata/one_heater_step_a.csv"), 2),
        (include_str!("../../../testdata/one_heater_step_b.csv"), 2),
        (include_str!("../../../testdata/two_heater_d.csv"), 3),
    ] {
        let mut values = column(text, idx);
        values.extend(values.clone().into_iter().rev());
        let long = values.iter().copied().cycle().take(values.len() * 5);
        let (freezes, frozen) = held(long.chain(std::iter::repeat_n(values[0], 3_600)));
        assert_eq!(freezes.len(), 0, "{:?}", frozen.blind_zone());
        assert!(frozen.blind_zone().is_err(), "{:?}", frozen.blind_zone());
    }
}

#[test]
fn real_sensors_that_flicker_are_never_frozen() {
    // The second sensor of the last one has coarse steps, and noise of several of them once it is warm.
    for text in [
        include_str!("../../../testdata/two_heater_a.csv"),
        include_str!("../../../testdata/two_heater_b.csv"),
        include_str!("../../../testdata/two_heater_c.csv"),
        include_str!("../../../testdata/two_heater_d.csv"),
    ] {
        for idx in [3, 4] {
            let mut values = column(text, idx);
            values.extend(values.clone().into_iter().rev());
            let (freezes, frozen) = held(values.iter().copied().cycle().take(values.len() * 5));
            assert_eq!(freezes.len(), 0, "{:?}", frozen.blind_zone());
            println!("blind zone {:?}", frozen.blind_zone());
        }
    }
}

#[test]
fn polls_that_repeat_what_the_host_read_once_are_no_freeze() {
    let (mut noise, slow) = (Noise::new(8, 0.1, 0.3), Seconds::new(5.0));
    let mut frozen = Frozen::new(PLAN);
    for _ in 0..1_000 {
        assert_eq!(frozen.push(stepped(210.0 + noise.next(), 0.1), slow, Expected::Held), None);
    }
    let blind = frozen.blind_zone().unwrap();
    for _ in 0..7_200 {
        let value = stepped(210.0 + noise.next(), 0.1);
        for _ in 0..5 {
            assert_eq!(frozen.push(value, SECOND, Expected::Held), None);
        }
    }
    let last = stepped(210.0 + noise.next(), 0.1);
    let found = (0..1_000).find(|_| frozen.push(last, SECOND, Expected::Held).is_some()).unwrap();
    // To within two of the polls that were learned from.
    assert!((count(found) - blind.get()).abs() <= 10.0, "found after {found} s, said {blind:?}");
}

#[test]
fn a_value_that_had_to_move_is_found_without_any_flicker() {
    let mut frozen = Frozen::new(PLAN);
    for _ in 0..100 {
        assert_eq!(frozen.push(25.0, SECOND, Expected::Unknown), None);
    }
    assert_eq!(frozen.blind_zone(), Err(Refusal::TooFew { have: 0, need: 400 }));
    // Full duty: 1.5 K a second by the model. What is no number is no sign.
    assert_eq!(frozen.push(25.0, SECOND, Expected::Moves(1.5)), None);
    assert_eq!(frozen.push(f64::NAN, SECOND, Expected::Moves(1.5)), None);
    assert_eq!((0..2).filter_map(|_| frozen.push(25.0, SECOND, Expected::Moves(1.5))).count(), 0);
    let freeze = frozen.push(25.0, SECOND, Expected::Moves(1.5)).unwrap();
    assert!((freeze.missed - 6.0).abs() < 1e-9);
    assert_eq!(frozen.push(25.5, SECOND, Expected::Moves(1.5)), None);
}
