//! Which alarms stand for one printer, and the rules of a waiting tool: their conditions, delays and deadbands. Delivers
//! nothing.

use super::contact::Heat;
use super::effect::{AlarmEffect, Rule, Subject};
use crate::entry::{Reading, ToolNumber};
use crate::tracker::{Doing, ToolNow};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};
use std::collections::BTreeMap;

/// How long a condition must be away before its alarm returns: 60 s for temperatures (from memory, usual in alarm
/// practice).
const OFF_DELAY: Seconds = Seconds::new(60.0);
/// A temperature must fall this far under the limit to count as under it: 1 % of a 250 K range, rounded up.
const DEADBAND: CelsiusDelta = CelsiusDelta::new(3.0);
/// The dose must fall under this share of its limit to count as under it.
const DOSE_DEADBAND: f64 = 0.9;

/// The plain rule: idle over a temperature for longer than a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IdleHotRule {
    /// Over which temperature.
    pub over: Celsius,
    /// For how long.
    pub lasting: Seconds,
}

/// 180 °C is over every usual standby temperature; ten idle minutes are "too long" to those who asked for a
/// time-out (common practice, no source).
impl Default for IdleHotRule {
    fn default() -> Self {
        Self { over: Celsius::new(180.0), lasting: Seconds::minutes(10.0) }
    }
}

/// The alarms of one printer.
#[derive(Clone, Debug)]
pub struct Ledger {
    idle_hot: IdleHotRule,
    hot_for: BTreeMap<ToolNumber, Seconds>,
    standing: BTreeMap<Subject, Standing>,
    last_at: Option<Timestamp>,
    /// The heaters at the newest reading.
    pub(super) heat: Heat,
}

#[derive(Clone, Copy, Debug)]
struct Standing {
    raised: Timestamp,
    /// How long the condition has been away, in contact.
    away: Seconds,
}

impl Ledger {
    /// A ledger in which nothing stands.
    #[must_use]
    pub fn new(idle_hot: IdleHotRule) -> Self {
        Self { idle_hot, hot_for: BTreeMap::new(), standing: BTreeMap::new(), last_at: None, heat: Heat::default() }
    }

    /// Makes the ledger agree with what the store holds after a restart: only a committed alarm stands.
    pub fn reconcile(&mut self, stored: &[(Subject, Timestamp)]) {
        self.standing.retain(|subject, standing| stored.contains(&(*subject, standing.raised)));
        for (subject, raised) in stored {
            let standing = Standing { raised: *raised, away: Seconds::ZERO };
            self.standing.entry(*subject).or_insert(standing);
        }
    }

    /// Weighs the tools as of one reading. Time in a gap counts neither for nor against.
    pub fn weigh(&mut self, reading: &Reading, after_gap: bool, tools: &[ToolNow]) -> Vec<AlarmEffect> {
        let at = reading.at;
        let lasted = self.last_at.filter(|_| !after_gap).map_or(Seconds::ZERO, |last| at - last);
        self.last_at = Some(at);
        self.heat.note(reading);
        let mut effects = Vec::new();
        for (idx, tool) in tools.iter().enumerate() {
            let Some(number) = ToolNumber::new(idx) else { continue };
            // Nothing told is nothing changed: an alarm neither comes nor goes by it.
            if tool.doing == Doing::Unknown {
                continue;
            }
            let hot_for = self.count_hot(number, lasted, tool);
            let over_budget = self.over_budget(number, tool);
            for (rule, holds) in
                [(Rule::ResidenceBudget, over_budget), (Rule::IdleHot, hot_for >= self.idle_hot.lasting)]
            {
                let subject = Subject { rule, tool: Some(number) };
                if holds {
                    effects.extend(self.hold(subject, at, |ledger| ledger.words(number, rule, tool)));
                } else {
                    effects.extend(self.away(subject, at, lasted));
                }
            }
        }
        effects
    }

    /// The subject's condition holds: raises its alarm unless it stands.
    pub(super) fn hold(
        &mut self,
        subject: Subject,
        at: Timestamp,
        words: impl FnOnce(&Self) -> Words,
    ) -> Option<AlarmEffect> {
        if let Some(standing) = self.standing.get_mut(&subject) {
            standing.away = Seconds::ZERO;
            return None;
        }
        let Words { cause, consequence, action } = words(self);
        self.standing.insert(subject, Standing { raised: at, away: Seconds::ZERO });
        let (consequence, action) = (consequence.to_owned(), action.to_owned());
        Some(AlarmEffect::Raised { subject, at, cause, consequence, action })
    }

    /// The subject's condition has been away for another `lasted`.
    fn away(&mut self, subject: Subject, at: Timestamp, lasted: Seconds) -> Option<AlarmEffect> {
        let standing = self.standing.get_mut(&subject)?;
        standing.away += lasted;
        if standing.away < OFF_DELAY { None } else { self.end(subject, at) }
    }

    /// The subject's alarm returns, if it stands.
    pub(super) fn end(&mut self, subject: Subject, at: Timestamp) -> Option<AlarmEffect> {
        let Standing { raised, .. } = self.standing.remove(&subject)?;
        Some(AlarmEffect::Returned { subject, raised, at: at.max(raised) })
    }

    fn count_hot(&mut self, number: ToolNumber, lasted: Seconds, tool: &ToolNow) -> Seconds {
        let hot_for = self.hot_for.entry(number).or_insert(Seconds::ZERO);
        let waits = matches!(tool.doing, Doing::Waiting { .. });
        match tool.actual {
            _ if !waits => *hot_for = Seconds::ZERO,
            Some(actual) if actual >= self.idle_hot.over => *hot_for += lasted,
            Some(actual) if actual < self.idle_hot.over - DEADBAND => *hot_for = Seconds::ZERO,
            // Inside the deadband, or no temperature told: nothing is known to have changed.
            Some(_) | None => {}
        }
        *hot_for
    }

    fn over_budget(&self, number: ToolNumber, tool: &ToolNow) -> bool {
        let stands = self.standing.contains_key(&Subject { rule: Rule::ResidenceBudget, tool: Some(number) });
        let limit = if stands { tool.limit.get() * DOSE_DEADBAND } else { tool.limit.get() };
        matches!(tool.doing, Doing::Waiting { .. }) && tool.dose.get() >= limit
    }

    fn words(&self, tool: ToolNumber, rule: Rule, now: &ToolNow) -> Words {
        let heat = now.actual.map_or_else(String::new, |actual| format!(" at {:.0} °C", actual.get()));
        let (cause, consequence) = if rule == Rule::ResidenceBudget {
            let (dose, limit) = (now.dose.get(), now.limit.get());
            (
                format!(
                    "{tool} waits{heat}; its melt has taken {dose:.0} equivalent min of a residence limit of {limit:.0}."
                ),
                "The melt in the nozzle is spent: the next start may jam or string.",
            )
        } else {
            let (over, lasting) = (self.idle_hot.over.get(), self.idle_hot.lasting.as_minutes());
            (
                format!("{tool} has waited over {over:.0} °C for {lasting} min, now{heat}."),
                "The waiting melt cooks and drools, and the liner above it ages.",
            )
        };
        let action = "Look at the printer; lower the waiting tool's set point, or purge it before its next turn.";
        Words { cause, consequence, action }
    }
}

/// What an alarm says.
pub(super) struct Words {
    pub(super) cause: String,
    pub(super) consequence: &'static str,
    pub(super) action: &'static str,
}
