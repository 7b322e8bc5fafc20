//! What a hot end over its liner's limit says: what helps depends on whether its heater heeds its set point.

use super::{Bench, START, WORKS};
use crate::alarm::{AlarmEffect, Ledger, Rule, Subject};
use crate::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, Reading, Settings, ToolNumber};
use crate::tracker::ToolNow;
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use std::sync::Arc;

/// What is to be done, of a tool polled every 10 s that was held at 210 °C.
fn action(target: f64, actuals: &[f64]) -> String {
    let mut bench = Bench::new();
    (bench.actual, bench.target) = (Some(210.0), Some(210.0));
    bench.wait(60.0);
    bench.target = Some(target);
    for actual in actuals {
        bench.actual = Some(*actual);
        if let Some(AlarmEffect::Raised { action, .. }) = bench.effects(10.0, false).pop() {
            return action;
        }
    }
    unreachable!("not raised")
}

#[test]
fn a_liner_s_words_name_the_mains_where_its_heater_runs_away_and_the_set_point_where_that_is_too_high() {
    let runaway = action(210.0, &[237.0, 264.0, 291.0, 318.0]);
    assert!(runaway.starts_with("Switch the printer off at the mains") && runaway.contains("birds"), "{runaway}");
    let set_so = action(270.0, &[237.0, 264.0, 270.0, 270.0]);
    assert!(set_so.contains("lower the tool's set point"), "{set_so}");
}

#[test]
fn a_shared_hot_end_over_its_liner_s_limit_is_one_alarm_and_goes_by_t0() {
    for (hot_end, n) in [(HotEnd::Shared, 1), (HotEnd::Separate, 2)] {
        let mut ledger = Ledger::new(hot_end, Arc::default(), Arc::default());
        let heater = Heater { actual: CentiCelsius::nearest(260.0), ..Heater::default() };
        let tool = ToolNow {
            doing: WORKS,
            actual: Some(Celsius::new(260.0)),
            target: None,
            dose: DoseMinutes::ZERO,
            limit: DoseMinutes::new(60.0),
        };
        let mut raised = Vec::new();
        for second in [0.0, 10.0, 20.0] {
            let reading = Reading {
                at: START + Seconds::new(second),
                after_gap: false,
                job: Job { state: JobState::Printing, name: None, fraction_millionths: None, byte: None },
                active_tool: Some(1),
                tools: vec![heater; 2],
                bed: None,
            };
            raised.extend(ledger.weigh(&reading, false, &[tool; 2], vec![Settings::default(); 2].iter()));
        }
        let tools: Vec<_> = raised.iter().map(|effect| effect.key().0).collect();
        let wanted: Vec<_> =
            (0..n).map(|tool| Subject { rule: Rule::OverLiner, tool: ToolNumber::new(tool) }).collect();
        assert_eq!(tools, wanted, "{hot_end:?}");
    }
}
