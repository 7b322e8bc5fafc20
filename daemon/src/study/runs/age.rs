//! How old a liner or a nozzle is: hours that it was hot, the same weighted by their heat, and times it was heated from
//! cold. Owns what counts as one heating.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_analysis::wear::wear_hours;

/// A tool that is colder was let go cold, see the tracker.
const COLD_UNDER: Celsius = Celsius::new(50.0);
/// From 230 °C a typical hot end has cooled below that in seven minutes; what was not seen for longer is taken to have
/// been cold.
const COOLED_AFTER: Seconds = Seconds::minutes(10.0);

/// A part's age since it was fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Age {
    pub(super) hot: Seconds,
    /// `None` once a time was hot of which no temperature is recorded.
    pub(super) wear: Option<f64>,
    pub(super) cycles: f64,
}

impl Age {
    pub(super) const NEW: Self = Self { hot: Seconds::ZERO, wear: Some(0.0), cycles: 0.0 };

    pub(super) fn hours(&self) -> f64 {
        self.hot.as_minutes() / 60.0
    }

    pub(super) fn add(&mut self, lasted: Seconds, mean: Option<Celsius>, from_cold: bool) {
        self.hot += lasted;
        self.cycles += if from_cold { 1.0 } else { 0.0 };
        if lasted > Seconds::ZERO {
            self.wear = self.wear.zip(mean).map(|(wear, mean)| wear + wear_hours(lasted, mean));
        }
    }
}

/// When a tool was last hot, and how warm it was at the end of that.
#[derive(Clone, Copy, Debug)]
pub(in crate::study) struct LastHot {
    pub(in crate::study) ended: Timestamp,
    pub(in crate::study) end: Option<Celsius>,
}

/// Whether a tool that is hot from `began` on was heated from cold.
pub(in crate::study) fn is_from_cold(last: Option<LastHot>, began: Timestamp) -> bool {
    last.is_none_or(|last| {
        last.ended < began && (last.end.is_some_and(|end| end < COLD_UNDER) || began - last.ended >= COOLED_AFTER)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tool_was_heated_from_cold_if_it_was_seen_cold_or_not_seen_for_long() {
        let began = Timestamp::from_ms(3_600_000);
        let last = |before_s: f64, end: Option<f64>| {
            let ended = Timestamp::from_ms(3_600_000) - Seconds::new(before_s);
            is_from_cold(Some(LastHot { ended, end: end.map(Celsius::new) }), began)
        };
        assert!(is_from_cold(None, began) && last(60.0, Some(44.9)) && last(600.0, Some(210.0)) && last(900.0, None));
        assert!(!last(0.0, Some(44.9)) && !last(0.0, None) && !last(599.0, Some(210.0)) && !last(599.0, None));
    }

    #[test]
    fn an_hour_without_a_temperature_leaves_the_weighted_hours_unknown_and_the_others_known() {
        let mut age = Age::NEW;
        age.add(Seconds::minutes(60.0), Some(Celsius::new(220.0)), true);
        assert_eq!(age, Age { hot: Seconds::minutes(60.0), wear: Some(1.0), cycles: 1.0 });
        age.add(Seconds::ZERO, None, false);
        assert_eq!(age.wear, Some(1.0));
        age.add(Seconds::minutes(30.0), None, false);
        assert_eq!((age.hours(), age.wear, age.cycles), (1.5, None, 1.0));
    }
}
