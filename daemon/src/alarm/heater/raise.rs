//! From a heater's condition to its alarm: one gate a subject. Owns these gates.

use super::{Found, Heaters, Weighed};
use crate::alarm::effect::{AlarmEffect, Subject};
use crate::alarm::gate::{Gate, Turn};
use crate::alarm::ledger::Ledger;
use crate::entry::{HotEnd, Reading};
use crate::tracker::ToolNow;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::collections::BTreeMap;

/// The heaters of a printer, and the gates of what is asked of them.
#[derive(Clone, Debug)]
pub(in crate::alarm) struct HeaterRules {
    heaters: Heaters,
    gates: BTreeMap<Subject, Gate>,
}

impl HeaterRules {
    pub(in crate::alarm) fn new(hot_end: HotEnd) -> Self {
        Self { heaters: Heaters::new(hot_end), gates: BTreeMap::new() }
    }

    /// Only what the record holds stands.
    pub(in crate::alarm) fn reconcile(&mut self, stored: &[(Subject, Timestamp)]) {
        for (subject, gate) in &mut self.gates {
            let stands = stored.iter().any(|(held, _)| held == subject);
            if gate.stands() != stands {
                gate.resume(stands);
            }
        }
        for (subject, _) in stored {
            self.gates.entry(*subject).or_insert_with(|| {
                let mut gate = Gate::default();
                gate.resume(true);
                gate
            });
        }
    }
}

impl Ledger {
    /// What a reading tells of the heaters themselves.
    pub(in crate::alarm) fn weigh_heaters(
        &mut self,
        reading: &Reading,
        (lasted, after_gap): (Seconds, bool),
        tools: &[ToolNow],
    ) -> Vec<AlarmEffect> {
        let tuning = |subject: Subject| Self::tuned(&self.rules, &self.settings, subject);
        let facts = &self.heaters;
        let weighed = Weighed { reading, lasted, after_gap, tools, facts, tuning: &tuning };
        let mut effects = Vec::new();
        for finding in self.heater_rules.heaters.weigh(&weighed) {
            let subject = finding.subject;
            let (is_true, words) = match finding.found {
                Found::Untold => (None, None),
                Found::Sound => (Some(false), None),
                Found::Fault(words) => (Some(true), Some(words)),
            };
            let gates = &mut self.heater_rules.gates;
            // What has never held needs no gate.
            if is_true != Some(true) && !gates.contains_key(&subject) {
                continue;
            }
            let tuning = Self::tuned(&self.rules, &self.settings, subject);
            match gates.entry(subject).or_default().hold(is_true, lasted, &tuning) {
                Turn::None => {}
                Turn::Raise => effects.extend(words.and_then(|words| self.hold(subject, reading.at, |_| words))),
                Turn::Return => effects.extend(self.end(subject, reading.at)),
            }
        }
        effects
    }
}
