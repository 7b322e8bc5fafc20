//! The rules of contact: a host that falls silent while a heater is hot, and one that refuses to answer. Owns what of a
//! reading counts as hot.

use super::effect::{AlarmEffect, Subject};
use super::ledger::{Ledger, Words};
use super::rule::Rule;
use crate::entry::{CentiCelsius, Heater, Reading, ToolNumber};
use crate::tracker::SILENCE_MAX;
use dwell_analysis::time::Timestamp;

/// A heater that is over this, or is to be, is hot: under it nothing softens and nobody is burnt (common practice, no
/// source).
const HOT_FROM: CentiCelsius = CentiCelsius::from_hundredths(50_00);

/// The heaters at one reading.
#[derive(Clone, Debug, Default)]
pub(super) struct Heat {
    tools: Vec<Heater>,
    bed: Option<Heater>,
}

impl Heat {
    /// Takes over what a reading tells. A heater of which it tells nothing stays as it was last known: with several
    /// documents, temperatures often go before the rest does.
    pub(super) fn note(&mut self, reading: &Reading) {
        self.tools.resize(self.tools.len().max(reading.tools.len()), Heater::default());
        for (held, told) in self.tools.iter_mut().zip(&reading.tools).filter(|(_, told)| is_told(told)) {
            *held = *told;
        }
        self.bed = reading.bed.filter(is_told).or(self.bed);
    }

    /// What was hot, in words; `None` when nothing was.
    fn told(&self) -> Option<String> {
        let tool = |(idx, heater)| (ToolNumber::new(idx).map_or_else(String::new, |tool| tool.to_string()), heater);
        let tools = self.tools.iter().enumerate().map(tool);
        let bed = self.bed.iter().map(|bed| ("the bed".to_owned(), bed));
        let hot = tools.chain(bed).filter(|(_, heater)| is_hot(heater));
        let words: Vec<String> = hot.map(|(name, heater)| told(&name, heater)).collect();
        (!words.is_empty()).then(|| words.join("; "))
    }
}

fn is_told(heater: &Heater) -> bool {
    heater.actual.is_some() || heater.target.is_some()
}

fn is_hot(heater: &Heater) -> bool {
    [heater.actual, heater.target].into_iter().flatten().any(|degrees| degrees >= HOT_FROM)
}

fn told(name: &str, heater: &Heater) -> String {
    let whole = |degrees: CentiCelsius| format!("{:.0} °C", degrees.celsius().get());
    match (heater.actual.map(whole), heater.target.map(whole)) {
        (Some(actual), Some(target)) => format!("{name} was at {actual}, set to {target}"),
        (Some(actual), None) => format!("{name} was at {actual}"),
        (None, Some(target)) => format!("{name} was set to {target}"),
        (None, None) => format!("{name} told nothing"),
    }
}

const SILENT: Subject = Subject { rule: Rule::HostSilent, tool: None };
const REFUSES: Subject = Subject { rule: Rule::HostRefuses, tool: None };

impl Ledger {
    /// The host has been silent since that reading, for longer than is allowed. The alarm is raised at the moment the
    /// silence became a gap, so that a replay of the readings raises the same one.
    pub fn silent(&mut self, since: Timestamp) -> Option<AlarmEffect> {
        let hot = self.heat.told()?;
        self.hold(SILENT, since + SILENCE_MAX, |_| Words {
            cause: format!("No new reading of the host for {:.0} s and more; at the last, {}.", SILENCE_MAX.get(), hot),
            consequence: "Nobody sees whether the heaters are held: they may run away, or cook the melt that waits.",
            action: "Look at the printer itself, then at its host and the network.",
        })
    }

    /// The host answers again.
    pub fn heard(&mut self, at: Timestamp) -> Option<AlarmEffect> {
        self.end(SILENT, at)
    }

    /// The host refuses to answer, for that cause.
    pub fn refused(&mut self, at: Timestamp, cause: &str) -> Option<AlarmEffect> {
        self.hold(REFUSES, at, |_| Words {
            cause: format!("The host refuses to answer: {cause}."),
            consequence: "The printer is not watched.",
            action: "Put the right key under printer.headers or printer.query of the configuration, and start dwellwatch again.",
        })
    }

    /// The host no longer refuses.
    pub fn let_in(&mut self, at: Timestamp) -> Option<AlarmEffect> {
        self.end(REFUSES, at)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{Job, JobState};
    use dwell_analysis::units::Seconds;
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
        let mut ledger = Ledger::new(Arc::default(), Arc::default(), &[]);
        ledger.weigh(&reading(tool, bed), false, &[]);
        let raised = ledger.silent(AT);
        (ledger, raised)
    }

    #[test]
    fn silence_is_an_alarm_when_a_heater_was_hot_and_none_when_all_were_cold() {
        assert_eq!(silent(49.99, 30.0).1, None);
        let (mut ledger, raised) = silent(211.0, 30.0);
        let Some(AlarmEffect::Raised { subject, at, cause, .. }) = raised else { unreachable!("not raised") };
        assert_eq!((subject.rule, subject.tool, at), (Rule::HostSilent, None, AT + Seconds::new(20.0)));
        assert!(cause.contains("T1 was at 211 °C") && !cause.contains("T0") && !cause.contains("bed"), "{cause}");
        // Said once, however long it lasts.
        assert_eq!(ledger.silent(AT), None);
        let back = AT + Seconds::new(90.0);
        let returned = AlarmEffect::Returned { subject, raised: at, at: back, is_superseded: false };
        assert_eq!((ledger.heard(back), ledger.heard(back)), (Some(returned), None));
    }

    #[test]
    fn heat_that_is_no_longer_told_is_still_the_last_that_is_known() {
        let mut ledger = Ledger::new(Arc::default(), Arc::default(), &[]);
        ledger.weigh(&reading(211.0, 30.0), false, &[]);
        let untold = Reading { tools: vec![Heater::default(); 2], bed: None, ..reading(0.0, 0.0) };
        ledger.weigh(&untold, false, &[]);
        let AlarmEffect::Raised { cause, .. } = ledger.silent(AT).unwrap() else { unreachable!("not raised") };
        assert!(cause.contains("T1 was at 211 °C"), "{cause}");
    }

    #[test]
    fn a_hot_bed_alone_is_reason_enough() {
        let AlarmEffect::Raised { cause, .. } = silent(25.0, 60.0).1.unwrap() else { unreachable!("not raised") };
        assert!(cause.contains("the bed was at 60 °C"), "{cause}");
    }

    #[test]
    fn a_refusal_is_raised_at_once_and_returns_with_the_first_answer() {
        let mut ledger = Ledger::new(Arc::default(), Arc::default(), &[]);
        let raised = ledger.refused(AT, "document state from http://127.0.0.1:9/s: host asks for a sign-in (401)");
        assert!(matches!(raised, Some(AlarmEffect::Raised { subject: REFUSES, at: AT, .. })), "{raised:?}");
        assert_eq!(ledger.refused(AT, "again"), None);
        assert!(matches!(ledger.let_in(AT), Some(AlarmEffect::Returned { .. })));
        assert_eq!(ledger.let_in(AT), None);
    }
}
