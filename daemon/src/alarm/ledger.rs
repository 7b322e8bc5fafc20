//! Which alarms stand for one printer, and the rules of a waiting tool: their conditions, delays and deadbands. Delivers
//! nothing.

use super::contact::Heat;
use super::effect::{AlarmEffect, Subject};
use super::heater::HeaterRules;
use super::rule::Rule;
use super::rulebook::{Bound, Rulebook, Tuning};
use crate::entry::{HeaterFact, HotEnd, Reading, Settings, SettingsChange, ToolNumber};
use crate::tracker::{Doing, ToolNow};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};
use std::collections::BTreeMap;
use std::sync::Arc;

/// How long a condition must be away before its alarm returns: 60 s for temperatures (from memory, usual in alarm
/// practice).
const OFF_DELAY: Seconds = Seconds::new(60.0);
/// The dose must fall under this share of its limit to count as under it.
const DOSE_DEADBAND: f64 = 0.9;

/// The alarms of one printer.
#[derive(Clone, Debug)]
pub struct Ledger {
    pub(super) rules: Arc<Rulebook>,
    materials: Arc<Materials>,
    /// In force, a tool.
    pub(super) settings: Vec<Settings>,
    pub(super) heaters: BTreeMap<ToolNumber, HeaterFact>,
    pub(super) heater_rules: HeaterRules,
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
    pub fn new(rules: Arc<Rulebook>, materials: Arc<Materials>, settings: &[Settings]) -> Self {
        Self {
            rules,
            materials,
            settings: settings.to_vec(),
            heaters: BTreeMap::new(),
            heater_rules: HeaterRules::new(HotEnd::Separate),
            hot_for: BTreeMap::new(),
            standing: BTreeMap::new(),
            last_at: None,
            heat: Heat::default(),
        }
    }

    /// The same of a printer whose hot end is built like this.
    #[must_use]
    pub fn with_hot_end(self, hot_end: HotEnd) -> Self {
        Self { heater_rules: HeaterRules::new(hot_end), ..self }
    }

    /// Takes over changed settings.
    pub fn set(&mut self, change: &SettingsChange) {
        if let Some(held) = self.settings.get_mut(change.tool.idx()) {
            held.update(&change.settings);
        }
    }

    /// Takes over what is known of a heater from now on.
    pub fn know(&mut self, fact: &HeaterFact) {
        self.heaters.insert(fact.tool, *fact);
    }

    /// Makes the ledger agree with what the store holds after a restart: only a committed alarm stands.
    pub fn reconcile(&mut self, stored: &[(Subject, Timestamp)]) {
        self.standing.retain(|subject, standing| stored.contains(&(*subject, standing.raised)));
        for (subject, raised) in stored {
            let standing = Standing { raised: *raised, away: Seconds::ZERO };
            self.standing.entry(*subject).or_insert(standing);
        }
        self.heater_rules.reconcile(stored);
    }

    /// Weighs the tools as of one reading. Time in a gap counts neither for nor against.
    pub fn weigh(&mut self, reading: &Reading, after_gap: bool, tools: &[ToolNow]) -> Vec<AlarmEffect> {
        let at = reading.at;
        let lasted = self.last_at.filter(|_| !after_gap).map_or(Seconds::ZERO, |last| at - last);
        self.last_at = Some(at);
        self.heat.note(reading);
        let mut effects = self.weigh_heaters(reading, (lasted, after_gap), tools);
        for (idx, tool) in tools.iter().enumerate() {
            let Some(number) = ToolNumber::new(idx) else { continue };
            // Nothing told is nothing changed: an alarm neither comes nor goes by it.
            if tool.doing == Doing::Unknown {
                continue;
            }
            let hot_for = self.count_hot(number, lasted, tool);
            let over_budget = self.over_budget(number, tool);
            for (rule, holds) in [
                (Rule::ResidenceBudget, over_budget),
                (Rule::IdleHot, hot_for >= self.tuning(Rule::IdleHot, number).on_delay),
            ] {
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
        let tuning =
            subject.tool.map_or_else(|| self.rules.tuning(subject.rule, None), |tool| self.tuning(subject.rule, tool));
        let (priority, is_suppressed) = (tuning.priority, self.rules.is_commissioning());
        Some(AlarmEffect::Raised { subject, at, priority, is_suppressed, cause, consequence, action })
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
        Some(AlarmEffect::Returned { subject, raised, at: at.max(raised), is_superseded: false })
    }

    /// How a rule is tuned for what that tool holds.
    fn tuning(&self, rule: Rule, tool: ToolNumber) -> Tuning {
        Self::tuned(&self.rules, &self.settings, Subject { rule, tool: Some(tool) })
    }

    /// How a subject's rule is tuned by these rules and settings.
    pub(super) fn tuned(rules: &Rulebook, settings: &[Settings], subject: Subject) -> Tuning {
        let settings = subject.tool.and_then(|tool| settings.get(tool.idx()));
        rules.tuning(subject.rule, settings.and_then(|settings| settings.material.as_deref()))
    }

    /// Over which temperature a tool that waits is too hot: what was set, else its material's lowest print temperature.
    fn idle_over(&self, tool: ToolNumber) -> (Celsius, CelsiusDelta) {
        let lowest = || {
            let settings = self.settings.get(tool.idx()).cloned().unwrap_or_default();
            settings.facts(&self.materials).print_low.value
        };
        match self.tuning(Rule::IdleHot, tool).bound {
            Bound::Over { at, deadband } => (at.unwrap_or_else(lowest), deadband),
            Bound::OffBy { .. } | Bound::Share { .. } | Bound::None => (lowest(), CelsiusDelta::new(0.0)),
        }
    }

    fn count_hot(&mut self, number: ToolNumber, lasted: Seconds, tool: &ToolNow) -> Seconds {
        let (over, deadband) = self.idle_over(number);
        let hot_for = self.hot_for.entry(number).or_insert(Seconds::ZERO);
        let waits = matches!(tool.doing, Doing::Waiting { .. });
        match tool.actual {
            _ if !waits => *hot_for = Seconds::ZERO,
            Some(actual) if actual >= over => *hot_for += lasted,
            Some(actual) if actual < over - deadband => *hot_for = Seconds::ZERO,
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
            let over = self.idle_over(tool).0.get();
            let lasting = self.tuning(rule, tool).on_delay.as_minutes();
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
