//! One printer's task: poll, follow, commit, wait. Owns the rhythm and what happens when the host fails.

use super::job_file::{AGAIN_AFTER, Looking, Search, Wanted};
use super::{AppError, ended};
use crate::alarm::Rules;
use crate::clock::Clock;
use crate::config::Printer;
use crate::entry::{HeaterFact, JobFile, Settings, SettingsChange, ToolNumber};
use crate::host::{Client, Host, Polled, Skew, delay, explain};
use crate::notify::Pulse;
use crate::pipeline::{Pipeline, Step};
use crate::store::{Commit, Known, Reader, Store, StoreError, Understood};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rand::RngExt;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch as channel;
use tokio::time::{Instant, sleep_until};

/// What is understood of the host is told to the page at most this often while nothing is wrong with it anew.
const UNDERSTOOD_EVERY: Seconds = Seconds::new(10.0);

/// What is wrong with the polls is logged at most this often while it only changes its words.
const LOG_EVERY: Seconds = Seconds::new(10.0);

pub(super) struct Watch {
    printer: Printer,
    host: Host,
    store: Store,
    clock: Arc<Clock>,
    notices: bool,
    /// Where this task says that it goes on, and as which.
    pulse: Option<(usize, Pulse)>,
    noted: Noted,
    files: Option<Files>,
    /// What was found out about its heaters and is not in the record yet, the newest word alone.
    heaters: Option<channel::Receiver<Vec<HeaterFact>>>,
}

/// The search for the job files of a printer's prints.
struct Files {
    search: Search,
    /// The print whose file was looked for: it is looked for once.
    looked_for: Option<Timestamp>,
    /// The length by which the file was refused: the host may yet tell another one, if that was still the last job's.
    misled_by: Option<u64>,
    looking: Option<Looking>,
    /// What was found and is not in the record yet.
    found: Option<JobFile>,
    /// Why the file of the print that is on is not known, for the page.
    trouble: Option<String>,
    /// Length of the job's file by the host's newest word.
    bytes: Option<u64>,
}

/// A printer taken up where the record left it, and what the record has to be told of it before it is watched.
pub(super) fn take_up(
    reader: &Reader,
    printer: &Printer,
    rules: &Rules,
    at: Timestamp,
) -> Result<(Pipeline, Known), StoreError> {
    let hot_end = printer.map.hot_end;
    let n_tools = printer.settings.len();
    let mut resume = reader.resume(&printer.name)?.unwrap_or_default();
    resume.settings.resize(resume.settings.len().max(n_tools), Settings::default());
    let mut in_force = resume.settings.clone();
    for change in &resume.changes {
        if let Some(held) = in_force.get_mut(change.tool.idx()) {
            held.update(&change.settings);
        }
    }
    let mut pipeline =
        Pipeline::resumed(Arc::clone(&printer.materials), hot_end, Arc::new(rules.of(&printer.name)), resume);
    let mut changes = Vec::new();
    for (idx, (held, wanted)) in in_force.iter().zip(&printer.settings).enumerate() {
        let mut after = held.clone();
        after.update(wanted);
        if let Some(tool) = ToolNumber::new(idx).filter(|_| after != *held) {
            let change = SettingsChange { at, tool, settings: wanted.clone() };
            pipeline.set(&change);
            changes.push(change);
        }
    }
    Ok((pipeline, Known { printer: printer.name.clone(), hot_end, n_tools, changes }))
}

/// What was said of the polls.
#[derive(Default)]
struct Noted {
    /// As the page has it.
    troubles: Vec<String>,
    skew: Option<Skew>,
    /// As the log has it.
    logged: Vec<String>,
    logged_at: Option<Timestamp>,
    understood_at: Option<Timestamp>,
}

impl Watch {
    pub(super) fn new(printer: &Printer, client: Client, store: &Store, clock: &Arc<Clock>) -> Self {
        let search = printer.job_file.as_ref().map(|places| Search {
            printer: Arc::new(printer.clone()),
            places: places.clone(),
            client: client.clone(),
            again_after: AGAIN_AFTER,
        });
        let host = Host::new(client, Arc::clone(&printer.source), Arc::clone(&printer.map));
        Self {
            printer: printer.clone(),
            host,
            store: store.clone(),
            clock: Arc::clone(clock),
            notices: false,
            pulse: None,
            noted: Noted::default(),
            files: search.map(Files::new),
            heaters: None,
        }
    }

    pub(super) fn notifying(self, notices: bool) -> Self {
        Self { notices, ..self }
    }

    /// This task says there that it goes on, as the one of that number.
    pub(super) fn beating(self, task: usize, pulse: &Pulse) -> Self {
        Self { pulse: Some((task, pulse.clone())), ..self }
    }

    /// What is told there of its heaters is taken over.
    pub(super) fn told_of_heaters(self, heaters: channel::Receiver<Vec<HeaterFact>>) -> Self {
        Self { heaters: Some(heaters), ..self }
    }

    pub(super) async fn run(
        mut self,
        mut pipeline: Pipeline,
        stopped: channel::Receiver<bool>,
    ) -> Result<(), AppError> {
        let (mut misses, mut has_polled) = (0_u32, false);
        let mut n_jumps = 0;
        let interval = self.clock.real(Seconds::new(self.printer.poll.as_secs_f64()));
        let stop = ended(stopped);
        tokio::pin!(stop);
        // Hundreds of printers must not be asked all at once.
        let mut due = Instant::now() + interval.mul_f64(chance());
        loop {
            // A host that is not to be asked for a while can fall silent in that while. Before the first poll it is the
            // daemon that was away.
            while let Some(gap) = self.gap_before(&pipeline, due).filter(|_| has_polled) {
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
            has_polled = true;
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
            if let Some((task, pulse)) = &self.pulse {
                pulse.back_by(*task, due);
            }
            self.note(stamp.at, &polled);
            if let Some(files) = &mut self.files {
                files.bytes = polled.job_bytes;
            }
            let found = self.follow(&mut pipeline, polled);
            self.keep(found).await?;
            self.seek_file(&mut pipeline).await?;
            self.learn_heaters(&mut pipeline).await?;
        }
    }

    /// What one poll means.
    fn follow(&self, pipeline: &mut Pipeline, polled: Polled) -> Step {
        let now = self.clock.now().at;
        let read_at = polled.reading.as_ref().ok().and_then(Option::as_ref).map(|reading| reading.at);
        let mut found = match polled.reading {
            Ok(Some(reading)) => pipeline.read(reading),
            Ok(None) | Err(_) => pipeline.silence(now),
        };
        match (polled.refused, read_at) {
            (Some(cause), _) => found.extend(pipeline.refused(now, &cause)),
            (None, Some(at)) => found.extend(pipeline.let_in(at)),
            (None, None) => {}
        }
        found
    }

    /// Looks for the file of the print that is on, once a print, and takes over what was found. Never waits for it.
    async fn seek_file(&mut self, pipeline: &mut Pipeline) -> Result<(), StoreError> {
        let Some(files) = &mut self.files else { return Ok(()) };
        let Some((started, name)) = pipeline.unplanned() else {
            files.rest().await;
            return Ok(());
        };
        let is_told_anew = files.misled_by.is_some() && files.bytes != files.misled_by;
        if files.looked_for != Some(started) || is_told_anew {
            let Some(name) = name.map(Arc::from) else { return Ok(()) };
            files.rest().await;
            files.looked_for = Some(started);
            files.looking = Some(files.search.begin(Wanted { started, name, bytes: files.bytes }));
        }
        if let Some(looking) = files.looking.take_if(|looking| looking.is_over()) {
            match looking.found().await {
                Ok(file) => files.found = Some(file),
                Err(error) => {
                    tracing::warn!(printer = %self.printer.name, %error, "no job file for this print");
                    files.trouble = Some(error.to_string());
                    files.misled_by = error.refused_by();
                }
            }
        }
        // The print itself may still wait for the disk.
        let takes = self.store.unwritten().is_none();
        let (Some(found), Some(at), true) = (&files.found, pipeline.newest(), takes) else { return Ok(()) };
        let file = JobFile { at, ..found.clone() };
        match self.store.record_job_file_async(&self.printer.name, &file).await {
            Ok(()) => {
                files.found = None;
                tracing::info!(printer = %self.printer.name, job = %file.name, from = file.from.word(), "job file read");
                pipeline.plan(&file);
                Ok(())
            }
            Err(error) if error.is_transient() => Ok(()),
            Err(error) if self.store.has_lost(&self.printer.name, started) => {
                files.found = None;
                files.trouble = Some(error.to_string());
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// Takes over what was found out about the heaters, from the newest reading on, once it is in the record.
    async fn learn_heaters(&mut self, pipeline: &mut Pipeline) -> Result<(), StoreError> {
        let takes = self.store.unwritten().is_none();
        let (Some(told), Some(at), true) = (&mut self.heaters, pipeline.newest(), takes) else { return Ok(()) };
        // A sender that is gone has nothing more to tell.
        if !told.has_changed().unwrap_or(false) {
            return Ok(());
        }
        let facts = told.borrow_and_update().clone();
        for fact in facts.into_iter().map(|fact| HeaterFact { at, ..fact }) {
            match self.store.record_heater_async(&self.printer.name, &fact).await {
                Ok(()) => pipeline.know(&fact),
                // Tried again with the next poll.
                Err(error) if error.is_transient() => told.mark_changed(),
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    /// When the silence becomes a gap, if that is before the next poll.
    fn gap_before(&self, pipeline: &Pipeline, due: Instant) -> Option<Instant> {
        // A moment later, so that the time is really over.
        let left = pipeline.gap_at()? - self.clock.now().at + Seconds::new(0.01);
        let gap = Instant::now() + self.clock.real(left);
        (gap < due).then_some(gap)
    }

    /// Tells the page what is wrong with the polls and how far the host's clock is off, and the log what is new of it.
    fn note(&mut self, at: Timestamp, polled: &Polled) {
        let of_file = self.files.as_ref().and_then(|files| files.trouble.clone());
        let troubles: Vec<String> = polled.troubles.iter().cloned().chain(of_file).collect();
        let is_fresh = self.noted.understood_at.is_some_and(|told| at - told < UNDERSTOOD_EVERY);
        if troubles != self.noted.troubles || !is_fresh {
            let documents = self.host.documents();
            let came = documents.iter().map(Option::is_some).collect();
            let fields = explain(&self.printer.map, documents, at);
            self.store.note_understood(&self.printer.name, Understood { at, came, fields });
            self.noted.understood_at = Some(at);
        }
        if troubles != self.noted.troubles || polled.skew != self.noted.skew {
            self.store.note_polls(&self.printer.name, at, &troubles, polled.skew);
            self.noted.troubles = troubles;
            self.noted.skew = polled.skew;
        }
        if self.noted.wants_log(&polled.troubles, at) {
            self.log(polled);
            self.noted.logged.clone_from(&polled.troubles);
            self.noted.logged_at = Some(at);
        }
    }

    fn log(&self, polled: &Polled) {
        let printer = &self.printer.name;
        for cause in polled.troubles.iter().filter(|cause| !self.noted.logged.contains(cause)) {
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

    /// Hands a step to the store, which keeps it if the disk takes nothing.
    async fn keep(&self, step: Step) -> Result<(), StoreError> {
        let Step { effects, alarms } = step;
        let commit = Commit { printer: self.printer.name.clone(), effects, alarms, notices: self.notices };
        self.store.commit_async(commit).await.map(|_| ())
    }

    async fn finish(&mut self) -> Result<(), AppError> {
        if let Some(files) = &mut self.files {
            files.rest().await;
        }
        Ok(())
    }
}

impl Files {
    fn new(search: Search) -> Self {
        Self { search, looked_for: None, misled_by: None, looking: None, found: None, trouble: None, bytes: None }
    }

    /// Forgets the print that it looked for, and ends the search for it.
    async fn rest(&mut self) {
        if let Some(looking) = self.looking.take() {
            looking.end().await;
        }
        (self.looked_for, self.misled_by, self.found, self.trouble) = (None, None, None, None);
    }
}

impl Noted {
    /// Whether the log is to be told: at once when trouble comes or goes, now and then when it changes its words.
    fn wants_log(&self, troubles: &[String], at: Timestamp) -> bool {
        let words_alone = !troubles.is_empty() && !self.logged.is_empty();
        let is_recent = self.logged_at.is_some_and(|logged| at - logged < LOG_EVERY);
        troubles != self.logged && !(words_alone && is_recent)
    }
}

fn chance() -> f64 {
    rand::rng().random_range(0.0..=1.0)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
