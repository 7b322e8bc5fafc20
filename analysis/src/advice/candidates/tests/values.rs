//! Which values of a setting are asked for.

use super::sample::Bench;
use crate::advice::{Candidate, Change, LinerKnown, PartKind, candidates};
use crate::polymer::Material;
use crate::risk::FailureMode::{self, Blob, Jam, Liner, Stringing, UnderExtrusion};
use crate::risk::Features;
use crate::units::{Celsius, CubicMm, Millimetres};

/// Each value of a setting with the modes that it is meant for.
fn values(bench: &Bench, read: fn(&Change) -> Option<f64>) -> Vec<(f64, Vec<FailureMode>)> {
    let found = candidates(&bench.situation()).into_iter();
    found.filter_map(|Candidate { change, modes, .. }| Some((read(&change)?, modes))).collect()
}

fn bare(of: &[(f64, Vec<FailureMode>)]) -> Vec<f64> {
    let mut bare: Vec<f64> = of.iter().map(|(value, _)| *value).collect();
    bare.sort_by(f64::total_cmp);
    bare
}

fn standby(change: &Change) -> Option<f64> {
    if let Change::Standby(step) = change { Some(step.to.get()) } else { None }
}

fn print(change: &Change) -> Option<f64> {
    if let Change::PrintTemperature(step) = change { Some(step.to.get()) } else { None }
}

fn retract(change: &Change) -> Option<f64> {
    if let Change::Retract(step) = change { Some(step.to.get()) } else { None }
}

fn speed(change: &Change) -> Option<f64> {
    if let Change::RetractSpeed(step) = change { Some(step.to) } else { None }
}

fn prime(change: &Change) -> Option<f64> {
    if let Change::Prime(step) = change { Some(step.to.get()) } else { None }
}

fn tried(each: &[Features]) -> Bench {
    let mut bench = Bench::pla();
    bench.tried = each.to_vec();
    bench
}

const RUN: Features = Features::of(Material::Pla);

/// From 145 °C on PLA is over its first flow of 142 °C (Read et al. 2024).
#[test]
fn standbys_are_drops_that_waits_are_long_enough_for_and_what_was_tried() {
    let mut bench = Bench::pla();
    bench.held.standby = Some(Celsius::new(170.0));
    bench.run(&[600.0; 3], 175.0, None);
    assert_eq!(bare(&values(&bench, standby)), [140.0, 145.0, 150.0, 160.0, 180.0, 210.0]);
    for (value, modes) in values(&bench, standby) {
        let heats = value > 170.0;
        assert_eq!((modes.contains(&Stringing), modes.contains(&Blob)), (!heats, !heats), "{value}");
        assert!(modes.contains(&Jam) && modes.contains(&UnderExtrusion), "{value}");
    }
    // 210 → 160 → 210 °C takes 86 s.
    bench.courses[0].waits.iter_mut().for_each(|wait| wait.lasted = bench_seconds(80.0));
    assert_eq!(bare(&values(&bench, standby)), [180.0, 210.0], "too short for what is lower");
    let at = |standby: f64| Features { standby: Some(Celsius::new(standby)), ..RUN };
    bench.tried = [155.0, 155.2, 170.0, 130.0, 230.0].map(at).to_vec();
    assert_eq!(bare(&values(&bench, standby)), [155.0, 180.0, 210.0], "each once, within the limits");
}

fn bench_seconds(lasted: f64) -> crate::units::Seconds {
    crate::units::Seconds::new(lasted)
}

#[test]
fn retractions_cover_what_is_needed_and_shorter_ones_are_for_jams() {
    let bench = Bench::pla();
    let found = values(&bench, retract);
    let lengths = bare(&found);
    for right in [0.6, 1.5, 2.0] {
        assert!(lengths.contains(&right), "{right} in {lengths:?}");
    }
    assert!(lengths.iter().all(|length| (0.5..2.3).contains(length) && (length - 1.0).abs() > 0.05), "{lengths:?}");
    for (length, modes) in found {
        assert_eq!(modes, if length > 1.0 { vec![Stringing, Blob] } else { vec![Jam, UnderExtrusion] }, "{length}");
    }
}

#[test]
fn speeds_are_those_that_were_tried_and_usual_ones_where_it_is_odd() {
    let at = |speed: f64| Features { retract_mm_s: Some(speed), ..RUN };
    let mut bench = tried(&[at(30.0), at(50.0), at(90.0)]);
    bench.held.retract_mm_s = Some(30.0);
    assert_eq!(bare(&values(&bench, speed)), [50.0]);
    bench.held.retract_mm_s = Some(80.0);
    assert_eq!(bare(&values(&bench, speed)), [25.0, 30.0, 35.0, 45.0, 50.0]);
}

#[test]
fn primes_are_those_that_were_tried_and_more_where_it_restarts_cold() {
    let at = |prime: f64| Features { prime: Some(CubicMm::new(prime)), ..RUN };
    let mut bench = tried(&[at(8.0), at(20.0)]);
    bench.held.prime = Some(CubicMm::new(8.0));
    assert_eq!(values(&bench, prime), [(20.0, vec![UnderExtrusion, Jam])]);
    bench.run(&[600.0], 165.0, Some(30.0));
    assert_eq!(bare(&values(&bench, prime)), [10.0, 15.0, 20.0, 30.0]);
}

/// PLA is printed from 190 to 220 °C.
#[test]
fn print_temperatures_are_those_that_were_tried_within_the_range_and_hotter_ones_are_for_jams() {
    assert_eq!(bare(&values(&Bench::pla(), print)), Vec::<f64>::new());
    let at = |print: f64| Features { print_temperature: Some(Celsius::new(print)), ..RUN };
    let mut bench = tried(&[185.0, 195.0, 205.0, 215.0, 225.0].map(at));
    let found = values(&bench, print);
    assert_eq!(bare(&found), [195.0, 205.0, 215.0]);
    for (value, modes) in found {
        let right = if value > 210.0 { vec![Jam, UnderExtrusion] } else { vec![Stringing, Blob, Liner] };
        assert_eq!(modes, right, "{value}");
    }
    bench.liner = LinerKnown::Rated(Celsius::new(212.0));
    assert_eq!(bare(&values(&bench, print)), [195.0, 205.0]);
    bench.held.print = None;
    bench.tried = [205.0, 210.0].map(at).to_vec();
    let untold = values(&bench, print);
    assert_eq!(bare(&untold), [205.0, 210.0]);
    assert!(untold.iter().all(|(_, modes)| !modes.contains(&Stringing)), "it may be hotter than what is in force");
}

#[test]
fn a_wall_that_was_tried_a_dry_spool_and_a_new_liner_are_the_records_to_judge() {
    let has = |bench: &Bench, change: fn(&Change) -> bool| {
        let found = candidates(&bench.situation());
        found.iter().any(|one| one.rule.is_none() && change(&one.change))
    };
    let wall = |change: &Change| matches!(change, Change::OozeShield(_));
    let dry = |change: &Change| matches!(change, Change::Dried(_));
    let liner = |change: &Change| *change == Change::Replace(PartKind::Liner);
    let mut bench = Bench::pla();
    assert!(!has(&bench, wall) && !has(&bench, dry) && !has(&bench, liner));
    bench.tried = vec![Features { ooze_shield: Some(false), ..RUN }];
    bench.held.dried = None;
    bench.liner = LinerKnown::Assumed;
    assert!(has(&bench, wall) && has(&bench, dry) && !has(&bench, liner));
    bench.ages.liner_hours = Some(10.0);
    assert!(has(&bench, liner));
    bench.liner = LinerKnown::Absent;
    assert!(!has(&bench, liner));
}

#[test]
fn a_long_record_is_asked_for_values_that_cover_what_was_tried() {
    let at = |length: u16| Features { retract: Some(Millimetres::new(f64::from(length) / 50.0)), ..RUN };
    let found = bare(&values(&tried(&(0..100).map(at).collect::<Vec<_>>()), retract));
    assert!((7..12).contains(&found.len()), "{found:?}");
    assert!(found.first() == Some(&0.0) && found.last() > Some(&1.9), "{found:?}");
    assert!(found.windows(2).all(|pair| pair[1] - pair[0] < 0.45), "{found:?}");
}
