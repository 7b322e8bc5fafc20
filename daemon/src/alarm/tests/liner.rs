//! What a hot end over its liner's limit says: what helps depends on whether its heater heeds its set point.

use super::Bench;
use crate::alarm::AlarmEffect;

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
