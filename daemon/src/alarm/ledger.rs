//! Which alarms stand for one printer. Owns the rules' conditions, delays and deadbands; delivers nothing.

use super::effect::{AlarmEffect, Rule};
use crate::entry::ToolNumber;
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
    standing: BTreeMap<(ToolNumber, Rule), Standing>,
    last_at: Option<Timestamp>,
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
        Self { idle_hot, hot_for: BTreeMap::new(), standing: BTreeMap::new(), last_at: None }
    }

    /// The alarms that stand: tool, rule and when each was raised.
    pub fn standing(&self) -> impl Iterator<Item = (ToolNumber, Rule, Timestamp)> {
        self.standing.iter().map(|((tool, rule), standing)| (*tool, *rule, standing.raised))
    }

    /// Makes the ledger agree with what the store holds after a restart: only a committed alarm stands.
    pub fn reconcile(&mut self, stored: &[(ToolNumber, Rule, Timestamp)]) {
        self.standing.retain(|(tool, rule), standing| stored.contains(&(*tool, *rule, standing.raised)));
        for (tool, rule, raised) in stored {
            let standing = Standing { raised: *raised, away: Seconds::ZERO };
            self.standing.entry((*tool, *rule)).or_insert(standing);
        }
    }

    /// Weighs the tools as of one reading. Time in a gap counts neither for nor against.
    pub fn weigh(&mut self, at: Timestamp, after_gap: bool, tools: &[ToolNow]) -> Vec<AlarmEffect> {
        let lasted = self.last_at.filter(|_| !after_gap).map_or(Seconds::ZERO, |last| at - last);
        self.last_at = Some(at);
        let mut effects = Vec::new();
        for (idx, tool) in tools.iter().enumerate() {
            let Some(number) = ToolNumber::new(idx) else { continue };
            // Nothing told is nothing changed: an alarm neither comes nor goes by it.
            if tool.doing == Doing::Unknown {
                continue;
            }
            let hot_for = self.count_hot(number, lasted, tool);
            for rule in Rule::ALL {
                let holds = match rule {
                    Rule::ResidenceBudget => self.over_budget(number, tool),
                    Rule::IdleHot => hot_for >= self.idle_hot.lasting,
                };
                effects.extend(self.settle(number, rule, holds, at, lasted, tool));
            }
        }
        effects
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
        let stands = self.standing.contains_key(&(number, Rule::ResidenceBudget));
        let limit = if stands { tool.limit.get() * DOSE_DEADBAND } else { tool.limit.get() };
        matches!(tool.doing, Doing::Waiting { .. }) && tool.dose.get() >= limit
    }

    fn settle(
        &mut self,
        tool: ToolNumber,
        rule: Rule,
        holds: bool,
        at: Timestamp,
        lasted: Seconds,
        now: &ToolNow,
    ) -> Option<AlarmEffect> {
        let key = (tool, rule);
        match (self.standing.get_mut(&key), holds) {
            (None, false) => None,
            (None, true) => {
                self.standing.insert(key, Standing { raised: at, away: Seconds::ZERO });
                Some(self.raise(tool, rule, at, now))
            }
            (Some(standing), true) => {
                standing.away = Seconds::ZERO;
                None
            }
            (Some(standing), false) => {
                standing.away += lasted;
                let raised = standing.raised;
                (standing.away >= OFF_DELAY).then(|| {
                    self.standing.remove(&key);
                    AlarmEffect::Returned { tool, rule, raised, at }
                })
            }
        }
    }

    fn raise(&self, tool: ToolNumber, rule: Rule, at: Timestamp, now: &ToolNow) -> AlarmEffect {
        let heat = now.actual.map_or_else(String::new, |actual| format!(" at {:.0} °C", actual.get()));
        let cause = match rule {
            Rule::ResidenceBudget => format!(
                "{tool} waits{heat}; its melt has taken {:.0} equivalent min of a residence limit of {:.0}.",
                now.dose.get(),
                now.limit.get()
            ),
            Rule::IdleHot => format!(
                "{tool} has waited over {:.0} °C for {} min, now{heat}.",
                self.idle_hot.over.get(),
                self.idle_hot.lasting.as_minutes()
            ),
        };
        let consequence = match rule {
            Rule::ResidenceBudget => "The melt in the nozzle is spent: the next start may jam or string.",
            Rule::IdleHot => "The waiting melt cooks and drools, and the liner above it ages.",
        };
        AlarmEffect::Raised {
            tool,
            rule,
            at,
            cause,
            consequence: consequence.to_owned(),
            action: "Look at the printer; lower the waiting tool's set point, or purge it before its next turn."
                .to_owned(),
        }
    }
}
