//! One printer's task: poll, follow, commit, wait. Owns the rhythm and what happens when the host or the disk fails.

use super::{AppError, ended};
use crate::alarm::IdleHotRule;
use crate::clock::Clock;
use crate::config::Printer;
use crate::entry::{HotEnd, PrinterName, Settings, SettingsChange, ToolNumber};
use crate::host::{Client, Host, Polled, Skew, delay};
use crate::pipeline::{Pipeline, Step};
use crate::store::{Commit, Store, StoreError};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rand::RngExt;
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch as channel;
use tokio::time::{Instant, sleep_until};

/// Steps that wait for the disk: an hour of polls at one a second. Older ones are dropped and said so.
const BACKLOG_MAX: usize = 3600;

/// What is wrong with the polls is written down at most this often while it only changes its words: a cause that names
/// a number that moves must not wear the card out.
const NOTE_EVERY: Seconds = Seconds::new(10.0);

/// A host's clock that has moved by less against ours is not worth a write.
const SKEW_MOVED_MIN: Seconds = Seconds::new(1.0);

pub(super) struct Watch {
    printer: Printer,
    host: Host,
    store: Store,
    clock: Arc<Clock>,
    idle_hot: IdleHotRule,
    notices: bool,
    backlog: VecDeque<Step>,
    noted: Noted,
}

/// What the record has to know of a printer before it is watched.
pub(super) fn known(printer: &Printer) -> (PrinterName, HotEnd, usize) {
    (printer.name.clone(), printer.map.hot_end, printer.settings.len())
}

/// What the record holds of the polls themselves.
#[derive(Default)]
struct Noted {
    at: Option<Timestamp>,
    troubles: Vec<String>,
    skew: Option<Skew>,
}

impl Watch {
    pub(super) fn new(
        printer: &Printer,
        client: Client,
        store: &Store,
        clock: &Arc<Clock>,
        idle_hot: IdleHotRule,
    ) -> Self {
        let host = Host::new(client, Arc::clone(&printer.source), Arc::clone(&printer.map));
        Self {
            printer: printer.clone(),
            host,
            store: store.clone(),
            clock: Arc::clone(clock),
            idle_hot,
            notices: false,
            backlog: VecDeque::new(),
            noted: Noted::default(),
        }
    }

    pub(super) fn notifying(self, notices: bool) -> Self {
        Self { notices, ..self }
    }

    pub(super) async fn run(mut self, stopped: channel::Receiver<bool>) -> Result<(), AppError> {
        let mut pipeline = self.take_up()?;
        let mut misses = 0_u32;
        let mut n_jumps = 0;
        let interval = self.clock.real(Seconds::new(self.printer.poll.as_secs_f64()));
        let stop = ended(stopped);
        tokio::pin!(stop);
        // Hundreds of printers must not be asked all at once.
        let mut due = Instant::now() + interval.mul_f64(chance());
        loop {
            // A host that is not to be asked for a while can fall silent in that while.
            while let Some(gap) = self.gap_before(&pipeline, due) {
                tokio::select! {
                    () = sleep_until(gap) => {}
                    () = &mut stop => return self.finish().await,
                }
                let found = pipeline.silence(self.clock.now().at);
                self.keep(found).await?;
            }
            tokio::select! {
                () = sleep_until(due) => {}
                () = &mut stop => return self.finish().await,
            }
            let asked = Instant::now();
            let stamp = self.clock.now();
            let clock = Arc::clone(&self.clock);
            let polled = tokio::select! {
                polled = self.host.poll(|| clock.now().at, stamp.n_jumps != n_jumps) => polled,
                () = &mut stop => return self.finish().await,
            };
            match &polled.reading {
                Ok(Some(_)) => (misses, n_jumps) = (0, stamp.n_jumps),
                Ok(None) => misses = 0,
                Err(_) => misses = misses.saturating_add(1),
            }
            let hold = polled.hold.map_or(Duration::ZERO, |hold| self.clock.real(Seconds::new(hold.as_secs_f64())));
            due = asked + delay(interval, misses, chance()).max(hold);
            self.note(stamp.at, &polled).await?;
            let found = self.follow(&mut pipeline, polled);
            self.keep(found).await?;
        }
    }

    /// What one poll means.
    fn follow(&self, pipeline: &mut Pipeline, polled: Polled) -> Step {
        let now = self.clock.now().at;
        match polled.reading {
            Ok(Some(reading)) => pipeline.read(reading),
            Ok(None) => pipeline.silence(now),
            Err(error) => {
                let mut found = pipeline.silence(now);
                if error.is_refusal() {
                    found.extend(pipeline.refused(now, &error.to_string()));
                }
                found
            }
        }
    }

    /// When the silence becomes a gap, if that is before the next poll.
    fn gap_before(&self, pipeline: &Pipeline, due: Instant) -> Option<Instant> {
        // A moment later, so that the time is really over.
        let left = pipeline.gap_at()? - self.clock.now().at + Seconds::new(0.01);
        let gap = Instant::now() + self.clock.real(left);
        (gap < due).then_some(gap)
    }

    /// Takes the printer up where the record left it, and records settings that the configuration changes.
    fn take_up(&self) -> Result<Pipeline, StoreError> {
        let hot_end = self.printer.map.hot_end;
        let n_tools = self.printer.settings.len();
        let mut resume = self.store.reader()?.resume(&self.printer.name)?.unwrap_or_default();
        resume.settings.resize(resume.settings.len().max(n_tools), Settings::default());
        let mut in_force = resume.settings.clone();
        for change in &resume.changes {
            if let Some(held) = in_force.get_mut(change.tool.idx()) {
                held.update(&change.settings);
            }
        }
        let mut pipeline = Pipeline::resumed(hot_end, self.idle_hot, resume);
        let at = self.clock.now().at;
        for (idx, (held, wanted)) in in_force.iter().zip(&self.printer.settings).enumerate() {
            let mut after = held.clone();
            after.update(wanted);
            if let Some(tool) = ToolNumber::new(idx).filter(|_| after != *held) {
                let change = SettingsChange { at, tool, settings: wanted.clone() };
                self.store.record_settings(&self.printer.name, &change)?;
                pipeline.set(&change);
            }
        }
        Ok(pipeline)
    }

    /// Notes what is wrong with the polls and how far the host's clock is off; logs each change.
    async fn note(&mut self, at: Timestamp, polled: &Polled) -> Result<(), StoreError> {
        if self.noted.wants(at, &polled.troubles) {
            self.log(polled);
            let noted = self.store.note_troubles(&self.printer.name, at, polled.troubles.clone()).await;
            if is_done(noted)? {
                self.noted.troubles.clone_from(&polled.troubles);
                self.noted.at = Some(at);
            }
        }
        if has_moved(self.noted.skew, polled.skew) {
            let noted = self.store.note_host_clock(&self.printer.name, at, polled.skew).await;
            if is_done(noted)? {
                self.noted.skew = polled.skew;
            }
        }
        Ok(())
    }

    fn log(&self, polled: &Polled) {
        let printer = &self.printer.name;
        for cause in polled.troubles.iter().filter(|cause| !self.noted.troubles.contains(cause)) {
            if polled.reading.is_ok() {
                tracing::warn!(%printer, %cause, "a poll lacks something");
            } else {
                tracing::warn!(%printer, %cause, "no reading");
            }
        }
        if polled.troubles.is_empty() {
            tracing::info!(%printer, "readings again");
        }
    }

    /// Commits a step after those that still wait; keeps it if the disk takes nothing.
    async fn keep(&mut self, step: Step) -> Result<(), StoreError> {
        self.backlog.push_back(step);
        while let Some(step) = self.backlog.front() {
            let commit = Commit {
                printer: self.printer.name.clone(),
                effects: step.effects.clone(),
                alarms: step.alarms.clone(),
                notices: self.notices,
            };
            match self.store.commit_async(commit).await {
                Ok(()) => drop(self.backlog.pop_front()),
                Err(error) if error.is_transient() => {
                    if self.backlog.len() == 1 || self.backlog.len().is_multiple_of(60) {
                        let waiting = self.backlog.len();
                        tracing::error!(printer = %self.printer.name, %error, waiting, "the record can't be written");
                    }
                    if self.backlog.len() > BACKLOG_MAX {
                        // A plain reading first: without its beginning a later end would find no row.
                        let plain = self.backlog.iter().position(|step| !step.has_events());
                        drop(self.backlog.remove(plain.unwrap_or(0)));
                        tracing::error!(printer = %self.printer.name, "a step was dropped: the record will lack it");
                    }
                    return Ok(());
                }
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    async fn finish(&mut self) -> Result<(), AppError> {
        self.keep(Step::default()).await?;
        Ok(())
    }
}

impl Noted {
    /// Whether the record is to be told: at once when trouble comes or goes, now and then when it changes its words.
    fn wants(&self, at: Timestamp, troubles: &[String]) -> bool {
        let words_alone = !troubles.is_empty() && !self.troubles.is_empty();
        let is_recent = self.at.is_some_and(|noted| at - noted < NOTE_EVERY);
        troubles != self.troubles && !(words_alone && is_recent)
    }
}

fn chance() -> f64 {
    rand::rng().random_range(0.0..=1.0)
}

/// Whether a note was taken. The disk's own trouble is told where a step waits for it; the note is tried again.
fn is_done(noted: Result<(), StoreError>) -> Result<bool, StoreError> {
    match noted {
        Ok(()) => Ok(true),
        Err(error) if error.is_transient() => Ok(false),
        Err(error) => Err(error),
    }
}

/// Whether the host's clock has become known or unknown, has moved, or is known much better now.
fn has_moved(noted: Option<Skew>, found: Option<Skew>) -> bool {
    match (noted, found) {
        (None, None) => false,
        (None, Some(_)) | (Some(_), None) => true,
        (Some(noted), Some(found)) => {
            let moved = (found.ahead - noted.ahead).get().abs();
            moved > SKEW_MOVED_MIN.get().max(noted.within.get()) || found.within.get() < noted.within.get() / 2.0
        }
    }
}
