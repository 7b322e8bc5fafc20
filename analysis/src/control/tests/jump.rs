//! Changes that no heater can make, and those that it can.

use super::super::{Jump, JumpKind, JumpLimits, JumpSeen};
use super::noise::Noise;
use crate::thermal::Heater;
use crate::units::{Celsius, CelsiusDelta, Seconds};

const SECOND: Seconds = Seconds::new(1.0);

/// A typical heater's from the surroundings to 300 °C, twice as fast as in still air.
fn limits() -> JumpLimits {
    let Heater { gain, time_constant, cooling_constant, .. } = Heater::HOT_END;
    let (rise, fall) = (2.0 * gain.get() / time_constant.get(), 2.0 * 275.0 / cooling_constant.get());
    JumpLimits { rise, fall, noise: CelsiusDelta::new(2.0) }
}

fn seen(values: &[f64], apart: Seconds) -> Vec<JumpSeen> {
    let mut jump = Jump::default();
    values.iter().filter_map(|value| jump.push(Celsius::new(*value), apart, &limits())).collect()
}

#[test]
fn a_glitch_of_one_reading_and_a_jump_that_stays_are_told_apart() {
    let by = |kind, by| JumpSeen { kind, by: CelsiusDelta::new(by), ago: SECOND };
    assert_eq!(seen(&[210.0, 210.0, 260.0, 210.5, 210.0], SECOND), [by(JumpKind::Glitch, 50.0)]);
    assert_eq!(seen(&[210.0, 210.0, 180.0, 180.5, 181.0], SECOND), [by(JumpKind::Lasting, -30.0)]);
    assert_eq!(seen(&[210.0, 300.0, 100.0, 100.0], SECOND), [by(JumpKind::Erratic, 90.0)]);
    assert_eq!(seen(&[210.0, 210.0, 260.0], SECOND), [], "nobody knows yet whether it stays");
    assert_eq!(seen(&[210.0, 210.0, f64::NAN, 208.0, 209.0], SECOND), [], "a missing reading is no jump");
}

#[test]
fn of_two_ways_that_a_heater_could_take_the_nearer_counts() {
    let kinds = |values: &[f64]| seen(values, SECOND).iter().map(|jump| jump.kind).collect::<Vec<_>>();
    assert_eq!(kinds(&[200.0, 209.5, 206.0]), [JumpKind::Lasting]);
    assert_eq!(kinds(&[200.0, 195.0, 199.0]), [JumpKind::Glitch]);
    // Back at full duty within the two seconds that it had.
    assert_eq!(kinds(&[200.0, 260.0, 215.0]), [JumpKind::Glitch]);
}

#[test]
fn time_without_a_number_is_time_to_cool_in() {
    let mut values = vec![210.0; 3];
    values.extend([f64::NAN; 30]);
    values.extend([150.0, 149.0, 148.0]);
    assert_eq!(seen(&values, SECOND), []);
    assert_eq!(seen(&[210.0, 150.0, 149.0], SECOND).len(), 1);
}

#[test]
fn a_heater_at_full_duty_or_switched_off_never_jumps() {
    let mut noise = Noise::new(7, 0.3, 0.0);
    for apart in [0.2, 1.0, 5.0] {
        let Heater { gain, time_constant, .. } = Heater::HOT_END;
        let (mut now, mut values) = (25.0, Vec::new());
        for idx in 0..4_000 {
            let duty = if idx % 1_000 < 400 { 1.0 } else { 0.0 };
            // In front of a fan it loses twice as much.
            let tau = time_constant.get() / if idx % 2_000 < 1_000 { 1.0 } else { 2.0 };
            now += apart * (gain.get() * duty / time_constant.get() - (now - 25.0) / tau);
            now = f64::min(now, 300.0);
            values.push(now + noise.next());
        }
        assert_eq!(seen(&values, Seconds::new(apart)), []);
    }
}

#[test]
fn what_a_gap_allows_is_no_jump_and_the_blind_zone_says_how_much_that_is() {
    let (rise, fall) = limits().blind_zone(SECOND);
    let just_over = |by: f64| seen(&[200.0, 200.0 + by, 200.0 + by], SECOND).len();
    assert_eq!((just_over(rise.get() + 0.01), just_over(rise.get() - 0.01)), (1, 0));
    assert_eq!((just_over(-fall.get() - 0.01), just_over(-fall.get() + 0.01)), (1, 0));
    let mut jump = Jump::default();
    let mut push = |value, apart| jump.push(Celsius::new(value), Seconds::new(apart), &limits());
    let after_gap = [(200.0, 1.0), (120.0, 60.0), (119.0, 1.0)];
    assert!(after_gap.into_iter().all(|(value, apart)| push(value, apart).is_none()));
}
