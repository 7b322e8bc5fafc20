//! What the fit refuses, and that it refuses no more than that.

use super::super::*;
use super::plants::{ALONE, PLAIN, Polls, holds, record};
use crate::estimate::Refusal;
use crate::units::{Celsius, CelsiusDelta, Seconds};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

const ALONE_POLLS: Polls = Polls { tells_duty: false, tells_beside: false, ..PLAIN };

fn recorded(changes: usize, seed: u64) -> Vec<HeaterReading> {
    record(&ALONE, Polls { changes, ..ALONE_POLLS }, &mut ChaCha8Rng::seed_from_u64(seed))
}

#[test]
fn a_steady_record_is_refused_and_so_is_one_step() {
    let steady = |at: u32| HeaterReading {
        actual: Some(Celsius::new(210.0)),
        target: Some(Celsius::new(210.0)),
        ..HeaterReading::gap(Seconds::new(f64::from(at)))
    };
    assert_eq!(fit(&(0..3000).map(steady).collect::<Vec<_>>(), AMBIENT), Err(Refusal::NoStep));
    assert_eq!(fit(&[], AMBIENT), Err(Refusal::NoStep));
    assert_eq!(fit(&recorded(2, 1), AMBIENT), Err(Refusal::TooFew { have: 1, need: 2 }));
}

/// Where climbs are hidden, the falls still tell what they do; and the other way round.
#[test]
fn falls_alone_tell_cooling_and_refuse_the_rest() {
    let whole = recorded(12, 3);
    let mut readings = whole.clone();
    let mut hidden = 0.0;
    for pair in whole.windows(2) {
        // Of each climb everything for a minute.
        let [before, after] = pair else { unreachable!() };
        if after.target > before.target {
            hidden = after.at.get() + 60.0;
        }
        if after.at.get() < hidden {
            readings.retain(|one| one.at != after.at);
        }
    }
    let found = fit(&readings, AMBIENT).unwrap();
    println!("{:?}", Parameter::ALL.map(|one| found.of(one)));
    assert!(holds(&found.of(Parameter::CoolingConstant).unwrap(), 150.0), "{:?}", found.heater);
    assert_eq!(found.of(Parameter::Gain), Err(Refusal::TooFew { have: 0, need: 2 }));
    assert_eq!(found.heater.gain, Heater::HOT_END.gain, "what is not told is a typical heater's");
    let (hot, standby) = (Celsius::new(210.0), Celsius::new(150.0));
    assert!(found.cooling(hot, standby, Beside::default()).is_ok());
    assert_eq!(found.heating(standby, hot, Beside::default()), Err(Refusal::TooFew { have: 0, need: 2 }));
}

/// Readings of 6 s in every 40 leave no step whole; a temperature that is missing here and there costs little.
#[test]
fn a_silence_cuts_and_a_missing_temperature_is_not_nought() {
    let mut whole = recorded(12, 2);
    let silent: Vec<_> = whole.iter().copied().filter(|reading| reading.at.get() % 40.0 < 6.0).collect();
    assert_eq!(fit(&silent, AMBIENT), Err(Refusal::NoStep));
    for reading in whole.iter_mut().step_by(7) {
        reading.actual = None;
    }
    let found = fit(&whole, AMBIENT).unwrap();
    assert!((found.heater.cooling_constant.get() / 150.0 - 1.0).abs() < 0.03, "{:?}", found.heater);
}

/// Polls of 15 s that always come just after the set point was raised: the dead time looks 7.5 s longer, and its
/// interval owns up to it.
#[test]
fn a_dead_time_between_slow_polls_is_no_surer_than_they_are() {
    let (mut readings, mut at) = (Vec::new(), 0.0);
    let mut told = |passed: f64, target: f64, rise: f64| {
        at += passed;
        let [actual, target] = [25.0 + rise, target].map(Celsius::new);
        readings.push(HeaterReading {
            actual: Some(actual),
            target: Some(target),
            ..HeaterReading::gap(Seconds::new(at))
        });
    };
    for _ in 0..4 {
        (0..4).for_each(|_| told(15.0, 0.0, 0.0));
        for second in 0..80 {
            let heated = f64::max(f64::from(second) - 4.0, 0.0);
            told(if second == 0 { 15.0 } else { 1.0 }, 225.0, 520.0 * (1.0 - (-heated / 150.0).exp()));
        }
        let top = 520.0 * (1.0 - (-75.0_f64 / 150.0).exp());
        (0..300).for_each(|second| told(1.0, 0.0, top * (-f64::from(second) / 150.0).exp()));
        told(15.0, 0.0, 0.0);
    }
    let dead = fit(&readings, AMBIENT).unwrap().of(Parameter::HeatingDeadTime).unwrap();
    assert!((dead.value - 11.5).abs() < 0.3, "{dead:?}");
    assert!(holds(&dead, 4.2) && !holds(&dead, 3.0), "{dead:?}");
}

/// A fan halves gain and time constant; told, the two are two heaters, and a stretch in which it changes is neither's.
#[test]
fn part_fan_on_and_off_are_two_heaters() {
    let mut blown = ALONE;
    blown.heater.time_constant = Seconds::new(80.0);
    blown.heater.cooling_constant = Seconds::new(80.0);
    blown.heater.gain = CelsiusDelta::new(300.0);
    let mut steps = Steps::new(AMBIENT);
    let mut began = 0.0;
    for (plant, fan, seed) in [(&ALONE, 0.0, 1), (&blown, 1.0, 2), (&ALONE, 0.0, 3), (&blown, 0.8, 4)] {
        let readings = record(plant, ALONE_POLLS, &mut ChaCha8Rng::seed_from_u64(seed));
        let from = began;
        for reading in readings {
            began = from + reading.at.get();
            steps.push(&HeaterReading { at: Seconds::new(began), fan: Some(fan), ..reading });
        }
    }
    let FanFits { still, blown } = steps.fit_both();
    let [still, blown] = [still, blown].map(|fit| fit.unwrap().heater);
    assert!((still.cooling_constant.get() / 150.0 - 1.0).abs() < 0.02, "{still:?}");
    assert!((blown.cooling_constant.get() / 80.0 - 1.0).abs() < 0.02, "{blown:?}");
    assert!((still.gain.get() / 520.0 - 1.0).abs() < 0.03 && (blown.gain.get() / 300.0 - 1.0).abs() < 0.03);
}

/// The closed form of a heat-up from 25 °C to a level of 210 °C with 60 s: 97.791828, 141.942304, 184.962973 and
/// 208.753480 °C after 30, 60, 120 and 300 s.
#[test]
fn heat_up_agrees_with_the_closed_form() {
    let heater = Heater {
        time_constant: Seconds::new(60.0),
        gain: CelsiusDelta::new(185.0),
        dead_time: Seconds::ZERO,
        ..Heater::HOT_END
    };
    for (after, right) in [(30.0, 97.791_828), (60.0, 141.942_304), (120.0, 184.962_973), (300.0, 208.753_480)] {
        let mut state = HeaterState::new(heater, AMBIENT, AMBIENT);
        state.set(Celsius::new(1000.0));
        state.advance(Seconds::new(after));
        assert!((state.actual().get() - right).abs() < 1e-6, "{after} s: {state:?}");
        let told = heater.heating(AMBIENT, Celsius::new(right), AMBIENT).unwrap();
        assert!((told.get() - after).abs() < 1e-4, "{told:?}");
    }
}
