//! One printer's task: poll, follow, commit, wait. Owns the rhythm and what happens when the host or the disk fails.

use super::{AppError, ended};
use crate::alarm::IdleHotRule;
use crate::clock::{Clock, Stamp};
use crate::config::Printer;
use crate::entry::{Settings, SettingsChange, ToolNumber};
use crate::host::{Client, Host, delay};
use crate::pipeline::{Pipeline, Step};
use crate::store::{Commit, Store, StoreError};
use dwell_analysis::units::Seconds;
use rand::RngExt;
use std::collections::VecDeque;
use std::sync::Arc;
use tokio::sync::watch as channel;

/// Steps that wait for the disk: an hour of polls at one a second. Older ones are dropped and said so.
const BACKLOG_MAX: usize = 3600;

pub(super) struct Watch {
    printer: Printer,
    host: Host,
    store: Store,
    clock: Arc<Clock>,
    idle_hot: IdleHotRule,
    notices: bool,
    backlog: VecDeque<Step>,
    fault: Option<String>,
}

impl Watch {
    pub(super) fn new(
        printer: &Printer,
        client: &Client,
        store: &Store,
        clock: &Arc<Clock>,
        idle_hot: IdleHotRule,
    ) -> Self {
        let host = Host::new(client.clone(), Arc::clone(&printer.source), Arc::clone(&printer.map));
        Self {
            printer: printer.clone(),
            host,
            store: store.clone(),
            clock: Arc::clone(clock),
            idle_hot,
            notices: false,
            backlog: VecDeque::new(),
            fault: None,
        }
    }

    pub(super) fn notifying(self, notices: bool) -> Self {
        Self { notices, ..self }
    }

    pub(super) async fn run(mut self, stopped: channel::Receiver<bool>) -> Result<(), AppError> {
        let mut pipeline = self.take_up()?;
        // What the last run noted is not this run's fault.
        self.store.note_fault(&self.printer.name, self.clock.now().at, None).await?;
        let mut misses = 0_u32;
        let mut n_jumps = 0;
        let stop = ended(stopped);
        tokio::pin!(stop);
        loop {
            let stamp = self.clock.now();
            let after_gap = stamp.n_jumps != n_jumps;
            let clock = Arc::clone(&self.clock);
            let polled = tokio::select! {
                polled = self.host.poll(|| clock.now().at, after_gap) => polled,
                () = &mut stop => return self.finish().await,
            };
            let found = match polled.reading {
                Ok(None) => Step::default(),
                Ok(Some(reading)) => {
                    misses = 0;
                    n_jumps = stamp.n_jumps;
                    self.note_fault(stamp, None).await?;
                    pipeline.read(reading)
                }
                Err(error) => {
                    misses = misses.saturating_add(1);
                    self.note_fault(stamp, Some(error.to_string())).await?;
                    pipeline.silence(self.clock.now().at)
                }
            };
            self.keep(found).await?;
            let interval = self.clock.real(Seconds::new(self.printer.poll.as_secs_f64()));
            let wait = delay(interval, misses, rand::rng().random_range(0.0..=1.0));
            let due = tokio::time::Instant::now() + wait.saturating_sub(self.since(stamp));
            tokio::select! {
                () = tokio::time::sleep_until(due) => {}
                () = &mut stop => return self.finish().await,
            }
        }
    }

    /// Real time since a stamp.
    fn since(&self, stamp: Stamp) -> std::time::Duration {
        self.clock.real(self.clock.now().at - stamp.at)
    }

    /// Takes the printer up where the record left it, and records settings that the configuration changes.
    fn take_up(&self) -> Result<Pipeline, StoreError> {
        let hot_end = self.printer.map.hot_end;
        let n_tools = self.printer.settings.len();
        self.store.ensure_printer(&self.printer.name, hot_end, n_tools)?;
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

    /// Says once that polls fail, and why; once that they no longer do.
    async fn note_fault(&mut self, stamp: Stamp, cause: Option<String>) -> Result<(), StoreError> {
        if cause == self.fault {
            return Ok(());
        }
        if let Some(cause) = &cause {
            tracing::warn!(printer = %self.printer.name, %cause, "no reading");
        } else {
            tracing::info!(printer = %self.printer.name, "readings again");
        }
        let noted = self.store.note_fault(&self.printer.name, stamp.at, cause.clone()).await;
        match noted {
            Ok(()) => {
                self.fault = cause;
                Ok(())
            }
            // The disk's own trouble is told where a step waits for it; the note is tried again with the next poll.
            Err(error) if error.is_transient() => Ok(()),
            Err(error) => Err(error),
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
