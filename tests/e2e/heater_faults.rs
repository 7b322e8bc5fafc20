//! What is promised of the heaters' alarms: every fault that the simulated heaters know is found by the rule that is
//! meant for it, in bounded time, and hours in which nothing is wrong stay quiet.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]

use dwell_tests::heaters::{Raised, Scene, Watched, story};
use dwellwatch::alarm::Rule;
use dwellwatch::entry::HotEnd;
use dwellwatch::rehearsal::HeaterFault;
use dwellwatch::rehearsal::plant::Seat;

/// A fault, where it is planted, the rules of which one must find it, and within how many seconds.
type Planted = (Seat, HeaterFault, &'static [Rule], f64);

const T0: Seat = Seat::Nozzle(0);
const T1: Seat = Seat::Nozzle(1);

/// A heater that gives out is late where it was to climb, and lost where it was to hold.
const COLD: &[Rule] = &[Rule::HeatLate, Rule::HeatLost];
const COLD_BED: &[Rule] = &[Rule::BedLate, Rule::BedLost];

/// Faults that show in temperatures, found without anything learned.
const PLANTED: &[Planted] = &[
    (T0, HeaterFault::Dead, COLD, 600.0),
    (Seat::Bed, HeaterFault::Dead, COLD_BED, 1800.0),
    (T0, HeaterFault::SensorOpen, &[Rule::TempJump], 10.0),
    (Seat::Bed, HeaterFault::SensorOpen, &[Rule::BedJump], 10.0),
    (T0, HeaterFault::SensorShort, &[Rule::TempJump], 10.0),
    (T0, HeaterFault::StuckOn, &[Rule::HeatLost], 120.0),
    (Seat::Bed, HeaterFault::StuckOn, &[Rule::BedLost], 600.0),
];

/// What a loose, ageing or wrongly blown heater shows first depends on what it is at.
const UNLIKE: &[Rule] = &[Rule::DutyUnlike, Rule::HeatLate, Rule::HeatLost];

/// Faults that show beside what was learned of the heater, which takes twenty minutes of waiting.
const LEARNED: &[Planted] = &[
    (T1, HeaterFault::SensorFrozen, &[Rule::TempFrozen], 600.0),
    (T0, HeaterFault::SensorFrozen, &[Rule::TempFrozen], 600.0),
    (Seat::Bed, HeaterFault::SensorFrozen, &[Rule::BedFrozen], 600.0),
    (T1, HeaterFault::LooseSensor { share: 0.7, lag_s: 20.0 }, UNLIKE, 3600.0),
    (T1, HeaterFault::Weak(0.6), UNLIKE, 3600.0),
    (T1, HeaterFault::FanStuck, UNLIKE, 3600.0),
    (T1, HeaterFault::ToldDrift(2.0), &[Rule::TempDrift], 4.0 * 3600.0),
    (T1, HeaterFault::SensorDrift(2.0), UNLIKE, 20.0 * 3600.0),
];

/// Each fault at several instants of a job.
fn found(scene: Scene, planted: &[Planted], instants: &[f64]) {
    for (seat, fault, rules, within_s) in planted {
        for hours in instants {
            let mut watched = Watched::new(scene);
            let before = watched.watch(*hours);
            assert!(before.is_empty(), "{scene:?}: {before:?}");
            let raised = watched.until((*seat, *fault), rules, 24.0);
            let last = raised.last().unwrap_or_else(|| unreachable!("{fault:?} at {seat:?} not found by anything"));
            println!("{fault:?} {seat:?} {hours} h: {} after {:.0} s: {}", last.rule.word(), last.after_s, last.cause);
            assert!(rules.contains(&last.rule) && last.after_s <= *within_s, "{fault:?} at {seat:?}: {raised:?}");
        }
    }
}

#[test]
fn faults_that_show_in_temperatures_are_found_by_their_rules_in_time() {
    found(Scene::usual(3), PLANTED, &[0.3, 0.71, 1.4]);
}

#[test]
fn the_same_with_slow_polls_and_coarse_sensors() {
    found(Scene { every_s: 5, steps_per_k: 2.0, ..Scene::usual(4) }, PLANTED, &[0.3, 0.71, 1.4]);
}

#[test]
fn faults_that_show_beside_what_was_learned_are_found_by_their_rules_in_time() {
    found(Scene::usual(6), LEARNED, &[6.0, 6.83]);
}

#[test]
fn sound_heaters_at_work_raise_nothing() {
    let mut hours = 0.0;
    let mut raised: Vec<Raised> = Vec::new();
    for scene in Scene::all(11) {
        raised.extend(Watched::new(scene).watch(4.0));
        hours += 4.0;
    }
    let (told, of_story) = story(2, true);
    hours += told;
    raised.extend(of_story);
    println!("{} alarms in {hours:.0} quiet hours", raised.len());
    assert!(raised.is_empty(), "{raised:?}");
}

#[test]
fn a_fault_of_a_shared_heater_is_one_alarm_and_goes_by_t0() {
    let mut watched = Watched::new(Scene { hot_end: HotEnd::Shared, ..Scene::usual(5) });
    assert!(watched.watch(0.5).is_empty());
    let raised = watched.until((T1, HeaterFault::SensorOpen), &[Rule::DutyUnlike], 0.02);
    let of_jump: Vec<_> = raised.iter().filter(|raised| raised.rule == Rule::TempJump).collect();
    assert_eq!(of_jump.len(), 1, "{raised:?}");
    assert_eq!(of_jump[0].tool.unwrap().idx(), 0);
}
