//! A tool's hot times, and what a part in it was used by them. Owns which times count and how much of each; what heat
//! wears is `analysis`'s.

use super::super::runs::age::{LastHot, is_from_cold};
use crate::entry::{PrinterName, ToolNumber};
use crate::store::{HotDoing, HotTime, Reader, StoreError};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_analysis::wear::wear_hours;

/// So much of a hot time may be without a temperature and is taken to have been as warm as the rest.
const UNTOLD_MAX: f64 = 0.05;
const DAY: Seconds = Seconds::minutes(1440.0);

/// A time in which a tool was hot, and that is over.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hot {
    pub(super) began: Timestamp,
    pub(super) ended: Timestamp,
    /// Of it in contact.
    pub(super) lasted: Seconds,
    /// Mean temperature.
    pub(super) mean: Option<Celsius>,
    pub(super) from_cold: bool,
}

/// What a part went through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Used {
    pub(super) hot: Seconds,
    /// Hours of wear; `None` where too much of the time no temperature was told.
    pub(super) wear_h: Option<f64>,
    /// Times heated from cold.
    pub(super) cycles: usize,
}

/// A tool's hot times in order.
#[derive(Clone, Debug)]
pub(super) struct Heat(Vec<Hot>);

impl Heat {
    /// What is recorded of a tool. A time that still lasts counts once it is over. At work the set point that was typed
    /// in stands for the temperature where none is recorded, as in old records.
    pub(super) fn of(reader: &Reader, printer: &PrinterName, tool: ToolNumber) -> Result<Self, StoreError> {
        let set: Vec<(Timestamp, Celsius)> = reader
            .settings_changes(printer)?
            .into_iter()
            .filter(|row| row.change.tool == tool)
            .filter_map(|row| Some((row.change.at, row.change.settings.print?)))
            .collect();
        let set_at = |at: Timestamp| set.iter().rev().find(|(from, _)| *from <= at).map(|(_, print)| *print);
        let (mut times, mut last) = (Vec::new(), None);
        reader.hot_times(printer, tool, |time| {
            let (end, typed) = match time.doing {
                HotDoing::Wait { end, .. } => (end, None),
                HotDoing::Work => (None, set_at(time.began)),
            };
            let HotTime { began, mean, .. } = time;
            let Some((ended, lasted)) = time.ended.zip(time.lasted) else { return };
            let from_cold = is_from_cold(last, began);
            times.push(Hot { began, ended, lasted, mean: mean.or(typed), from_cold });
            last = Some(LastHot { ended, end });
        })?;
        Ok(Self(times))
    }

    #[cfg(test)]
    pub(super) const fn new(times: Vec<Hot>) -> Self {
        Self(times)
    }

    /// When it was first hot.
    pub(super) fn first(&self) -> Option<Timestamp> {
        self.0.first().map(|time| time.began)
    }

    /// What a part went through that was in it from one instant to another. Of a time that lies partly outside as much
    /// counts as lies inside.
    pub(super) fn used(&self, from: Timestamp, to: Timestamp) -> Used {
        let (mut hot, mut untold, mut wear, mut cycles) = (Seconds::ZERO, Seconds::ZERO, 0.0, 0);
        for time in &self.0 {
            let (begins, ends) = (time.began.max(from), time.ended.min(to));
            if begins >= ends {
                continue;
            }
            cycles += usize::from(time.from_cold && time.began >= from);
            // A time that ends as it begins overlaps nothing.
            let inside = (ends - begins).get() / (time.ended - time.began).get();
            let lasted = Seconds::new(time.lasted.get() * inside);
            hot += lasted;
            match time.mean {
                Some(mean) => wear += wear_hours(lasted, mean),
                None => untold += lasted,
            }
        }
        let told = hot - untold;
        let wear_h = if hot == Seconds::ZERO {
            Some(0.0)
        } else {
            (untold.get() <= UNTOLD_MAX * hot.get()).then(|| wear * hot.get() / told.get())
        };
        Used { hot, wear_h, cycles }
    }

    /// Hours of wear of each of the last whole days before an instant, as many as lie after `since` and at most `n`;
    /// days of which no temperature is known are left out.
    pub(super) fn days(&self, since: Timestamp, until: Timestamp, n: usize) -> Vec<f64> {
        let mut days = Vec::with_capacity(n);
        let mut ends = until;
        while days.len() < n && ends - since >= DAY {
            let begins = ends - DAY;
            days.extend(self.used(begins, ends).wear_h);
            ends = begins;
        }
        days
    }
}
