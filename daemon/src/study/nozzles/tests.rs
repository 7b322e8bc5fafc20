//! What is shown of recorded heaters whose parameters are known.

use super::*;
use crate::entry::{CentiCelsius, Heater, Job, JobState, Part, PartChange, PartEvent, Reading, ToolNumber};
use crate::study::heater_fits;
use crate::study::tests::recorded;
use dwell_analysis::thermal::{AMBIENT, Heater as Process, HeaterState};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{CelsiusDelta, Seconds};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

const START: Timestamp = Timestamp::from_ms(1_770_000_000_000);
const PRINT_LASTS: u32 = 2400;

/// From when on, s into a print, which state of job and set point.
const PHASES: [(f64, JobState, f64); 6] = [
    (f64::NEG_INFINITY, JobState::None, 0.0),
    (1200.0, JobState::Heating, 210.0),
    (1260.0, JobState::Printing, 210.0),
    (1450.0, JobState::Printing, 150.0),
    (1600.0, JobState::Printing, 210.0),
    (1800.0, JobState::Completed, 0.0),
];

/// `n` prints of a heater that is `HOT_END`, from print `changed` on another one. A poll a second, at no fixed
/// distance from the steps, read to 0.1 K.
fn prints(n: u32, changed: u32, other: Process, seed: u64) -> Vec<Reading> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut readings, mut actual) = (Vec::new(), AMBIENT);
    for print in 0..n {
        let heater = if print < changed { Process::HOT_END } else { other };
        let mut state = HeaterState::new(heater, AMBIENT, actual);
        let phases = PHASES.map(|(from, state, target)| (from + rng.random_range(0.0..1.0), state, target));
        for tenth in 0..10 * PRINT_LASTS {
            let at = f64::from(tenth) / 10.0;
            let (_, phase, target) = *phases.iter().rfind(|(from, ..)| *from <= at).unwrap();
            state.set(Celsius::new(target));
            state.advance(Seconds::new(0.1));
            if tenth % 10 != 9 {
                continue;
            }
            let read = state.actual().get() + rng.random_range(-0.3..0.3);
            let tool = Heater {
                actual: CentiCelsius::nearest((read * 10.0).round() / 10.0),
                target: CentiCelsius::nearest(target),
                ..Heater::default()
            };
            let name = (phase != JobState::None).then(|| Arc::from("lantern.gcode"));
            let second = i64::from(print * PRINT_LASTS + tenth / 10 + 1);
            readings.push(Reading {
                at: Timestamp::from_ms(START.as_ms() + 1000 * second),
                after_gap: false,
                job: Job { state: phase, name, fraction_millionths: None, byte: None },
                active_tool: Some(0),
                tools: vec![tool],
                bed: None,
            });
        }
        actual = state.actual();
    }
    readings
}

fn holds(of: &Result<Estimate, String>, truth: f64) -> bool {
    of.as_ref().is_ok_and(|of| of.low <= truth && truth <= of.high)
}

/// The tool's usual set points are not told, so that the times are those of 210 °C and 150 °C.
#[test]
fn times_of_a_recorded_heater_are_within_their_intervals_and_a_steady_one_has_not_moved() {
    let (_folder, store, _) = recorded(prints(8, 8, Process::HOT_END, 3));
    let views = nozzles(&store.reader().unwrap(), &Materials::default()).unwrap();
    assert_eq!((views.len(), views[0].printer.as_str(), views[0].tool), (1, "bench", 0));
    let told = views[0].told.as_ref().unwrap();
    let drop = told.drop.as_ref().unwrap();
    assert!(!drop.is_print_usual && !drop.is_standby_usual);
    // 200 ln(185/125) s and 3.5 s + 200 ln(575/515).
    let (down, up) = (200.0 * (185.0_f64 / 125.0).ln(), 3.5 + 200.0 * (575.0_f64 / 515.0).ln());
    for (of, truth) in [(&drop.cooling, down), (&drop.heating, up), (&drop.pays_after, down + up)] {
        assert!(holds(of, truth), "{truth}: {of:?}");
        let of = of.as_ref().unwrap();
        assert!(of.high - of.low < 0.1 * truth, "{of:?}");
    }
    assert!(holds(&told.gain, 700.0) && holds(&told.cooling_constant, 200.0), "{told:?}");
    assert_eq!((told.drift.n_before, told.drift.n_after), (4, 4));
    assert_eq!(told.drift.moved, Ok(Vec::new()));
}

#[test]
fn a_heater_whose_gain_fell_by_a_tenth_is_named_by_its_gain() {
    let weaker = Process { gain: CelsiusDelta::new(630.0), ..Process::HOT_END };
    let (_folder, store, bench) = recorded(prints(8, 4, weaker, 5));
    let moved = || {
        let views = nozzles(&store.reader().unwrap(), &Materials::default()).unwrap();
        views[0].told.as_ref().unwrap().drift.clone()
    };
    let found = moved();
    let first = found.moved.as_ref().unwrap()[0];
    assert_eq!(first.parameter, Parameter::Gain, "{found:?}");
    assert!(first.by.low <= 0.9 && 0.9 <= first.by.high && first.chance < 0.01, "{first:?}");
    // What came before a new heater is not compared with it.
    let (at, tool) = (START + Seconds::new(f64::from(7 * PRINT_LASTS)), ToolNumber::new(0).unwrap());
    let change = PartChange { at, tool, part: Part::Heater, event: PartEvent::Fitted, reason: None, note: None };
    store.record_part(&bench, &change).unwrap();
    let found = moved();
    assert!(found.moved.is_err() && found.n_before + found.n_after <= 2, "{found:?}");
}

/// In every other print the part fan blows, and the heater then cools with 120 s.
#[test]
fn a_heater_is_told_apart_with_its_part_fan_on_and_off() {
    let mut blown = prints(8, 8, Process::HOT_END, 7);
    let fast =
        Process { cooling_constant: Seconds::new(120.0), time_constant: Seconds::new(120.0), ..Process::HOT_END };
    let with_fan = prints(8, 0, fast, 8);
    for (idx, (reading, other)) in blown.iter_mut().zip(with_fan).enumerate() {
        let is_on = idx / 2400 % 2 == 1;
        if is_on {
            *reading = other;
        }
        reading.tools[0].fan_thousandths = Some(if is_on { 1000 } else { 0 });
    }
    let (_folder, store, bench) = recorded(blown);
    let reader = store.reader().unwrap();
    let views = nozzles(&reader, &Materials::default()).unwrap();
    let fans: Vec<_> = views.iter().map(|view| view.fan).collect();
    assert_eq!(fans, [Some(false), Some(true)]);
    for (view, truth) in views.iter().zip([200.0, 120.0]) {
        let found = view.told.as_ref().unwrap();
        let constant = found.cooling_constant.as_ref().unwrap();
        assert!((constant.value / truth - 1.0).abs() < 0.01 && found.n_cooldowns == 8, "{found:?}");
    }
    // A tool that waits has its fan off.
    let waiting = heater_fits(&reader, &bench).unwrap()[0].as_ref().unwrap().heater;
    assert!((waiting.cooling_constant.get() / 200.0 - 1.0).abs() < 0.01, "{waiting:?}");
}
