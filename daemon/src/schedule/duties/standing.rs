//! Which alarm of the schedule comes and which goes. Owns the delays between looks, which begin anew with a restart; what
//! stands and what is found go in.

use super::matter::{Matter, Matters};
use crate::alarm::{AlarmEffect, Gate, Rules, Subject, Suppressed, Turn};
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::collections::BTreeMap;

/// What identifies an alarm that stands: one at a time.
pub(in crate::schedule) type Key = (Option<PrinterName>, Subject);

/// What was found at each look, as far as a delay runs. A condition that was found at two looks held between them.
#[derive(Debug, Default)]
pub(in crate::schedule) struct Standing {
    gates: BTreeMap<Key, Gate>,
    looked: Option<Timestamp>,
}

impl Standing {
    /// The changes that make what stands agree with what was found, once that has been so for as long as the rules want.
    /// What is not known of a rule changes nothing.
    pub(in crate::schedule) fn settle(
        &mut self,
        stands: &[(Key, Timestamp)],
        found: Vec<Matters>,
        rules: &Rules,
        now: Timestamp,
    ) -> Vec<(Option<PrinterName>, AlarmEffect)> {
        let lasted = self.looked.replace(now).map_or(Seconds::ZERO, |looked| now.max(looked) - looked);
        let mut changes = Vec::new();
        for Matters { rule, found } in found {
            let ours = stands.iter().filter(|((_, subject), _)| subject.rule == rule).map(|(key, _)| key);
            let asked = self.gates.keys().filter(|(_, subject)| subject.rule == rule);
            let asked = asked.chain(ours).chain(found.iter().flatten().map(|matter| &matter.key));
            let mut asked: Vec<Key> = asked.cloned().collect();
            asked.sort();
            asked.dedup();
            for key in asked {
                let raised = stands.iter().find(|(own, _)| *own == key).map(|(_, raised)| *raised);
                let matter = found.iter().flatten().find(|matter| matter.key == key);
                let is_true = found.is_some().then_some(matter.is_some());
                match (self.turn(&key, raised.is_some(), is_true, lasted, rules), matter, raised) {
                    (Turn::Raise, Some(matter), _) => changes.push(raise(matter.clone(), rules, now)),
                    (Turn::Return, _, Some(raised)) => changes.push((key.0.clone(), returned(key.1, raised, now))),
                    (Turn::Raise | Turn::Return | Turn::None, ..) => {}
                }
            }
        }
        self.gates.retain(|_, gate| gate.stands() || gate.is_turning());
        changes
    }

    /// Whether a delay runs, so that the next look may bring a change though nothing new is found.
    pub(in crate::schedule) fn is_turning(&self) -> bool {
        self.gates.values().any(Gate::is_turning)
    }

    fn turn(&mut self, key: &Key, stands: bool, is_true: Option<bool>, lasted: Seconds, rules: &Rules) -> Turn {
        let gate = self.gates.entry(key.clone()).or_default();
        // The record has the last word: what a gate let through may not have got into it.
        if gate.stands() != stands {
            gate.resume(stands);
        }
        gate.hold(is_true, lasted, &rules.tuning(key.1.rule, key.0.as_ref()))
    }
}

fn returned(subject: Subject, raised: Timestamp, now: Timestamp) -> AlarmEffect {
    AlarmEffect::Returned { subject, raised, at: now.max(raised), is_superseded: false }
}

fn raise(matter: Matter, rules: &Rules, at: Timestamp) -> (Option<PrinterName>, AlarmEffect) {
    let Matter { key: (printer, subject), cause, consequence, action } = matter;
    let priority = rules.tuning(subject.rule, printer.as_ref()).priority;
    let is_commissioning = printer.as_ref().is_some_and(|printer| rules.of(printer).is_commissioning());
    let suppressed = is_commissioning.then_some(Suppressed::Commissioning);
    (printer, AlarmEffect::Raised { subject, at, priority, suppressed, cause, consequence, action })
}
