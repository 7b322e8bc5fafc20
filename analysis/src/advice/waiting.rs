//! How a tool's waits compare with the time that it takes to cool and to heat again. Owns what is taken for the standby
//! in force and when a restart is cold; what follows from either stands elsewhere.

use super::situation::{Course, Situation, Wait};
use crate::risk::Features;
use crate::units::{Celsius, CelsiusDelta, Seconds};

/// Set points nearer than this are the same (common practice, no source).
pub(super) const SAME_K: f64 = 0.5;

/// A tool that nobody told a standby of, and that waits no cooler than so much under its print temperature, is not
/// lowered at all (common practice, no source: drops are 20 K and more).
const NOT_LOWERED: CelsiusDelta = CelsiusDelta::new(10.0);

/// A restart so much under print temperature risks slip or a cold plug (a proposal of the domain notes, 20 to 30 K).
const COLD: CelsiusDelta = CelsiusDelta::new(20.0);

/// The middle of these values, or the mean of both middle ones; `None` without any that is a number.
pub(super) fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    values.sort_unstable_by(f64::total_cmp);
    let middle = values.len() / 2;
    let upper = *values.get(middle)?;
    let lower = if values.len().is_multiple_of(2) { *values.get(middle - 1)? } else { upper };
    Some(f64::midpoint(lower, upper))
}

impl Situation<'_> {
    /// Waits that the tool's own turn ended.
    fn followed(&self) -> impl Iterator<Item = &Wait> {
        self.courses.iter().flat_map(|course| &course.waits).filter(|wait| wait.is_followed)
    }

    /// The shortest wait that its own turn ended.
    pub(super) fn shortest_wait(&self) -> Option<Seconds> {
        self.followed().map(|wait| wait.lasted).min_by(|a, b| a.get().total_cmp(&b.get()))
    }

    /// The standby in force: what was told, or its print temperature where its waits show that nothing lowers it.
    pub(super) fn standby(&self) -> Option<Celsius> {
        let is_hot = |print: &Celsius| {
            let usual = median(self.followed().map(|wait| wait.mean.get()));
            usual.is_some_and(|usual| Celsius::new(usual) >= *print - NOT_LOWERED)
        };
        self.held.standby.or_else(|| self.held.print.filter(is_hot))
    }

    /// Time to cool from print temperature to `to` and to heat back: the later end of a fit's interval, else what a
    /// typical heater takes. `None` where no print temperature is known, or it never gets there.
    pub(super) fn round_trip(&self, to: Celsius) -> Option<Seconds> {
        let print = self.held.print?;
        let times = self.times;
        let fitted = times.fit.and_then(|fit| fit.round_trip(print, to, fit.usual).ok());
        fitted.map(|estimate| Seconds::new(estimate.high)).or_else(|| {
            let (heater, around) = (times.heater, times.surroundings);
            Some(heater.cooling(print, to, around)? + heater.heating(to, print, around)?)
        })
    }

    /// The time to `to` and back, where most waits that its turn ended are longer.
    pub(super) fn pays(&self, to: Celsius) -> Option<Seconds> {
        let usual = median(self.followed().map(|wait| wait.lasted.get()))?;
        self.round_trip(to).filter(|needed| usual > needed.get())
    }

    /// What its newest runs show on their median.
    pub(super) fn usual(&self, read: impl Fn(&Features) -> Option<f64>) -> Option<f64> {
        median(self.courses.iter().filter_map(|course| read(&course.features)))
    }

    /// Its newest runs at the standby in force: what they show of it.
    fn courses_in_force(&self) -> impl Iterator<Item = &Course> {
        let held = self.held.standby;
        let is_same = move |of: Option<Celsius>| match (of, held) {
            (Some(of), Some(held)) => (of - held).get().abs() <= SAME_K,
            (None, None) => true,
            _ => false,
        };
        self.courses.iter().filter(move |course| is_same(course.features.standby))
    }

    /// How much too cold its runs restart at worst with the standby in force, on their median; `None` where that is not
    /// cold, or no such run was seen.
    pub(super) fn restarts_cold(&self) -> Option<CelsiusDelta> {
        let deficits = self.courses_in_force().filter_map(|course| course.features.restart_deficit);
        median(deficits.map(CelsiusDelta::get)).map(CelsiusDelta::new).filter(|usual| *usual >= COLD)
    }
}
