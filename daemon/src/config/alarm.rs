//! When what becomes an alarm, checked. Owns the ranges of delays, deadbands and bounds.

use super::fault::{Key, Wrong, within};
use super::raw::RawAlarm;
use crate::alarm::{Bound, Change, Override, Rule, Rules};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

pub(super) fn rules(key: &Key, raw: &RawAlarm) -> Result<Rules, Wrong> {
    // Below 40 °C a warm room would be an alarm; no desktop hot end goes over 500 °C. Three seconds to a day.
    let over = raw.idle_over_c.map(|over| within(&key.name("idle_over_c"), over, 40.0..=500.0, "°C")).transpose()?;
    let lasting =
        raw.idle_for_min.map(|min| within(&key.name("idle_for_min"), min, 0.05..=1440.0, "min")).transpose()?;
    let bound = over.map(|over| Bound::Over { at: Some(Celsius::new(over)), deadband: CelsiusDelta::new(3.0) });
    let change = Change { on_delay: lasting.map(Seconds::minutes), bound, ..Change::default() };
    let overrides = vec![Override { rule: Rule::IdleHot, printer: None, material: None, change }];
    Ok(Rules { overrides, ..Rules::default() })
}
