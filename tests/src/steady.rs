//! A long job at one reading a second, as journal lines: noise of a few tenths, a tool change every few minutes. Owns
//! its course; the same second says the same thing every time.

use dwell_analysis::time::Timestamp;
use dwellwatch::entry::{CentiCelsius, Entry, Heater, Job, JobState, PrinterName, Reading};
use dwellwatch::journal::write_line;
use std::sync::Arc;

/// 2026-03-02T08:00:00Z.
const BEGINS_MS: i64 = 1_772_438_400_000;
/// Between two tool changes, s.
const TURN_S: i64 = 300;

/// The reading of that second.
#[must_use]
pub fn reading(second: i64) -> Reading {
    // A cheap, repeatable noise of about 0.3 K.
    let noise = |salt: i64| i32::try_from((second * 7919 + salt * 104_729) % 61 - 30).unwrap();
    let heater = |salt, target: i32| Heater {
        actual: Some(CentiCelsius::from_hundredths(target * 100 + noise(salt))),
        target: Some(CentiCelsius::from_hundredths(target * 100)),
        duty_thousandths: None,
        fan_thousandths: None,
    };
    let active = usize::from(second / TURN_S % 2 == 1);
    Reading {
        at: Timestamp::from_ms(BEGINS_MS + second * 1000),
        after_gap: false,
        job: Job {
            state: JobState::Printing,
            name: Some(Arc::from("lantern.gcode")),
            fraction_millionths: u32::try_from(second).ok(),
            byte: None,
        },
        active_tool: Some(active),
        tools: vec![heater(1, [210, 170][active]), heater(2, [190, 235][active])],
        bed: Some(heater(3, 60)),
    }
}

/// The reading of that second as a line with its end.
///
/// # Panics
/// If the name is none.
#[must_use]
pub fn line(printer: &str, second: i64) -> String {
    write_line(&PrinterName::new(printer).unwrap(), &Entry::Reading(reading(second))) + "\n"
}
