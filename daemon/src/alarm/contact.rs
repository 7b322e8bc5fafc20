//! The rules of contact: a host that falls silent while a heater is hot, and one that refuses to answer. Owns since when
//! it is silent.

use super::effect::{AlarmEffect, Subject};
use super::gate::Turn;
use super::ledger::{Ledger, Moment, Words};
use super::rule::Rule;
use crate::tracker::SILENCE_MAX;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

const SILENT: Subject = Subject::of_printer(Rule::HostSilent);
const REFUSES: Subject = Subject::of_printer(Rule::HostRefuses);

/// What is known of the contact with the host.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Contact {
    /// The last reading before a silence whose alarm is not due yet.
    silent_since: Option<Timestamp>,
    /// When it was last known whether the host refuses.
    looked_at: Option<Timestamp>,
}

impl Ledger {
    /// The host has been silent since that reading, up to `now`, and that is a gap. The alarm is raised at the moment at
    /// which it was due, whenever that is noticed, so that a replay of the readings raises the same one.
    pub fn silent(&mut self, since: Timestamp, now: Timestamp) -> Option<AlarmEffect> {
        let hot = self.heat.hot().filter(|_| !self.gate(SILENT).stands());
        self.contact.silent_since = hot.is_some().then_some(since);
        let (hot, due) = (hot?, self.silence_due()?);
        if now < due {
            return None;
        }
        self.contact.silent_since = None;
        let lasted = (due - since).get();
        Some(self.raise(SILENT, due, Words {
            cause: format!("No new reading of the host for {lasted:.0} s and more; at the last, {hot}."),
            consequence: "Nobody sees whether the heaters are held: they may run away, or cook the melt that waits.",
            action: "Look at the printer itself, then at its host and the network.",
        }))
    }

    /// The last reading before a silence whose alarm is not due yet.
    #[must_use]
    pub fn silent_since(&self) -> Option<Timestamp> {
        self.contact.silent_since
    }

    /// When that alarm is due.
    #[must_use]
    pub fn silence_due(&self) -> Option<Timestamp> {
        Some(self.contact.silent_since? + SILENCE_MAX + self.tuning(SILENT).on_delay)
    }

    /// A reading has come.
    pub(super) fn heard(&mut self, moment: Moment) -> Option<AlarmEffect> {
        self.contact.silent_since = None;
        self.away(SILENT, moment)
    }

    /// The host refuses to answer, for that cause.
    pub fn refused(&mut self, at: Timestamp, cause: &str) -> Option<AlarmEffect> {
        let moment = self.look(at);
        self.follow(REFUSES, Some(true), moment, |_| Words {
            cause: format!("The host refuses to answer: {cause}."),
            consequence: "The printer is not watched.",
            action: "Put the right key under printer.headers or printer.query of the configuration, and start dwellwatch \
                     again.",
        })
    }

    /// The host no longer refuses.
    pub fn let_in(&mut self, at: Timestamp) -> Option<AlarmEffect> {
        let moment = self.look(at);
        self.away(REFUSES, moment)
    }

    fn look(&mut self, at: Timestamp) -> Moment {
        let before = self.contact.looked_at.replace(at);
        Moment { at, lasted: before.map_or(Seconds::ZERO, |before| at.max(before) - before) }
    }

    fn away(&mut self, subject: Subject, moment: Moment) -> Option<AlarmEffect> {
        match self.turn(subject, Some(false), moment.lasted) {
            Turn::Return => self.end(subject, moment.at, false),
            Turn::None | Turn::Raise => None,
        }
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, Reading};
    use std::sync::Arc;

    const AT: Timestamp = Timestamp::from_ms(1_772_438_401_000);

    fn reading(tool: f64, bed: f64) -> Reading {
        let heater = |actual| Heater { actual: CentiCelsius::nearest(actual), ..Heater::default() };
        Reading {
            at: AT,
            after_gap: false,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: vec![heater(21.0), heater(tool)],
            bed: Some(heater(bed)),
        }
    }

    fn silent(tool: f64, bed: f64) -> (Ledger, Option<AlarmEffect>) {
        let mut ledger = Ledger::new(HotEnd::Separate, Arc::default(), Arc::default());
        ledger.weigh(&reading(tool, bed), false, &[], [].iter());
        let raised = ledger.silent(AT, AT + Seconds::new(20.5));
        (ledger, raised)
    }

    #[test]
    fn silence_is_an_alarm_when_a_heater_was_hot_and_none_when_all_were_cold() {
        assert_eq!(silent(49.99, 30.0).1, None);
        let (mut ledger, raised) = silent(211.0, 30.0);
        let Some(AlarmEffect::Raised { subject, at, cause, .. }) = raised else { unreachable!("not raised") };
        assert_eq!((subject.rule, subject.tool, at), (Rule::HostSilent, None, AT + Seconds::new(20.0)));
        assert!(cause.contains("T1 at 211 °C") && !cause.contains("T0") && !cause.contains("bed"), "{cause}");
        // Said once, however long it lasts.
        assert_eq!(ledger.silent(AT, AT + Seconds::new(60.0)), None);
        let back = Moment { at: AT + Seconds::new(90.0), lasted: Seconds::ZERO };
        let returned = AlarmEffect::Returned { subject, raised: at, at: back.at, is_superseded: false };
        assert_eq!((ledger.heard(back), ledger.heard(back)), (Some(returned), None));
    }

    #[test]
    fn heat_that_is_no_longer_told_is_still_the_last_that_is_known() {
        let mut ledger = Ledger::new(HotEnd::Separate, Arc::default(), Arc::default());
        ledger.weigh(&reading(211.0, 30.0), false, &[], [].iter());
        let untold = Reading { tools: vec![Heater::default(); 2], bed: None, ..reading(0.0, 0.0) };
        ledger.weigh(&untold, false, &[], [].iter());
        let AlarmEffect::Raised { cause, .. } = ledger.silent(AT, AT + Seconds::new(21.0)).unwrap() else {
            unreachable!("not raised")
        };
        assert!(cause.contains("T1 at 211 °C"), "{cause}");
    }

    #[test]
    fn a_hot_bed_alone_is_reason_enough() {
        let AlarmEffect::Raised { cause, .. } = silent(25.0, 60.0).1.unwrap() else { unreachable!("not raised") };
        assert!(cause.contains("the bed at 60 °C"), "{cause}");
    }

    #[test]
    fn a_refusal_is_raised_at_once_and_returns_with_the_first_answer() {
        let mut ledger = Ledger::new(HotEnd::Separate, Arc::default(), Arc::default());
        let raised = ledger.refused(AT, "document state from http://127.0.0.1:9/s: host asks for a sign-in (401)");
        assert!(matches!(raised, Some(AlarmEffect::Raised { subject: REFUSES, at: AT, .. })), "{raised:?}");
        assert_eq!(ledger.refused(AT, "again"), None);
        assert!(matches!(ledger.let_in(AT), Some(AlarmEffect::Returned { .. })));
        assert_eq!(ledger.let_in(AT), None);
    }
}
