//! Which alarm of the schedule comes and which goes. Pure: what stands and what is found go in. Owns the delays between
//! what is found and what is raised.

use super::matter::{Matter, Matters};
use crate::alarm::{AlarmEffect, Rules, Subject};
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;
use std::collections::BTreeMap;

/// What identifies an alarm that stands: one at a time.
pub(in crate::schedule) type Key = (Option<PrinterName>, Subject);

/// What was found and is not raised yet, and what stands and was not found any more: since when.
#[derive(Clone, Debug, Default)]
pub(in crate::schedule) struct Standing {
    differs_since: BTreeMap<Key, Timestamp>,
}

impl Standing {
    /// The changes that make what stands agree with what was found, once it has differed for as long as the rule's
    /// tuning lets it. What is not known of a rule changes nothing.
    pub(in crate::schedule) fn settle(
        &mut self,
        stands: &[(Key, Timestamp)],
        found: Vec<Matters>,
        rules: &Rules,
        now: Timestamp,
    ) -> Vec<(Option<PrinterName>, AlarmEffect)> {
        let (mut changes, mut differing) = (Vec::new(), BTreeMap::new());
        for Matters { rule, found } in found {
            let Some(found) = found else { continue };
            let ours = stands.iter().filter(|((_, subject), _)| subject.rule == rule);
            for (key, raised) in ours.filter(|(key, _)| !found.iter().any(|matter| matter.key == *key)) {
                let since = *differing.entry(key.clone()).or_insert(self.since(key, now));
                if now - since >= rules.tuning(rule, key.0.as_ref()).off_delay {
                    changes.push((key.0.clone(), returned(key.1, *raised, now)));
                }
            }
            for matter in found.into_iter().filter(|matter| !stands.iter().any(|(key, _)| *key == matter.key)) {
                let since = *differing.entry(matter.key.clone()).or_insert(self.since(&matter.key, now));
                if now - since >= rules.tuning(rule, matter.key.0.as_ref()).on_delay {
                    changes.push(raised(matter, rules, now));
                }
            }
        }
        self.differs_since = differing;
        changes
    }

    fn since(&self, key: &Key, now: Timestamp) -> Timestamp {
        self.differs_since.get(key).copied().unwrap_or(now)
    }
}

fn returned(subject: Subject, raised: Timestamp, now: Timestamp) -> AlarmEffect {
    AlarmEffect::Returned { subject, raised, at: now.max(raised), is_superseded: false }
}

fn raised(matter: Matter, rules: &Rules, at: Timestamp) -> (Option<PrinterName>, AlarmEffect) {
    let Matter { key: (printer, subject), cause, consequence, action } = matter;
    let priority = rules.tuning(subject.rule, printer.as_ref()).priority;
    let is_suppressed = printer.as_ref().is_some_and(|printer| rules.of(printer).is_commissioning());
    (printer, AlarmEffect::Raised { subject, at, priority, is_suppressed, cause, consequence, action })
}
