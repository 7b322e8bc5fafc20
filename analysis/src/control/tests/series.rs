//! Shifts on two long public series with labelled windows (`tests/reference/series/SOURCES.md`): a machine's temperature,
//! a reading in 5 minutes, and a room's, one an hour.
//!
//! The plan is the one of the simulated series (600 readings to learn from, 14,400 to remember, 1,000 h of quiet), and the
//! detector reads no label. But neither series is held out: what it found in them was seen while its constants were chosen.
//! Other settings found two of the six windows, with 0.6 to 1.8 false alarms in 1,000 h. A label counts as found if a signal
//! begins within it.

use super::super::{Drift, DriftPlan, Signal};
use crate::estimate::count;
use crate::units::Seconds;

const WINDOWS: &str = include_str!("../../../../tests/reference/series/temperature_anomaly_windows.csv");
const HOUR: f64 = 3_600.0;

/// Seconds from 1 March 0000 to an instant written as 2013-12-02 21:15:00.
fn instant(text: &str) -> f64 {
    let parts: Vec<i64> = text.split(['-', ' ', ':']).map(|part| part.parse().unwrap()).collect();
    let [year, month, day, hour, minute, second] = parts[..] else { unreachable!("{text}") };
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let days = 365 * year + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + day - 1;
    f64::from(u32::try_from(days).unwrap()) * 24.0 * HOUR
        + f64::from(i32::try_from(hour * 3_600 + minute * 60 + second).unwrap())
}

/// What was found in one series.
struct Found {
    windows: Vec<bool>,
    false_alarms: usize,
    watched: f64,
}

fn watch(name: &str, text: &str, interval: f64) -> Found {
    let windows: Vec<(f64, f64)> = WINDOWS
        .lines()
        .filter_map(|line| line.strip_prefix(name)?.strip_prefix(".csv,")?.split_once(','))
        .map(|(start, end)| (instant(start), instant(end)))
        .collect();
    let plan = DriftPlan {
        learn: 600,
        step: None,
        memory: Seconds::new(14_400.0 * interval),
        quiet: Seconds::new(1_000.0 * HOUR),
    };
    let mut drift = Drift::new(plan);
    let (mut last, mut stood) = (None, None::<Signal>);
    let mut found = Found { windows: vec![false; windows.len()], false_alarms: 0, watched: 0.0 };
    for line in text.lines().skip(1) {
        let (at, value) = line.split_once(',').unwrap();
        let at = instant(at);
        let after = at - last.replace(at).unwrap_or(at);
        let signal = drift.push(value.parse().unwrap(), Seconds::new(after));
        found.watched += if drift.baseline().is_ok() { after / HOUR } else { 0.0 };
        if let (None, Some(Signal { side, size, .. })) = (stood, signal) {
            if let Some(idx) = windows.iter().position(|(start, end)| (*start..=*end).contains(&at)) {
                let (start, end) = windows[idx];
                let [late, lead] = [at - start, end - at].map(|s| s / HOUR);
                println!("{name}: window {idx}, {side:?} by {size:.1}: {late:.1} h in, {lead:.1} h before its end");
                found.windows[idx] = true;
            } else {
                println!("{name}: {side:?} by {size:.1}, of no window: {line}");
                found.false_alarms += 1;
            }
        }
        stood = signal;
    }
    let baseline = drift.baseline().unwrap();
    println!("{name}: found {:?}, {} false alarms in {:.0} h", found.windows, found.false_alarms, found.watched);
    println!("{name}: {:.4} left after {:?}", baseline.correlation, baseline.interval);
    found
}

/// Half of the windows are found, and it is told which: of the machine's the second and the fourth, of the room's the
/// second. The machine's series is nearly a random walk, with 0.998 of a deviation left a reading later, so that slow
/// shifts can't be told from its own wander. Neither series keeps its level, so that what is found hangs on how careful the
/// detector is: with a standard error less of safety two windows and 1.8 false alarms in 1,000 h, with one more two and 0.6.
#[test]
fn public_series_with_labels_are_watched_at_a_false_alarm_in_a_thousand_hours_or_less() {
    let machine =
        watch("machine_temperature", include_str!("../../../../tests/reference/series/machine_temperature.csv"), 300.0);
    let room = watch("room_temperature", include_str!("../../../../tests/reference/series/room_temperature.csv"), HOUR);
    let per_thousand = 1_000.0 * count(machine.false_alarms + room.false_alarms) / (machine.watched + room.watched);
    println!("{per_thousand:.2} false alarms in 1,000 h");
    assert_eq!((machine.windows, room.windows), (vec![false, true, false, true], vec![false, true]));
    assert!(per_thousand <= 1.0, "{per_thousand}");
}
