//! Set points that are lost on the way or once reached: how soon it is said, and which dips are waited for.

use super::{Arc, Fed, HotEnd, Ledger, Rule, Seconds, told};
use crate::alarm::{Change, Override, Rules};

/// So many readings so far apart after a minute at 210 °C, as a function of the seconds since; when what was raised.
fn after_a_minute(apart: f64, seconds: f64, actual: impl Fn(f64) -> f64) -> Vec<(f64, Rule)> {
    let held = vec![210.0; if apart < 2.0 { 60 } else { 12 }];
    let mut actuals = held.clone();
    let mut second = 0.0;
    while second < seconds {
        second += apart;
        actuals.push(actual(second));
    }
    let since = |idx: usize| f64::from(u32::try_from(idx + 1 - held.len()).unwrap_or(0)) * apart;
    told(apart, &actuals).into_iter().map(|(idx, rule)| (since(idx), rule)).collect()
}

fn dead_from(from: f64, second: f64) -> f64 {
    25.0 + (from - 25.0) * (-second / 200.0).exp()
}

fn dead(second: f64) -> f64 {
    dead_from(210.0, second)
}

#[test]
fn a_heater_that_dies_is_lost_its_on_delay_after_it_is_ten_kelvin_under() {
    for apart in [1.0, 5.0] {
        let raised = after_a_minute(apart, 120.0, dead);
        let [(second, Rule::HeatLost)] = raised[..] else { unreachable!("{raised:?}") };
        // 10 K under after 12 s.
        assert!((41.0..=50.0).contains(&second), "{apart} {second}");
    }
}

#[test]
fn a_minute_without_heat_is_told_of_though_it_comes_back() {
    let back = |second: f64| if second < 60.0 { dead(second) } else { (dead(60.0) + 2.0 * (second - 60.0)).min(210.0) };
    for apart in [1.0, 5.0] {
        let raised = after_a_minute(apart, 120.0, back);
        assert!(matches!(raised[..], [(_, Rule::HeatLost)]), "{apart} {raised:?}");
    }
    // A shorter one that went twice the bound under, and is slow to come back.
    let slow = |second: f64| if second < 30.0 { dead(second) } else { (dead(30.0) + 0.4 * (second - 30.0)).min(210.0) };
    assert!(matches!(after_a_minute(1.0, 120.0, slow)[..], [(_, Rule::HeatLost)]));
}

#[test]
fn a_heater_that_runs_away_is_told_of_within_two_polls_whatever_the_on_delay() {
    let change = Change { on_delay: Some(Seconds::new(600.0)), ..Change::default() };
    let slow = Override { rule: Rule::HeatLost, printer: None, material: None, change };
    for overrides in [Vec::new(), vec![slow]] {
        let rules = Rules { overrides, ..Rules::default() };
        let ledger = Ledger::new(HotEnd::Separate, Arc::new(rules.of_any()), Arc::default());
        let mut fed = Fed { ledger, ..Fed::new() };
        fed.go(60, |_| Some(210.0), Some(210.0));
        // Over 230 °C with the eighth.
        assert_eq!(fed.go(8, |second| Some(210.0 + 2.7 * (second + 1.0)), Some(210.0)), []);
        assert_eq!(fed.go(60, |second| Some(231.6 + 2.7 * (second + 1.0)), Some(210.0)), [Rule::HeatLost]);
    }
    let polls = after_a_minute(5.0, 60.0, |second| 210.0 + 2.7 * second);
    assert_eq!(polls, [(15.0, Rule::HeatLost)]);
    // One that stays so far over has its on-delay.
    let over = |second: f64| 210.0 + (2.7 * second).min(22.0);
    assert_eq!(after_a_minute(1.0, 30.0, over), []);
}

#[test]
fn a_heater_that_dies_on_its_way_is_lost_once_it_has_fallen_far_and_late_says_so() {
    let way = |second: f64| Some(if second < 66.0 { 30.0 + 2.5 * second } else { dead_from(195.0, second - 66.0) });
    let mut fed = Fed::new();
    fed.go(5, |_| Some(30.0), Some(0.0));
    assert_eq!(fed.go(66 + 24, way, Some(210.0)), []);
    // 20 K under after 27 s, and the on-delay.
    assert_eq!(fed.go(40, |second| way(second + 90.0), Some(210.0)), [Rule::HeatLost]);
    let causes = fed.causes(120, |second| way(second + 130.0), Some(210.0));
    assert!(causes.iter().any(|cause| cause.contains(", falling since it had reached 194 °C,")), "{causes:?}");
}

#[test]
fn a_wild_reading_on_the_way_up_is_neither_there_nor_a_highest() {
    for (apart, pace) in [(1.0, 2.0), (5.0, 2.0)] {
        for wild in [160.0, 215.0, 290.0, -15.0] {
            let up = |idx: usize| 60.0 + pace * apart * f64::from(u32::try_from(idx).unwrap_or(0));
            let mut actuals: Vec<f64> = (0..200).map(up).take_while(|actual| *actual < 210.0).collect();
            actuals[4] = wild;
            actuals.extend([210.0; 60]);
            assert_eq!(told(apart, &actuals), [], "{wild} {apart}");
        }
    }
}

#[test]
fn a_dip_under_twice_the_bound_that_flattens_and_comes_back_is_waited_for() {
    // A fan that starts: 15 K down in a quarter of a minute, flat, and back by 1 K in 6 s.
    let dip =
        |second: f64| 210.0 - if second < 15.0 { second } else { (15.0 - 0.16 * (second - 30.0).max(0.0)).max(0.0) };
    for apart in [1.0, 5.0] {
        assert_eq!(after_a_minute(apart, 180.0, dip), [], "{apart}");
    }
}
