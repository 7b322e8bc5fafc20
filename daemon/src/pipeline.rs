//! One printer's way from an entry to a commit: tracker, then alarm ledger. Live polls and replayed journals both go
//! through here. Owns their order; waits for nothing and stores nothing.

use crate::alarm::{AlarmEffect, Ledger, Rulebook};
use crate::entry::{HeaterFact, HotEnd, JobFile, Reading, Settings, SettingsChange};
use crate::store::Resume;
use crate::tracker::{Effect, SILENCE_MAX, Tracker};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use std::sync::Arc;

/// What one step asks to be committed.
#[derive(Debug, Default)]
pub struct Step {
    /// What the tracker says, in order.
    pub effects: Vec<Effect>,
    /// What the alarm ledger says, in order.
    pub alarms: Vec<AlarmEffect>,
}

impl Step {
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
    /// A pipeline for a printer of which nothing is open, with the built-in materials.
    #[must_use]
    pub fn new(hot_end: HotEnd, settings: Vec<Settings>, rules: Arc<Rulebook>) -> Self {
        Self::knowing(Arc::default(), hot_end, settings, rules)
    }

    fn knowing(materials: Arc<Materials>, hot_end: HotEnd, settings: Vec<Settings>, rules: Arc<Rulebook>) -> Self {
        let ledger = Ledger::new(hot_end, rules, Arc::clone(&materials));
        Self { tracker: Tracker::knowing(materials, hot_end, settings), ledger }
    }

    /// Takes up again what the store holds as open, by following its readings once more: whatever comes of them has
    /// been committed already, so it is dropped.
    #[must_use]
    pub fn resumed(materials: Arc<Materials>, hot_end: HotEnd, rules: Arc<Rulebook>, resume: Resume) -> Self {
        let mut pipeline = Self::knowing(materials, hot_end, resume.settings, rules);
        let mut changes = resume.changes.iter().peekable();
        let mut files = resume.job_files.iter().peekable();
        let mut facts = resume.heaters.iter().peekable();
        for reading in resume.readings {
            // Settings come before the reading of their instant, job files and what is known of heaters after it.
            while let Some(fact) = facts.next_if(|fact| fact.at < reading.at) {
                pipeline.know(fact);
            }
            while let Some(file) = files.next_if(|file| file.at < reading.at) {
                pipeline.tracker.plan(file);
            }
            while let Some(change) = changes.next_if(|change| change.at <= reading.at) {
                pipeline.set(change);
            }
            pipeline.read(reading);
        }
        for fact in facts {
            pipeline.know(fact);
        }
        for file in files {
            pipeline.tracker.plan(file);
        }
        for change in changes {
            pipeline.set(change);
        }
        pipeline.ledger.reconcile(&resume.alarms, &resume.called);
        pipeline
    }

    /// Takes over changed settings.
    pub fn set(&mut self, change: &SettingsChange) {
        self.tracker.set(change);
    }

    /// Takes over what is known of a heater from now on. It must be in the record already, with the instant of
    /// [`Self::newest`].
    pub fn know(&mut self, fact: &HeaterFact) {
        self.ledger.know(fact);
    }

    /// Takes over the job file of the print that is on. It must be in the record already, with the instant of
    /// [`Self::newest`]: what follows from it names it.
    pub fn plan(&mut self, file: &JobFile) {
        self.tracker.plan(file);
    }

    /// The print that is on and has no job file yet, and its job's name.
    #[must_use]
    pub fn unplanned(&self) -> Option<(Timestamp, Option<&str>)> {
        self.tracker.unplanned()
    }

    /// The newest reading that was taken in.
    #[must_use]
    pub fn newest(&self) -> Option<Timestamp> {
        self.tracker.newest()
    }

    /// Takes one reading.
    pub fn read(&mut self, reading: Reading) -> Step {
        let effects = self.tracker.read(reading);
        let mut alarms = Vec::new();
        let mut after_gap = false;
        for effect in &effects {
            match effect {
                Effect::ContactRegained { since, at } => {
                    after_gap = true;
                    // A silence that nobody was there to notice is found now; the alarm has come and gone with it.
                    alarms.extend((*at - *since > SILENCE_MAX).then(|| self.ledger.silent(*since, *at)).flatten());
                }
                Effect::Sample { reading, tools } => {
                    alarms.extend(self.ledger.weigh(reading, after_gap, tools, self.tracker.in_force()));
                }
                _ => {}
            }
        }
        Step { effects, alarms }
    }

    /// Nothing has been heard up to `now`.
    pub fn silence(&mut self, now: Timestamp) -> Step {
        let effects: Vec<_> = self.tracker.silence(now).into_iter().collect();
        let since = effects.iter().find_map(|effect| match effect {
            Effect::ContactLost { since } => Some(*since),
            _ => None,
        });
        let since = since.or_else(|| self.ledger.silent_since());
        let alarms = since.and_then(|since| self.ledger.silent(since, now)).into_iter().collect();
        Step { effects, alarms }
    }

    /// The host refuses to answer, for that cause. Tells nothing of the printer, so the tracker does not hear of it.
    pub fn refused(&mut self, now: Timestamp, cause: &str) -> Step {
        Step { effects: Vec::new(), alarms: self.ledger.refused(now, cause).into_iter().collect() }
    }

    /// The host refuses nothing any more.
    pub fn let_in(&mut self, at: Timestamp) -> Step {
        Step { effects: Vec::new(), alarms: self.ledger.let_in(at).into_iter().collect() }
    }

    /// When a silence is to be looked at next if nothing is heard: when it becomes a gap, then when its alarm is due.
    #[must_use]
    pub fn gap_at(&self) -> Option<Timestamp> {
        self.tracker.gap_at().or_else(|| self.ledger.silence_due())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::{Change, Override, Rule, Rules};
    use crate::entry::{CentiCelsius, Heater, Job, JobState};
    use dwell_analysis::units::Seconds;

    const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

    fn reading(second: f64, degrees: f64) -> Reading {
        let heater = Heater { actual: CentiCelsius::nearest(degrees), ..Heater::default() };
        Reading {
            at: START + Seconds::new(second),
            after_gap: false,
            job: Job { state: JobState::Printing, name: None, fraction_millionths: None, byte: None },
            active_tool: Some(0),
            tools: vec![heater; 2],
            bed: None,
        }
    }

    /// Readings at these seconds, with a look at the silence between them every five seconds or none.
    fn follow(seconds: &[f64], degrees: f64, is_live: bool) -> Step {
        follow_by(&Rulebook::default(), seconds, degrees, is_live)
    }

    fn follow_by(rules: &Rulebook, seconds: &[f64], degrees: f64, is_live: bool) -> Step {
        let rules = Arc::new(rules.clone());
        let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], rules);
        let (mut step, mut now) = (Step::default(), 0.0);
        for second in seconds {
            while is_live && now + 5.0 < *second {
                now += 5.0;
                step.extend(pipeline.silence(START + Seconds::new(now)));
            }
            now = *second;
            step.extend(pipeline.read(reading(*second, degrees)));
        }
        step
    }

    #[test]
    fn silence_raises_the_same_alarm_whether_it_is_watched_or_replayed() {
        let seconds = [0.0, 1.0, 2.0, 75.0, 76.0];
        let (live, replayed) = (follow(&seconds, 210.0, true), follow(&seconds, 210.0, false));
        assert_eq!((&live.effects, &live.alarms), (&replayed.effects, &replayed.alarms));
        let [AlarmEffect::Raised { subject, at, .. }, AlarmEffect::Returned { raised, at: gone, .. }] =
            live.alarms.as_slice()
        else {
            unreachable!("raised once, gone once: {:?}", live.alarms)
        };
        assert_eq!((subject.rule, *raised), (Rule::HostSilent, *at));
        assert_eq!((*at, *gone), (START + Seconds::new(22.0), START + Seconds::new(75.0)));
        assert!(follow(&seconds, 30.0, true).alarms.is_empty());
        // A host's own clock may place the reading that ends a told silence before its end.
        let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
        pipeline.read(reading(0.0, 210.0));
        assert_eq!(pipeline.silence(START + Seconds::new(20.5)).alarms.len(), 1);
        let back = pipeline.read(reading(19.9, 210.0));
        assert!(back.alarms.iter().any(|alarm| !alarm.is_raise()), "{:?}", back.alarms);
        let regained = |effect: &Effect| matches!(effect, Effect::ContactRegained { .. });
        assert!(back.effects.iter().any(regained), "{:?}", back.effects);
        // Twenty seconds are allowed.
        assert!(follow(&[0.0, 20.0, 40.0], 210.0, true).alarms.is_empty());
    }

    #[test]
    fn a_silence_waits_for_its_rule_s_delays_whether_it_is_watched_or_replayed() {
        let (on_delay, off_delay) = (Some(Seconds::new(60.0)), Some(Seconds::new(2.0)));
        let change = Change { on_delay, off_delay, ..Change::default() };
        let later = Override { rule: Rule::HostSilent, printer: None, material: None, change };
        let rules = Rules { overrides: vec![later], ..Rules::default() }.of_any();
        // A minute of silence beyond the gap is allowed, and what comes back has to stay for two seconds.
        let seconds = [0.0, 79.0, 200.0, 201.0, 202.0, 203.0];
        let [live, replayed] = [true, false].map(|is_live| follow_by(&rules, &seconds, 210.0, is_live));
        assert_eq!((&live.effects, &live.alarms), (&replayed.effects, &replayed.alarms));
        let told: Vec<_> = live.alarms.iter().map(|alarm| (alarm.is_raise(), alarm.at())).collect();
        assert_eq!(told, [(true, START + Seconds::new(159.0)), (false, START + Seconds::new(202.0))]);
        // A daemon is told when to look.
        let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::new(rules));
        pipeline.read(reading(0.0, 210.0));
        assert_eq!(pipeline.gap_at(), Some(START + Seconds::new(20.0)));
        assert!(pipeline.silence(START + Seconds::new(20.01)).alarms.is_empty());
        assert_eq!(pipeline.gap_at(), Some(START + Seconds::new(80.0)));
        assert_eq!(pipeline.silence(START + Seconds::new(80.01)).alarms.len(), 1);
        assert_eq!(pipeline.gap_at(), None);
    }
}
