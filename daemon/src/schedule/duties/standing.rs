//! Which alarm of the schedule comes and which goes. Pure: what stands and what is found go in.

use super::matter::{Matter, Matters};
use crate::alarm::{AlarmEffect, Rules, Subject, Suppressed};
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;

/// What identifies an alarm that stands: one at a time.
pub(in crate::schedule) type Key = (Option<PrinterName>, Subject);

/// The changes that make what stands agree with what was found. What is not known of a rule changes nothing.
pub(in crate::schedule) fn settle(
    stands: &[(Key, Timestamp)],
    found: Vec<Matters>,
    rules: &Rules,
    now: Timestamp,
) -> Vec<(Option<PrinterName>, AlarmEffect)> {
    let mut changes = Vec::new();
    for Matters { rule, found } in found {
        let Some(found) = found else { continue };
        let ours = stands.iter().filter(|((_, subject), _)| subject.rule == rule);
        let gone = ours.filter(|(key, _)| !found.iter().any(|matter| matter.key == *key));
        changes.extend(gone.map(|(key, raised)| (key.0.clone(), returned(key.1, *raised, now))));
        let news = found.into_iter().filter(|matter| !stands.iter().any(|(key, _)| *key == matter.key));
        changes.extend(news.map(|matter| raised(matter, rules, now)));
    }
    changes
}

fn returned(subject: Subject, raised: Timestamp, now: Timestamp) -> AlarmEffect {
    AlarmEffect::Returned { subject, raised, at: now.max(raised), is_superseded: false }
}

fn raised(matter: Matter, rules: &Rules, at: Timestamp) -> (Option<PrinterName>, AlarmEffect) {
    let Matter { key: (printer, subject), cause, consequence, action } = matter;
    let priority = rules.tuning(subject.rule, printer.as_ref()).priority;
    let is_commissioning = printer.as_ref().is_some_and(|printer| rules.of(printer).is_commissioning());
    let suppressed = is_commissioning.then_some(Suppressed::Commissioning);
    (printer, AlarmEffect::Raised { subject, at, priority, suppressed, cause, consequence, action })
}
