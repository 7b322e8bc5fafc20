//! When each rule speaks, what it says, and when it does not speak.

use super::sample::{Bench, Beside};
use crate::advice::{Candidate, Change, LinerKnown, PartKind, Rule, candidates};
use crate::polymer::{Drive, MELT_VOLUME, Material};
use crate::risk::FailureMode::{Jam, Liner, Stringing, UnderExtrusion};
use crate::risk::Restarts;
use crate::survival::{Posterior, Prior};
use crate::thermal::{AMBIENT, Heater, HeaterFit, HeaterReading, HeaterState, fit};
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};

/// What the rules say.
fn said(bench: &Bench) -> Vec<Candidate> {
    candidates(&bench.situation()).into_iter().filter(|candidate| candidate.rule.is_some()).collect()
}

fn only(bench: &Bench) -> Candidate {
    let said = said(bench);
    assert_eq!(said.len(), 1, "{said:?}");
    said[0].clone()
}

fn standby(candidate: &Candidate) -> (Option<f64>, f64) {
    let Change::Standby(step) = candidate.change else { unreachable!("{candidate:?}") };
    (step.from.map(Celsius::get), step.to.get())
}

fn prime(candidate: &Candidate) -> (Option<f64>, f64) {
    let Change::Prime(step) = candidate.change else { unreachable!("{candidate:?}") };
    (step.from.map(CubicMm::get), step.to.get())
}

fn retract(bench: &Bench) -> (f64, Rule) {
    let candidate = only(bench);
    let Change::Retract(step) = candidate.change else { unreachable!("{candidate:?}") };
    (step.to.get(), candidate.rule.unwrap())
}

#[test]
fn a_bench_of_which_nothing_stands_out_is_left_alone() {
    for material in Material::ALL {
        assert_eq!(said(&Bench::of(material)), [], "{material:?}");
    }
    let mut bench = Bench::pla();
    bench.run(&[600.0; 9], 165.0, Some(5.0));
    assert_eq!(said(&bench), []);
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

#[test]
fn what_restarts_cold_primes_more_than_a_smear() {
    let mut bench = Bench::pla();
    bench.run(&[600.0], 165.0, Some(30.0));
    bench.held.prime = Some(CubicMm::new(2.0));
    let candidate = only(&bench);
    assert_eq!((prime(&candidate), candidate.modes), ((Some(2.0), 15.0), vec![Jam, UnderExtrusion]));
    bench.held.prime = Some(CubicMm::new(5.0));
    assert_eq!(said(&bench), []);
    bench.held.prime = None;
    assert_eq!(said(&bench), [], "nobody told");
}

/// PLA at its usual 205 °C stores 0.26 mm3 at 30 bar and 0.92 mm3 at 80 bar in a short drive: 0.5 to 2.1 mm with its play.
#[test]
fn a_retraction_outside_of_what_is_needed_goes_to_the_nearer_end() {
    let mut bench = Bench::pla();
    bench.held.print = Some(Celsius::new(205.0));
    for (held, right) in [(6.0, 2.0), (0.2, 0.6)] {
        bench.held.retract = Some(Millimetres::new(held));
        let (to, rule) = retract(&bench);
        let Rule::RetractionOutside { low, high } = rule else { unreachable!("{rule:?}") };
        assert!((to - right).abs() < 0.11 && low.get() <= to && to <= high.get(), "{held} → {to} in {rule:?}");
    }
    bench.held.retract = Some(Millimetres::new(1.5));
    assert_eq!(said(&bench), []);
}

#[test]
fn a_drive_that_nobody_told_is_that_of_the_lengths_that_were_tried() {
    let mut bench = Bench::pla();
    bench.drive = None;
    let tried = |bench: &mut Bench, lengths: &[f64]| {
        let run = |length: &f64| crate::risk::Features {
            retract: Some(Millimetres::new(*length)),
            ..crate::risk::Features::of(Material::Pla)
        };
        bench.tried = lengths.iter().map(run).collect();
    };
    bench.held.retract = Some(Millimetres::new(6.0));
    tried(&mut bench, &[0.8, 1.2]);
    assert!(retract(&bench).0 <= 2.2, "a short drive's tool is set to a tube's length");
    tried(&mut bench, &[5.0, 6.0, 0.0]);
    assert_eq!(said(&bench), [], "no retraction at all tells of no drive");
    tried(&mut bench, &[1.0, 6.0]);
    assert_eq!(said(&bench), [], "it may be either");
    tried(&mut bench, &[]);
    assert_eq!(said(&bench), [], "its own length tells");
    bench.drive = Some(Drive::Short);
    assert!(retract(&bench).0 <= 2.2, "told is told");
}

#[test]
fn a_wall_is_for_what_lets_a_hot_end_go_in_a_run() {
    let mut bench = Bench::pla();
    bench.run(&[600.0], 165.0, None);
    bench.newest().ooze = Some(CubicMm::new(MELT_VOLUME.get() + 1.0));
    assert_eq!(said(&bench), [], "there is one");
    for held in [Some(false), None] {
        bench.held.ooze_shield = held;
        assert_eq!(only(&bench).rule, Some(Rule::Oozes), "{held:?}");
    }
    bench.newest().ooze = Some(MELT_VOLUME);
    assert_eq!(said(&bench), []);
    bench.newest().ooze = None;
    assert_eq!(said(&bench), []);
}

#[test]
fn a_print_temperature_outside_of_the_usual_comes_back_to_the_nearer_end() {
    let mut bench = Bench::pla();
    bench.held.standby = Some(Celsius::new(150.0));
    for (held, right) in [(240.0, 220.0), (180.0, 190.0)] {
        bench.held.print = Some(Celsius::new(held));
        let candidate = only(&bench);
        let Change::PrintTemperature(step) = candidate.change else { unreachable!("{candidate:?}") };
        assert_eq!(step.to, Celsius::new(right));
        assert_eq!(candidate.modes.contains(&Stringing), held > right, "{candidate:?}");
    }
}

#[test]
fn wet_filament_is_dried_and_of_untold_one_what_takes_water() {
    for material in Material::ALL {
        let mut bench = Bench::of(material);
        bench.held.dried = Some(false);
        assert_eq!(only(&bench).rule, Some(Rule::Wet), "{material:?}");
        bench.held.dried = None;
        let asks = !matches!(material, Material::Pla | Material::Other);
        assert_eq!(said(&bench).len(), usize::from(asks), "{material:?}");
    }
}

/// PLA's limit is 60 equivalent minutes.
#[test]
fn a_nozzle_is_cleaned_when_its_walls_took_more_than_the_material_stands() {
    let mut bench = Bench::pla();
    for (dose, n) in [(60.0, 0), (61.0, 1)] {
        bench.run(&[600.0], 165.0, None);
        bench.newest().stagnant = Some(DoseMinutes::new(dose));
        assert_eq!(said(&bench).len(), n, "{dose}");
    }
    assert_eq!((only(&bench).change, only(&bench).rule), (Change::Clean, Some(Rule::Stagnant)));
    bench.run(&[600.0], 165.0, None);
    bench.newest().stagnant = Some(DoseMinutes::new(3.0));
    assert_eq!(said(&bench), [], "since flushed");
}

#[test]
fn a_part_is_due_when_it_may_fail_by_more_than_is_accepted() {
    let mut bench = Bench::pla();
    let outlook = Posterior::of(&[], Prior::liner()).outlook(0.0);
    let limit = outlook.age_limit(bench.situation().accepted);
    (bench.outlook, bench.liner) = (Some(outlook), LinerKnown::Assumed);
    bench.ages.liner_wear = Some(limit * 0.99);
    assert_eq!(said(&bench), []);
    bench.ages.liner_wear = Some(limit * 1.01);
    let candidate = only(&bench);
    assert_eq!((candidate.change, candidate.rule), (Change::Replace(PartKind::Liner), Some(Rule::PartDue)));
    assert_eq!(candidate.modes[0], Liner);
    bench.liner = LinerKnown::Absent;
    assert_eq!(said(&bench), [], "there is none");
    // The middle of what is taken of nozzles is 600 hours of wear.
    for (hours, n) in [(600.0, 0), (601.0, 1)] {
        bench.ages.nozzle_hours = Some(hours);
        assert_eq!(said(&bench).len(), n, "{hours}");
    }
    assert_eq!(only(&bench).change, Change::Replace(PartKind::Nozzle));
}

#[test]
fn a_liner_gives_way_to_metal_over_its_rating_and_ptfe_over_daily_practice() {
    let stands = |print: f64, liner: LinerKnown| {
        let mut bench = Bench::of(Material::Petg);
        (bench.held.print, bench.liner) = (Some(Celsius::new(print)), liner);
        let said = said(&bench);
        said.iter().find(|candidate| candidate.change == Change::AllMetal).map(|candidate| candidate.rule.unwrap())
    };
    let over = |rating: f64| Some(Rule::OverLiner { rating: Celsius::new(rating) });
    let rated = |rating: f64| LinerKnown::Rated(Celsius::new(rating));
    assert_eq!(stands(240.0, LinerKnown::Assumed), None);
    assert_eq!(stands(245.0, LinerKnown::Assumed), over(240.0));
    assert_eq!(stands(251.0, LinerKnown::Assumed), over(250.0));
    assert_eq!(stands(235.0, rated(230.0)), over(230.0));
    assert_eq!(stands(255.0, rated(290.0)), None, "what stands that is no PTFE");
    assert_eq!(stands(255.0, LinerKnown::Absent), None);
}

#[test]
fn one_nozzle_for_all_is_as_hot_as_the_hottest_of_what_it_prints() {
    let mut bench = Bench::pla();
    (bench.is_shared, bench.liner) = (true, LinerKnown::Assumed);
    let facts = Material::Abs.built_in();
    let print = Some(Celsius::new(255.0));
    bench.beside = Some(Beside { facts, print, liner: LinerKnown::Assumed, waits: [0.5, 0.5] });
    assert_eq!(only(&bench).change, Change::AllMetal);
    bench.is_shared = false;
    assert_eq!(said(&bench), [], "its own liner is the other tool's matter");
}

/// A minute at 220 °C takes 3.4 of PLA's 60, one at 230 °C 6.1 of the 300 of ABS.
#[test]
fn the_material_that_bears_waiting_does_the_waiting() {
    let mut bench = Bench::pla();
    (bench.held.print, bench.held.standby) = (Some(Celsius::new(220.0)), Some(Celsius::new(170.0)));
    let facts = Material::Abs.built_in();
    let print = Some(Celsius::new(230.0));
    bench.beside = Some(Beside { facts, print, liner: LinerKnown::Assumed, waits: [0.9, 0.1] });
    bench.run(&[600.0], 175.0, None);
    let swaps = |bench: &Bench| {
        let found = candidates(&bench.situation()).into_iter();
        found.filter(|one| matches!(one.change, Change::Material(_))).map(|one| one.rule).collect::<Vec<_>>()
    };
    assert_eq!(swaps(&bench), [None], "the record may speak for it");
    bench.newest().restarts = Some(Restarts { dose_max: DoseMinutes::new(31.0), ..Restarts::default() });
    assert_eq!(swaps(&bench), [Some(Rule::WaitsBest)]);
    bench.beside.as_mut().unwrap().waits = [0.1, 0.9];
    assert_eq!(swaps(&bench), [], "it does so already");
    bench.beside.as_mut().unwrap().waits = [0.9, 0.1];
    bench.liner = LinerKnown::Rated(Celsius::new(225.0));
    assert_eq!(swaps(&bench), [], "its liner does not stand the other one's heat");
    bench.liner = LinerKnown::Absent;
    bench.beside.as_mut().unwrap().print = None;
    assert_eq!(swaps(&bench), [], "nobody knows how hot that one is");
}
