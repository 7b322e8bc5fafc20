//! When a standby is lowered, taken back or raised by practice, and when it is left alone.

use super::rules::{only, said};
use super::sample::Bench;
use crate::advice::{Candidate, Change, Rule};
use crate::polymer::Material;
use crate::risk::FailureMode::{Jam, Stringing, UnderExtrusion};
use crate::thermal::{AMBIENT, Heater, HeaterFit, HeaterReading, HeaterState, fit};
use crate::units::{Celsius, CelsiusDelta, Seconds};

fn standby(candidate: &Candidate) -> (Option<f64>, f64) {
    let Change::Standby(step) = candidate.change else { unreachable!("{candidate:?}") };
    (step.from.map(Celsius::get), step.to.get())
}

/// 210 → 150 → 210 °C takes 78 s and 26 s (200 s time constant, 700 K, 3.5 s dead time at 25 °C); 160 °C takes less.
#[test]
fn what_is_left_hot_is_lowered_where_its_waits_are_longer_than_cooling_and_heating() {
    let mut bench = Bench::pla();
    let there_and_back = bench.situation().round_trip(Celsius::new(150.0)).unwrap();
    assert!((there_and_back.get() - 104.0).abs() < 1.0, "{there_and_back:?}");
    bench.held.standby = Some(Celsius::new(210.0));
    bench.run(&[600.0, 30.0, 600.0], 208.0, Some(2.0));
    let candidate = only(&bench);
    assert_eq!(standby(&candidate), (Some(210.0), 160.0));
    // 200 ln(185/135), and 3.5 s + 200 ln(565/515).
    let right = 200.0 * (185.0_f64 / 135.0).ln() + 3.5 + 200.0 * (565.0_f64 / 515.0).ln();
    let Some(Rule::WaitsAreLong { round_trip }) = candidate.rule else { unreachable!("{candidate:?}") };
    assert!((round_trip.get() - right).abs() < 1e-9, "{round_trip:?}");
    assert!(candidate.modes.contains(&Jam) && candidate.modes.contains(&Stringing));

    // Nobody told a standby: the waits show that there is none, or that there is one.
    bench.held.standby = None;
    assert_eq!(standby(&only(&bench)), (Some(210.0), 160.0));
    bench.courses[0].waits.iter_mut().for_each(|wait| wait.mean = Celsius::new(180.0));
    assert_eq!(said(&bench), []);

    let mut short = Bench::pla();
    short.held.standby = Some(Celsius::new(210.0));
    short.run(&[60.0, 600.0, 60.0], 208.0, None);
    assert_eq!(said(&short), []);
    let mut shared = Bench::pla();
    (shared.is_shared, shared.held.standby) = (true, Some(Celsius::new(210.0)));
    shared.run(&[600.0], 208.0, None);
    assert_eq!(said(&shared), [], "one heater can't be lowered for one tool");
}

/// A heater that is set between 210 and 150 °C every three minutes, read every second to a tenth.
fn fitted(truth: Heater) -> HeaterFit {
    let mut state = HeaterState::new(truth, AMBIENT, Celsius::new(210.0));
    let reading = |second: u32| {
        let target = Celsius::new(if (second / 180).is_multiple_of(2) { 150.0 } else { 210.0 });
        state.advance(Seconds::new(1.0));
        state.set(target);
        let actual = Some(Celsius::new((state.actual().get() * 10.0).round() / 10.0));
        HeaterReading { actual, target: Some(target), ..HeaterReading::gap(Seconds::new(f64::from(second))) }
    };
    let readings: Vec<HeaterReading> = (0..3600).map(reading).collect();
    fit(&readings, AMBIENT).unwrap()
}

#[test]
fn waits_are_long_by_the_later_end_of_what_the_tools_own_heater_takes() {
    let mut bench = Bench::pla();
    bench.held.standby = Some(Celsius::new(210.0));
    // Half as slow as a typical one.
    let truth = Heater {
        time_constant: Seconds::new(100.0),
        cooling_constant: Seconds::new(100.0),
        gain: CelsiusDelta::new(500.0),
        ..Heater::HOT_END
    };
    let (from, to) = (Celsius::new(210.0), Celsius::new(160.0));
    let own = truth.cooling(from, to, AMBIENT).unwrap() + truth.heating(to, from, AMBIENT).unwrap();
    let typical = bench.situation().round_trip(to).unwrap();
    bench.fit = Some(fitted(truth));
    let needed = bench.situation().round_trip(to).unwrap();
    assert!(own.get() <= needed.get() && needed.get() < 0.9 * typical.get(), "{own:?} {needed:?} {typical:?}");
    bench.run(&[needed.get() - 0.1; 3], 208.0, None);
    assert_eq!(said(&bench), []);
    bench.courses.clear();
    bench.run(&[needed.get() + 0.1; 3], 208.0, None);
    assert_eq!(only(&bench).rule, Some(Rule::WaitsAreLong { round_trip: needed }));
}

#[test]
fn a_drop_stays_over_first_flow_and_is_not_made_where_there_is_no_room_for_one() {
    let lowered = |print: f64| {
        let mut bench = Bench::of(Material::Abs);
        (bench.held.print, bench.held.standby) = (Some(Celsius::new(print)), Some(Celsius::new(print)));
        bench.run(&[900.0], print, None);
        said(&bench).iter().map(|candidate| standby(candidate).1).collect::<Vec<_>>()
    };
    // ABS flows from 167 °C (Read et al. 2024): never under 180 °C.
    assert_eq!((lowered(250.0), lowered(220.0)), (vec![200.0], vec![180.0]));
    let mut bench = Bench::of(Material::Pc);
    (bench.held.print, bench.held.standby) = (Some(Celsius::new(260.0)), Some(Celsius::new(260.0)));
    bench.facts.first_flow.value = Celsius::new(240.0);
    bench.run(&[900.0], 260.0, None);
    assert_eq!(said(&bench), []);
}

#[test]
fn a_drop_that_waits_are_too_short_for_is_taken_back_and_never_to_cure_strings() {
    let mut bench = Bench::pla();
    bench.run(&[60.0; 5], 180.0, Some(25.0));
    let candidate = only(&bench);
    assert_eq!((standby(&candidate), candidate.modes), ((Some(160.0), 210.0), vec![Jam, UnderExtrusion]));
    assert!(matches!(candidate.rule, Some(Rule::WaitsAreShort { .. })));
    *bench.newest() = crate::risk::Features { restart_deficit: Some(CelsiusDelta::new(15.0)), ..*bench.newest() };
    assert_eq!(said(&bench), [], "it restarts warm enough");
    let mut other = Bench::pla();
    other.run(&[60.0; 5], 180.0, Some(25.0));
    other.held.standby = Some(Celsius::new(165.0));
    assert_eq!(said(&other), [], "no run was seen at what is in force");
}

/// A drop of 110 K jammed one person at every change.
#[test]
fn a_deep_standby_that_restarts_cold_is_raised_to_a_usual_one() {
    let mut bench = Bench::pla();
    bench.held.standby = Some(Celsius::new(100.0));
    bench.run(&[600.0; 3], 120.0, Some(40.0));
    let candidate = only(&bench);
    assert_eq!(standby(&candidate), (Some(100.0), 160.0));
    assert_eq!(candidate.rule, Some(Rule::StartsCold { deficit: CelsiusDelta::new(40.0) }));
    assert_eq!(candidate.modes, [Jam, UnderExtrusion]);
    // Too short for 100 °C and back, long enough for 160 °C.
    bench.courses[0].waits.iter_mut().for_each(|wait| wait.lasted = Seconds::new(120.0));
    assert_eq!(standby(&only(&bench)), (Some(100.0), 160.0));
    bench.held.standby = Some(Celsius::new(160.0));
    bench.newest().standby = Some(Celsius::new(160.0));
    assert_eq!(said(&bench), [], "a late reheat is no reason to wait hotter");
}
