//! One printer's way from an entry to a commit: tracker, then alarm ledger. Live polls and replayed journals both go
//! through here. Owns their order; waits for nothing and stores nothing.

use crate::alarm::{AlarmEffect, IdleHotRule, Ledger};
use crate::entry::{HotEnd, Reading, Settings, SettingsChange};
use crate::store::Resume;

use crate::tracker::{Effect, Tracker};
use dwell_analysis::time::Timestamp;

/// What one step asks to be committed.
#[derive(Debug, Default)]
pub struct Step {
    /// What the tracker says, in order.
    pub effects: Vec<Effect>,
    /// What the alarm ledger says, in order.
    pub alarms: Vec<AlarmEffect>,
}

impl Step {
    /// Whether anything must be durable at once.
    #[must_use]
    pub fn has_events(&self) -> bool {
        !self.alarms.is_empty() || self.effects.iter().any(|effect| !matches!(effect, Effect::Sample { .. }))
    }

    /// Appends a later step.
    pub fn extend(&mut self, later: Self) {
        self.effects.extend(later.effects);
        self.alarms.extend(later.alarms);
    }
}

/// Follows one printer.
#[derive(Debug)]
pub struct Pipeline {
    tracker: Tracker,
    ledger: Ledger,
}

impl Pipeline {
    /// A pipeline for a printer of which nothing is open.
    #[must_use]
    pub fn new(hot_end: HotEnd, settings: Vec<Settings>, idle_hot: IdleHotRule) -> Self {
        Self { tracker: Tracker::new(hot_end, settings), ledger: Ledger::new(idle_hot) }
    }

    /// Takes up again what the store holds as open, by following its readings once more: whatever comes of them has
    /// been committed already, so it is dropped.
    #[must_use]
    pub fn resumed(hot_end: HotEnd, idle_hot: IdleHotRule, resume: Resume) -> Self {
        let mut pipeline = Self::new(hot_end, resume.settings, idle_hot);
        let mut changes = resume.changes.iter().peekable();
        for reading in resume.readings {
            while let Some(change) = changes.next_if(|change| change.at <= reading.at) {
                pipeline.tracker.set(change);
            }
            pipeline.read(reading);
        }
        for change in changes {
            pipeline.tracker.set(change);
        }
        pipeline.ledger.reconcile(&resume.alarms);
        pipeline
    }

    /// When the newest accepted reading was taken.
    #[must_use]
    pub fn last_at(&self) -> Option<Timestamp> {
        self.tracker.last_at()
    }

    /// Takes over changed settings.
    pub fn set(&mut self, change: &SettingsChange) {
        self.tracker.set(change);
    }

    /// Takes one reading.
    pub fn read(&mut self, reading: Reading) -> Step {
        let effects = self.tracker.read(reading);
        let after_gap = effects.iter().any(|effect| matches!(effect, Effect::ContactRegained { .. }));
        let alarms = match effects.last() {
            Some(Effect::Sample { reading, tools }) => self.ledger.weigh(reading.at, after_gap, tools),
            Some(_) | None => Vec::new(),
        };
        Step { effects, alarms }
    }

    /// Nothing has been heard up to `now`.
    pub fn silence(&mut self, now: Timestamp) -> Step {
        Step { effects: self.tracker.silence(now).into_iter().collect(), alarms: Vec::new() }
    }
}
