//! Which alarms stand for one printer, and what each reading changes in them. Owns the gates and what is said; when a
//! rule's condition holds, the rules' own files say. Delivers nothing.

use super::contact::Contact;
use super::effect::{AlarmEffect, Subject, Suppressed};
use super::gate::{Gate, Turn};
use super::heat::Heat;
use super::heater::Heaters;
use super::rule::Rule;
use super::rulebook::{Rulebook, Tuning};
use super::waiting::{Called, Told};
use crate::entry::{HeaterFact, HotEnd, Reading, Settings, ToolNumber};
use crate::tracker::ToolNow;
use dwell_analysis::polymer::{MaterialFacts, Materials};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use std::collections::BTreeMap;
use std::sync::Arc;

/// The alarms of one printer.
#[derive(Clone, Debug)]
pub struct Ledger {
    pub(super) rules: Arc<Rulebook>,
    materials: Arc<Materials>,
    /// In force, a tool.
    settings: Vec<Settings>,
    pub(super) known: BTreeMap<ToolNumber, HeaterFact>,
    pub(super) heaters: Heaters,
    watched: BTreeMap<Subject, Watched>,
    last_at: Option<Timestamp>,
    pub(super) contact: Contact,
    pub(super) told: Told,
    /// The heaters at the newest reading.
    pub(super) heat: Heat,
}

/// One condition that is watched.
#[derive(Clone, Copy, Debug, Default)]
struct Watched {
    gate: Gate,
    /// When its alarm was raised, if one stands; a gate may stand without, where a graver alarm speaks for it.
    said: Option<Timestamp>,
}

/// One reading's place in time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moment {
    pub(super) at: Timestamp,
    /// Since the reading before; zero after a gap.
    pub(super) lasted: Seconds,
}

/// What an alarm says.
pub(super) struct Words {
    pub(super) cause: String,
    pub(super) consequence: &'static str,
    pub(super) action: &'static str,
}

impl Ledger {
    /// A ledger in which nothing stands.
    #[must_use]
    pub fn new(hot_end: HotEnd, rules: Arc<Rulebook>, materials: Arc<Materials>) -> Self {
        Self {
            rules,
            materials,
            settings: Vec::new(),
            known: BTreeMap::new(),
            heaters: Heaters::new(hot_end),
            watched: BTreeMap::new(),
            last_at: None,
            contact: Contact::default(),
            told: Told::default(),
            heat: Heat::default(),
        }
    }

    /// Takes over what is known of a heater from now on.
    pub fn know(&mut self, fact: &HeaterFact) {
        self.known.insert(fact.tool, *fact);
    }

    /// Makes the ledger agree with what the store holds after a restart: only a committed alarm stands.
    /// `called` are the alarms of waiting tools that called somebody lately, in time order.
    pub fn reconcile(&mut self, stored: &[(Subject, Timestamp)], called: &[Called]) {
        self.told.resume(called);
        for (subject, watched) in &mut self.watched {
            if watched.said.take().is_some() && !stored.iter().any(|(own, _)| own == subject) {
                watched.gate.resume(false);
            }
        }
        for (subject, raised) in stored {
            let watched = self.watched.entry(*subject).or_default();
            watched.said = Some(*raised);
            if !watched.gate.stands() {
                watched.gate.resume(true);
            }
        }
    }

    /// Weighs the printer as of one reading, with the settings that are in force for each tool. Time in a gap counts
    /// neither for nor against.
    pub fn weigh<'s>(
        &mut self,
        reading: &Reading,
        after_gap: bool,
        tools: &[ToolNow],
        settings: impl Iterator<Item = &'s Settings>,
    ) -> Vec<AlarmEffect> {
        self.settings.clear();
        self.settings.extend(settings.cloned());
        let at = reading.at;
        let lasted = self.last_at.filter(|_| !after_gap).map_or(Seconds::ZERO, |last| at - last);
        let moment = Moment { at, lasted };
        self.last_at = Some(at);
        self.heat.note(reading, lasted);
        self.told.note(reading.job.state);
        let mut effects = Vec::new();
        effects.extend(self.heard(moment));
        for (idx, tool) in tools.iter().enumerate() {
            let Some(number) = ToolNumber::new(idx) else { continue };
            effects.extend(self.weigh_waiting(number, tool, moment));
            effects.extend(self.weigh_liner(number, tool, moment));
        }
        effects.extend(self.weigh_heaters(reading, after_gap, tools, moment));
        effects.extend(self.weigh_printer(reading.job.state, moment));
        effects
    }

    /// Holds a condition against its gate: raises its alarm, or lets it return.
    pub(super) fn follow(
        &mut self,
        subject: Subject,
        is_true: Option<bool>,
        moment: Moment,
        words: impl FnOnce(&Self) -> Words,
    ) -> Option<AlarmEffect> {
        match self.turn(subject, is_true, moment.lasted) {
            Turn::None => None,
            Turn::Raise => {
                let words = words(self);
                Some(self.raise(subject, moment.at, words))
            }
            Turn::Return => self.end(subject, moment.at, false),
        }
    }

    /// Holds a condition against its gate, and says nothing.
    pub(super) fn turn(&mut self, subject: Subject, is_true: Option<bool>, lasted: Seconds) -> Turn {
        let tuning = self.tuning(subject);
        self.watched.entry(subject).or_default().gate.hold(is_true, lasted, &tuning)
    }

    /// Raises the subject's alarm.
    pub(super) fn raise(&mut self, subject: Subject, at: Timestamp, words: Words) -> AlarmEffect {
        self.raise_quietly(subject, at, words, false)
    }

    /// Raises the subject's alarm; with `is_quiet` it is recorded and calls nobody, since it was said lately.
    pub(super) fn raise_quietly(
        &mut self,
        subject: Subject,
        at: Timestamp,
        words: Words,
        is_quiet: bool,
    ) -> AlarmEffect {
        let Words { cause, consequence, action } = words;
        let watched = self.watched.entry(subject).or_default();
        watched.said = Some(at);
        if !watched.gate.stands() {
            watched.gate.resume(true);
        }
        let said_lately = is_quiet.then_some(Suppressed::SaidLately);
        // Nobody has heard of anything while the printer is being set up, whatever was said.
        let suppressed = self.rules.is_commissioning().then_some(Suppressed::Commissioning).or(said_lately);
        let priority = self.tuning(subject).priority;
        let (consequence, action) = (consequence.to_owned(), action.to_owned());
        AlarmEffect::Raised { subject, at, priority, suppressed, cause, consequence, action }
    }

    /// The subject's alarm returns, if one was said; its gate stays as it is.
    pub(super) fn end(&mut self, subject: Subject, at: Timestamp, is_superseded: bool) -> Option<AlarmEffect> {
        let raised = self.watched.get_mut(&subject)?.said.take()?;
        Some(AlarmEffect::Returned { subject, raised, at: at.max(raised), is_superseded })
    }

    /// The subject's gate as it is.
    pub(super) fn gate(&self, subject: Subject) -> Gate {
        self.watched.get(&subject).map_or_else(Gate::default, |watched| watched.gate)
    }

    /// How a subject's rule is tuned, for what its tool holds.
    pub(super) fn tuning(&self, subject: Subject) -> Tuning {
        let settings = subject.tool.and_then(|tool| self.settings.get(tool.idx()));
        self.rules.tuning(subject.rule, settings.and_then(|settings| settings.material.as_deref()))
    }

    /// Over which temperature a tool is too hot by a rule.
    pub(super) fn too_hot_over(&self, rule: Rule, tool: ToolNumber) -> Option<Celsius> {
        let material = self.settings.get(tool.idx()).and_then(|settings| settings.material.as_deref());
        self.rules.too_hot_over(rule, tool, material, &self.materials)
    }

    /// The figures of what a tool holds.
    pub(super) fn facts(&self, tool: ToolNumber) -> &MaterialFacts {
        self.materials.of(self.settings.get(tool.idx()).and_then(|settings| settings.material.as_deref()))
    }
}

impl Subject {
    /// A rule about one tool.
    pub(super) const fn of_tool(rule: Rule, tool: ToolNumber) -> Self {
        Self { rule, tool: Some(tool) }
    }

    /// A rule about the printer as a whole.
    pub(super) const fn of_printer(rule: Rule) -> Self {
        Self { rule, tool: None }
    }
}
