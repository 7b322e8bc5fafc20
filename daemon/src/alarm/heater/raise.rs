//! From a heater's condition to its alarm: asks the heaters of a reading, and holds what they say against the gates.

use super::{Finding, Found, Weighed};
use crate::alarm::effect::{AlarmEffect, Subject};
use crate::alarm::gate::{Gate, Turn};
use crate::alarm::ledger::{Ledger, Moment};
use crate::entry::Reading;
use crate::tracker::ToolNow;

impl Ledger {
    /// What a reading tells of the heaters themselves.
    pub(in crate::alarm) fn weigh_heaters(
        &mut self,
        reading: &Reading,
        after_gap: bool,
        tools: &[ToolNow],
        moment: Moment,
    ) -> Vec<AlarmEffect> {
        let mut heaters = std::mem::take(&mut self.heaters);
        let tuning = |subject: Subject| self.tuning(subject);
        let facts = &self.known;
        let weighed = Weighed { reading, lasted: moment.lasted, after_gap, tools, facts, tuning: &tuning };
        let findings = heaters.weigh(&weighed);
        self.heaters = heaters;
        let mut effects = Vec::new();
        for Finding { subject, found } in findings {
            // What has never held has no gate, and needs none.
            let is_watched = self.gate(subject) != Gate::default();
            effects.extend(match found {
                Found::Fault(words) => self.follow(subject, Some(true), moment, |_| words),
                Found::AtOnce(_) if self.gate(subject).stands() => self.turn_back(subject, Some(true), moment),
                Found::AtOnce(words) => Some(self.raise(subject, moment.at, words)),
                Found::Sound if is_watched => self.turn_back(subject, Some(false), moment),
                Found::Untold if is_watched => self.turn_back(subject, None, moment),
                Found::Sound | Found::Untold => None,
            });
        }
        effects
    }

    /// A condition that does not hold, holds as before, or of which nothing is told: an alarm can only return by it.
    fn turn_back(&mut self, subject: Subject, is_true: Option<bool>, moment: Moment) -> Option<AlarmEffect> {
        match self.turn(subject, is_true, moment.lasted) {
            Turn::Return => self.end(subject, moment.at, false),
            Turn::None | Turn::Raise => None,
        }
    }
}
