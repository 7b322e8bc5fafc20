//! What is promised of the heaters' alarms: every fault that the simulated heaters know is found by the rule that is
//! meant for it, in bounded time, and hours in which nothing is wrong stay quiet.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]

use dwell_tests::heaters::{LEARNED, Planted, Raised, SHOWN, Scene, T1, Watched, story};
use dwellwatch::alarm::Rule;
use dwellwatch::entry::HotEnd;
use dwellwatch::rehearsal::HeaterFault;

fn of_heaters(mut raised: Vec<Raised>) -> Vec<Raised> {
    raised.retain(Raised::is_of_heater);
    raised
}

/// Each fault at several instants of a job.
fn found(scene: Scene, planted: &[Planted], instants: &[f64]) {
    for (seat, fault, rules, within_s) in planted {
        for hours in instants {
            let mut watched = Watched::new(scene);
            let before = of_heaters(watched.watch(*hours));
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
    found(Scene::usual(3), SHOWN, &[0.3, 0.71, 1.4]);
}

#[test]
fn the_same_with_slow_polls_and_coarse_sensors() {
    found(Scene { every_s: 5, steps_per_k: 2.0, ..Scene::usual(4) }, SHOWN, &[0.3, 0.71, 1.4]);
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
        raised.extend(of_heaters(Watched::new(scene).watch(4.0)));
        hours += 4.0;
    }
    let (told, of_story) = story(2, true);
    hours += told;
    raised.extend(of_heaters(of_story));
    println!("{} alarms in {hours:.0} quiet hours", raised.len());
    assert!(raised.is_empty(), "{raised:?}");
}

#[test]
fn a_fault_of_a_shared_heater_is_one_alarm_and_goes_by_t0() {
    let mut watched = Watched::new(Scene { hot_end: HotEnd::Shared, ..Scene::usual(5) });
    assert!(of_heaters(watched.watch(0.5)).is_empty());
    let raised = watched.until((T1, HeaterFault::SensorOpen), &[Rule::DutyUnlike], 0.02);
    let of_jump: Vec<_> = raised.iter().filter(|raised| raised.rule == Rule::TempJump).collect();
    assert_eq!(of_jump.len(), 1, "{raised:?}");
    assert_eq!(of_jump[0].tool.unwrap().idx(), 0);
}
