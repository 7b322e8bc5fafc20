//! The heaters' rules against readings made by hand: what they must not say where nothing is known.

mod hold;

use super::*;
use crate::alarm::{AlarmEffect, Ledger};
use crate::entry::{CentiCelsius, Job, JobState};
use dwell_analysis::time::Timestamp;
use std::sync::Arc;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

/// A ledger of one tool, fed by second, temperature and set point.
struct Fed {
    ledger: Ledger,
    second: f64,
}

impl Fed {
    fn new() -> Self {
        Self { ledger: Ledger::new(HotEnd::Separate, Arc::default(), Arc::default()), second: 0.0 }
    }

    fn effects(&mut self, actual: Option<f64>, target: Option<f64>, after_gap: bool) -> Vec<AlarmEffect> {
        let degrees = |value: Option<f64>| value.and_then(CentiCelsius::nearest);
        let tool = Heater { actual: degrees(actual), target: degrees(target), ..Heater::default() };
        let reading = Reading {
            at: START + Seconds::new(self.second),
            after_gap,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: vec![tool],
            bed: None,
        };
        self.ledger.weigh(&reading, after_gap, &[], std::iter::empty())
    }

    fn read(&mut self, actual: Option<f64>, target: Option<f64>, after_gap: bool) -> Vec<Rule> {
        let raised = self.effects(actual, target, after_gap);
        let rule = |effect| match effect {
            // Hot with no print is another family's.
            AlarmEffect::Raised { subject, .. } => Some(subject.rule).filter(|rule| *rule != Rule::HotNoPrint),
            AlarmEffect::Returned { .. } => None,
        };
        raised.into_iter().filter_map(rule).collect()
    }

    /// The causes of what is raised, second by second for so long.
    fn causes(&mut self, seconds: u32, actual: impl Fn(f64) -> Option<f64>, target: Option<f64>) -> Vec<String> {
        let mut causes = Vec::new();
        for second in 0..seconds {
            self.second += 1.0;
            causes.extend(self.effects(actual(f64::from(second)), target, false).into_iter().filter_map(cause));
        }
        causes
    }

    /// Second by second for so long, the temperature by the time since.
    fn go(&mut self, seconds: u32, actual: impl Fn(f64) -> Option<f64>, target: Option<f64>) -> Vec<Rule> {
        let mut raised = Vec::new();
        for second in 0..seconds {
            self.second += 1.0;
            raised.extend(self.read(actual(f64::from(second)), target, false));
        }
        raised
    }
}

#[test]
fn a_set_point_that_is_not_reached_is_late_once_and_anew_after_it_was_moved() {
    let mut fed = Fed::new();
    fed.go(5, |_| Some(25.0), Some(0.0));
    // Three times 200 ln(700/520), the time to 205 °C, and 20 s: 198 s.
    assert_eq!(fed.go(195, |_| Some(25.0), Some(210.0)), []);
    assert_eq!(fed.go(300, |_| Some(25.0), Some(210.0)), [Rule::HeatLate]);
    // The set point is moved: it has all the time again, and the old alarm returns.
    assert_eq!(fed.go(180, |_| Some(25.0), Some(200.0)), []);
    assert_eq!(fed.go(60, |_| Some(25.0), Some(200.0)), [Rule::HeatLate]);
}

#[test]
fn what_is_not_told_raises_nothing_however_long() {
    let mut fed = Fed::new();
    assert_eq!(fed.go(600, |_| Some(25.0), None), []);
    assert_eq!(fed.go(600, |_| None, Some(210.0)), []);
    // Held, and then without a word for ten minutes: no time has passed for or against.
    assert_eq!(fed.go(60, |_| Some(210.0), Some(210.0)), []);
    assert_eq!(fed.go(600, |_| None, None), []);
    assert_eq!(fed.go(1, |_| Some(210.0), Some(210.0)), []);
}

#[test]
fn a_gap_is_no_jump_no_loss_and_no_time() {
    let mut fed = Fed::new();
    assert_eq!(fed.go(60, |_| Some(210.0), Some(210.0)), []);
    fed.second += 3600.0;
    // Switched off and on again meanwhile: it climbs anew.
    assert_eq!(fed.read(Some(40.0), Some(210.0), true), []);
    assert_eq!(fed.go(120, |second| Some(40.0 + 1.5 * second), Some(210.0)), []);
    assert_eq!(fed.go(60, |_| Some(210.0), Some(210.0)), []);
    // The same fall without a gap is a jump.
    assert_eq!(fed.go(2, |_| Some(40.0), Some(210.0)), [Rule::TempJump]);
}

fn cause(effect: AlarmEffect) -> Option<String> {
    if let AlarmEffect::Raised { cause, .. } = effect { Some(cause) } else { None }
}

/// What temperatures so many seconds apart raise, and with which reading.
fn told(apart: f64, actuals: &[f64]) -> Vec<(usize, Rule)> {
    let mut fed = Fed::new();
    let mut raised = Vec::new();
    for (idx, actual) in actuals.iter().enumerate() {
        fed.second += apart;
        raised.extend(fed.read(Some(*actual), Some(210.0), false).into_iter().map(|rule| (idx, rule)));
    }
    raised
}

#[test]
fn a_single_wild_reading_calls_nobody_and_a_second_one_within_a_minute_does() {
    for apart in [1.0, 5.0] {
        for wild in [-15.0, 60.0, 290.0, 999.0] {
            let mut actuals = vec![210.0, 210.4, wild, 209.8];
            assert_eq!(told(apart, &actuals), [], "{wild} {apart}");
            actuals.extend([210.0, 210.4, 210.0, wild, 210.2]);
            assert_eq!(told(apart, &actuals), [(8, Rule::TempJump)], "{wild} {apart}");
            let late = [vec![210.0, wild], [210.0, 210.4].repeat(35), vec![wild, 210.0]].concat();
            assert_eq!(told(apart, &late), [], "{wild} {apart}");
        }
    }
    let mut fed = Fed::new();
    assert_eq!(fed.go(1, |_| Some(-15.0), Some(210.0)), [], "the first reading of all");
}

#[test]
fn a_single_wild_reading_on_the_way_up_or_down_is_no_arrival_and_no_turn() {
    for wild in [-15.0, 400.0, 999.0] {
        let at = |second: f64, sound: f64| Some(if (second - 20.0).abs() < 0.5 { wild } else { sound });
        let mut fed = Fed::new();
        assert_eq!(fed.go(90, |second| at(second, 25.0 + 2.0 * second), Some(210.0)), [], "climbing, {wild}");
        let mut fed = Fed::new();
        fed.go(60, |_| Some(210.0), Some(210.0));
        let cooling = |second: f64| at(second, 25.0 + 185.0 * (-second / 300.0).exp());
        assert_eq!(fed.go(300, cooling, Some(0.0)), [], "cooling, {wild}");
    }
}

#[test]
fn an_open_sensor_and_one_that_tells_now_this_and_now_that_are_found_with_the_second_poll() {
    for apart in [1.0, 5.0] {
        for [first, second] in [[-15.0, -15.0], [999.0, 999.0], [60.0, 59.0], [60.0, 400.0], [-15.0, 100.0]] {
            let raised = told(apart, &[210.0, 210.4, first, second]);
            assert_eq!(raised, [(3, Rule::TempJump)], "{first} {second} {apart}");
        }
    }
}

#[test]
fn a_jump_is_told_from_what_a_heater_can_do_at_the_edges_that_are_documented() {
    let by = |apart, by| told(apart, &[200.0, 200.4, 200.4 + by, 200.4 + by]).len();
    for (apart, up, down) in [(1.0, 23.0, 19.0), (5.0, 55.0, 35.0)] {
        assert_eq!((by(apart, up - 0.1), by(apart, up + 0.1)), (0, 1), "{apart}");
        assert_eq!((by(apart, 0.1 - down), by(apart, -0.1 - down)), (0, 1), "{apart}");
    }
}

#[test]
fn a_lowered_set_point_is_not_lost_while_it_cools_and_is_when_it_does_not() {
    let cooling = |second: f64| Some(25.0 + 185.0 * (-second / 300.0).exp());
    let mut fed = Fed::new();
    fed.go(60, |_| Some(210.0), Some(210.0));
    assert_eq!(fed.go(900, cooling, Some(150.0)), [Rule::HeatLost], "under 140 °C it is lost, and not before");
    let mut fed = Fed::new();
    fed.go(60, |_| Some(210.0), Some(210.0));
    assert_eq!(fed.go(3600, cooling, Some(0.0)), []);
    // Off, and as hot as ever: three times 200 ln(185/139), the time for a quarter of its rise, 20 s and the on-delay.
    let mut fed = Fed::new();
    fed.go(60, |_| Some(210.0), Some(210.0));
    assert_eq!(fed.go(210, |_| Some(209.0), Some(0.0)), []);
    assert_eq!(fed.go(60, |_| Some(209.0), Some(0.0)), [Rule::HeatLost]);
}

#[test]
fn a_host_that_repeats_its_answer_is_no_frozen_sensor_and_no_jump() {
    let mut fed = Fed::new();
    // One tool, and nothing else in the reading: whatever repeats may be the host.
    assert_eq!(fed.go(600, |second| Some(210.0 + (second * 0.7).sin()), Some(210.0)), []);
    assert_eq!(fed.go(3600, |_| Some(210.0), Some(210.0)), []);
    // Told anew every eight seconds on a steep climb.
    let told = |second: f64| Some(25.0 + 3.5 * 8.0 * (second / 8.0).floor());
    let mut fed = Fed::new();
    assert_eq!(fed.go(50, told, Some(210.0)), []);
}

#[test]
fn a_restart_forgets_what_was_learned_and_raises_nothing_by_that() {
    let mut fed = Fed::new();
    fed.go(60, |_| Some(210.0), Some(210.0));
    assert_eq!(fed.go(120, |_| Some(150.0), Some(210.0)), [Rule::TempJump, Rule::HeatLost]);
    let lost = Subject { rule: Rule::HeatLost, tool: ToolNumber::new(0) };
    // Another ledger that finds the alarm standing in the record says nothing of it again, and lets it return.
    let mut again = Fed { second: fed.second, ..Fed::new() };
    again.ledger.reconcile(&[(lost, START)], &[]);
    assert_eq!(again.go(50, |_| Some(150.0), Some(210.0)), []);
    let mut returned = 0;
    for _ in 0..120 {
        again.second += 1.0;
        let reading = Reading {
            at: START + Seconds::new(again.second),
            after_gap: false,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: vec![Heater {
                actual: CentiCelsius::nearest(210.0),
                target: CentiCelsius::nearest(210.0),
                ..Heater::default()
            }],
            bed: None,
        };
        let effects = again.ledger.weigh(&reading, false, &[], std::iter::empty());
        returned += effects.iter().filter(|effect| effect.key() == (lost, START) && !effect.is_raise()).count();
    }
    assert_eq!(returned, 1);
}
