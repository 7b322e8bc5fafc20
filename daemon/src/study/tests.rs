//! What a record of a known heater and of known times comes to.

use super::{heater_fits, pace};
use crate::alarm::IdleHotRule;
use crate::entry::{CentiCelsius, Entry, Heater, Job, JobState, PrinterName, Reading};
use crate::replay::Replay;
use crate::store::Store;
use dwell_analysis::estimate::Refusal;
use dwell_analysis::thermal::{AMBIENT, Heater as Process, HeaterState};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use std::collections::HashMap;
use std::sync::Arc;

/// Prints that warm a tool of a known heater from cold, work for two minutes and let it cool; a poll a second. In the
/// print numbered `gap` the host is away for a minute.
fn prints(n: usize, gap: usize) -> Vec<Reading> {
    let mut state = HeaterState::new(Process::HOT_END, AMBIENT, AMBIENT);
    let (mut readings, mut second) = (Vec::new(), 0_u32);
    for print in 0..n {
        let warming = 2000..2060;
        let phases = [(JobState::None, 0..2000), (JobState::Heating, warming), (JobState::Printing, 2060..2180)];
        for (phase, seconds) in phases.into_iter().chain([(JobState::Completed, 2180..2400)]) {
            let target = if matches!(phase, JobState::Heating | JobState::Printing) { 210.0 } else { 0.0 };
            for at in seconds {
                state.set(Celsius::new(target));
                state.advance(Seconds::new(1.0));
                second += 1;
                if print == gap && (2100..2160).contains(&at) {
                    continue;
                }
                let tool = Heater {
                    actual: CentiCelsius::nearest(state.actual().get()),
                    target: CentiCelsius::nearest(target),
                    duty_thousandths: None,
                };
                let name = (phase != JobState::None).then(|| Arc::from("lantern.gcode"));
                let job = Job { state: phase, name, fraction_millionths: None, byte: None };
                let at = Timestamp::from_ms(1_770_000_000_000 + 1000 * i64::from(second));
                readings.push(Reading {
                    at,
                    after_gap: false,
                    job,
                    active_tool: Some(0),
                    tools: vec![tool],
                    bed: None,
                });
            }
        }
    }
    readings
}

fn recorded(readings: Vec<Reading>) -> (tempfile::TempDir, Store, PrinterName) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_bulk(&folder.path().join("record.db")).unwrap();
    let bench = PrinterName::new("bench").unwrap();
    let mut replay = Replay::new(&store, IdleHotRule::default(), HashMap::new());
    for reading in readings {
        replay.take(&bench, Entry::Reading(reading)).unwrap();
    }
    replay.finish().unwrap();
    (folder, store, bench)
}

#[test]
fn stored_readings_give_back_the_heater_that_made_them() {
    let (_folder, store, bench) = recorded(prints(4, 9));
    let found = heater_fits(&store.reader().unwrap(), &bench).unwrap()[0].unwrap();
    assert_eq!((found.n_cooldowns, found.n_heatups), (4, 4));
    assert!((found.time_constant.value / 200.0 - 1.0).abs() < 0.01, "{found:?}");
    assert!((found.gain.value / 700.0 - 1.0).abs() < 0.01, "{found:?}");
    // A reading is taken a second after its set point came, so the step is placed half a second early.
    assert!((found.dead_time.value - 3.5).abs() < 1.0, "{found:?}");
}

#[test]
fn pace_counts_prints_that_were_seen_whole_and_told_what_to_expect() {
    let (_folder, store, bench) = recorded(prints(6, 2));
    let reader = store.reader().unwrap();
    let found = pace(&reader, &bench, |_| Some(Seconds::new(100.0))).unwrap().unwrap();
    assert!(found.n == 5 && (found.value - 1.2).abs() < 0.011, "{found:?}");
    assert_eq!(pace(&reader, &bench, |_| None).unwrap(), Err(Refusal::TooFew { have: 0, need: 5 }));
}
