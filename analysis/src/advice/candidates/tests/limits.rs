//! Each limit, at its edge.

use super::sample::{Bench, Beside};
use crate::advice::{Beyond, Change, LinerKnown, PartKind, Step, may_cure, within};
use crate::polymer::{Drive, Material};
use crate::risk::{FailureMode, Features};
use crate::units::{Celsius, CubicMm, Millimetres, Seconds};

fn standby(to: f64) -> Change {
    Change::Standby(Step { from: Some(Celsius::new(160.0)), to: Celsius::new(to) })
}

fn print(from: Option<f64>, to: f64) -> Change {
    Change::PrintTemperature(Step { from: from.map(Celsius::new), to: Celsius::new(to) })
}

fn retract(to: f64) -> Change {
    Change::Retract(Step { from: None, to: Millimetres::new(to) })
}

#[test]
fn no_set_point_is_over_the_liner() {
    let mut bench = Bench::of(Material::Pc);
    bench.held.print = Some(Celsius::new(280.0));
    bench.liner = LinerKnown::Assumed;
    let over = |set: f64, rating: f64| Err(Beyond::OverLiner { set: Celsius::new(set), rating: Celsius::new(rating) });
    assert_eq!(within(&standby(250.0), &bench.situation()), Ok(()));
    assert_eq!(within(&standby(251.0), &bench.situation()), over(251.0, 250.0), "the cautious figure for PTFE");
    assert_eq!(within(&print(Some(280.0), 270.0), &bench.situation()), over(270.0, 250.0));
    bench.liner = LinerKnown::Rated(Celsius::new(275.0));
    assert_eq!(within(&print(Some(280.0), 270.0), &bench.situation()), Ok(()));
    bench.liner = LinerKnown::Absent;
    assert_eq!(within(&print(Some(280.0), 310.0), &bench.situation()), Ok(()));
}

/// PLA is printed from 190 to 220 °C.
#[test]
fn a_print_temperature_stays_in_the_usual_range_or_comes_nearer_to_it() {
    let mut bench = Bench::pla();
    bench.held.standby = Some(Celsius::new(150.0));
    let is_within = |from: Option<f64>, to: f64| {
        let mut bench = Bench::pla();
        (bench.held.print, bench.held.standby) = (from.map(Celsius::new), Some(Celsius::new(150.0)));
        within(&print(from, to), &bench.situation()).is_ok()
    };
    for (from, to) in [(None, 190.0), (Some(210.0), 220.0), (Some(240.0), 230.0), (Some(170.0), 180.0)] {
        assert!(is_within(from, to), "{from:?} → {to}");
    }
    for (from, to) in [(None, 189.0), (Some(210.0), 221.0), (Some(240.0), 241.0), (Some(240.0), 189.0)] {
        assert!(!is_within(from, to), "{from:?} → {to}");
    }
    let under_standby = print(Some(210.0), 195.0);
    bench.held.standby = Some(Celsius::new(200.0));
    assert_eq!(within(&under_standby, &bench.situation()), Err(Beyond::OverPrint { print: Celsius::new(195.0) }));
    bench.held.standby = Some(Celsius::new(210.0));
    assert_eq!(within(&under_standby, &bench.situation()), Ok(()), "what is not lowered goes along");
}

/// PLA flows from 142 °C (0.4 mm nozzle, Read et al. 2024); 210 → 140 → 210 takes 95 s and 29 s.
#[test]
fn a_standby_under_first_flow_needs_waits_with_time_to_reheat() {
    let mut bench = Bench::pla();
    assert_eq!(within(&standby(142.0), &bench.situation()), Ok(()));
    let no_time = |bench: &Bench| match within(&standby(140.0), &bench.situation()) {
        Err(Beyond::NoTimeToReheat { needed, shortest }) => (needed.unwrap().get().round(), shortest.map(Seconds::get)),
        other => unreachable!("{other:?}"),
    };
    assert_eq!(no_time(&bench), (124.0, None), "no wait was seen");
    bench.run(&[600.0, 120.0], 165.0, None);
    assert_eq!(no_time(&bench), (124.0, Some(120.0)));
    bench.courses[0].waits[1].is_followed = false;
    assert_eq!(within(&standby(140.0), &bench.situation()), Ok(()), "its last wait is not reheated from");
}

#[test]
fn a_standby_is_no_hotter_than_the_print_and_no_glass() {
    let mut bench = Bench::pla();
    bench.run(&[3600.0], 100.0, None);
    assert_eq!(within(&standby(210.0), &bench.situation()), Ok(()));
    assert_eq!(within(&standby(211.0), &bench.situation()), Err(Beyond::OverPrint { print: Celsius::new(210.0) }));
    // PLA's glass transition.
    assert_eq!(within(&standby(57.0), &bench.situation()), Ok(()));
    assert_eq!(within(&standby(56.0), &bench.situation()), Err(Beyond::Off { least: Celsius::new(57.0) }));
    let mut soft = Bench::of(Material::Tpu);
    soft.run(&[3600.0], 100.0, None);
    assert_eq!(within(&standby(25.0), &soft.situation()), Err(Beyond::Off { least: Celsius::new(25.0) }));
    bench.is_shared = true;
    assert_eq!(within(&standby(170.0), &bench.situation()), Err(Beyond::OneHeater));
}

#[test]
fn a_retraction_is_as_long_as_is_needed_and_a_millimetre_longer_if_that_was_tried() {
    let mut bench = Bench::pla();
    bench.drive = Some(Drive::LongTube);
    let is_within = |bench: &Bench, to: f64| within(&retract(to), &bench.situation()).is_ok();
    assert!(is_within(&bench, 0.0) && is_within(&bench, 6.5));
    assert!(!is_within(&bench, -0.1) && !is_within(&bench, 7.5) && !is_within(&bench, f64::NAN));
    let run = Features { retract: Some(Millimetres::new(12.0)), ..Features::of(Material::Pla) };
    bench.tried = vec![run];
    assert!(is_within(&bench, 7.5) && !is_within(&bench, 9.0));
}

#[test]
fn speeds_and_primes_stay_in_practice_and_in_what_was_tried() {
    let mut bench = Bench::pla();
    let speed = |from, to| within(&Change::RetractSpeed(Step { from, to }), &bench.situation()).is_ok();
    assert!(speed(None, 20.0) && speed(Some(40.0), 60.0) && speed(Some(100.0), 80.0) && speed(Some(5.0), 10.0));
    assert!(!speed(None, 19.0) && !speed(Some(40.0), 61.0) && !speed(Some(100.0), 110.0) && !speed(Some(5.0), 4.0));
    let prime = |bench: &Bench, to: f64| {
        within(&Change::Prime(Step { from: None, to: CubicMm::new(to) }), &bench.situation()).is_ok()
    };
    assert!(prime(&bench, 0.0) && prime(&bench, 60.0) && !prime(&bench, -1.0) && !prime(&bench, 61.0));
    bench.tried = vec![Features { prime: Some(CubicMm::new(90.0)), ..Features::of(Material::Pla) }];
    assert!(prime(&bench, 90.0) && !prime(&bench, 91.0));
}

#[test]
fn a_swap_keeps_both_liners_and_needs_to_be_known() {
    let mut bench = Bench::pla();
    let swap = Change::Material(Step { from: Some(Material::Pla), to: Material::Abs });
    let unknown = Err(Beyond::NobodyHolds { material: Material::Abs });
    assert_eq!(within(&swap, &bench.situation()), unknown);
    let rated = |rating: f64| LinerKnown::Rated(Celsius::new(rating));
    let beside = |print: f64, liner: LinerKnown| {
        let facts = Material::Abs.built_in();
        Some(Beside { facts, print: Some(Celsius::new(print)), liner, waits: [0.5, 0.5] })
    };
    bench.liner = rated(240.0);
    bench.beside = beside(240.0, rated(210.0));
    assert_eq!(within(&swap, &bench.situation()), Ok(()));
    bench.beside = beside(241.0, rated(250.0));
    let over = |set: f64, rating: f64| Err(Beyond::OverLiner { set: Celsius::new(set), rating: Celsius::new(rating) });
    assert_eq!(within(&swap, &bench.situation()), over(241.0, 240.0));
    bench.beside = beside(240.0, rated(205.0));
    assert_eq!(within(&swap, &bench.situation()), over(210.0, 205.0));
    bench.beside.as_mut().unwrap().print = None;
    assert_eq!(within(&swap, &bench.situation()), unknown);
}

#[test]
fn what_is_not_there_is_not_replaced() {
    let bench = Bench::pla();
    for change in [Change::Replace(PartKind::Liner), Change::AllMetal] {
        assert_eq!(within(&change, &bench.situation()), Err(Beyond::NoLiner));
    }
    assert_eq!(within(&Change::Replace(PartKind::Nozzle), &bench.situation()), Ok(()));
}

#[test]
fn more_heat_cures_neither_strings_nor_blobs() {
    let hotter = [
        standby(161.0),
        Change::Standby(Step { from: None, to: Celsius::new(150.0) }),
        print(Some(200.0), 205.0),
        print(None, 205.0),
        Change::Material(Step { from: Some(Material::Pla), to: Material::Abs }),
    ];
    let cooler = [
        standby(150.0),
        print(Some(205.0), 200.0),
        Change::Material(Step { from: Some(Material::Abs), to: Material::Pla }),
        retract(6.0),
    ];
    for mode in [FailureMode::Stringing, FailureMode::Blob] {
        assert!(hotter.iter().all(|change| !may_cure(change, mode)));
        assert!(cooler.iter().all(|change| may_cure(change, mode)));
    }
    for mode in [FailureMode::Jam, FailureMode::UnderExtrusion, FailureMode::Liner] {
        assert!(hotter.iter().chain(&cooler).all(|change| may_cure(change, mode)));
    }
}
