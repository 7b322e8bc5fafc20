//! Alarms that no reading raises: a part that is due, outcomes that nobody told, a disk that fills, attempts on the
//! dashboard. Looks into the record and around it now and then. Owns when it looks; what counts is `matter`'s, and which
//! alarm comes or goes is `standing`'s.

mod matter;
mod standing;

pub(super) use matter::{Matter, Matters};
pub(super) use standing::{Key, Standing};

use super::backups::Room;
use crate::alarm::{AlarmEffect, Rule, Rules, Subject};
use crate::app::{AppError, ended};
use crate::clock::Clock;
use crate::entry::PrinterName;
use crate::store::{Commit, PartRow, PrintFilter, Reader, Store, StoreError};
use crate::study::{self, Learning};
use crate::web::Attempts;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Probability, Seconds};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// How often it is looked.
const LOOK_EVERY: Duration = Duration::from_secs(30);
/// Parts are looked at this often, and whenever one was changed: their wear is summed over the whole record.
const PARTS_EVERY: Seconds = Seconds::minutes(6.0 * 60.0);

/// The rules whose alarms come and go here.
const RULES: [Rule; 4] = [Rule::PartDue, Rule::OutcomeMissing, Rule::DiskLow, Rule::SignInFailures];

/// Raises and returns the alarms of the schedule.
pub struct Duties {
    store: Store,
    clock: Arc<Clock>,
    rules: Rules,
    learning: Learning,
    attempts: Arc<Attempts>,
    notices: bool,
    standing: Standing,
    parts: Option<Parts>,
    /// Whether the attempts know of an alarm that stands from before the start.
    is_taken_up: bool,
}

/// What was found of parts.
struct Parts {
    looked: Timestamp,
    /// The newest change of all, and how many there are.
    of: (usize, Option<Timestamp>),
    due: Vec<Matter>,
}

impl Duties {
    /// The duties of a store's record.
    #[must_use]
    pub fn new(store: Store, clock: Arc<Clock>, rules: Rules, learning: Learning, attempts: Arc<Attempts>) -> Self {
        let (standing, parts) = (Standing::default(), None);
        Self { store, clock, rules, learning, attempts, notices: false, standing, parts, is_taken_up: false }
    }

    /// Whether its alarms go to the outbox too.
    #[must_use]
    pub fn notifying(self, notices: bool) -> Self {
        Self { notices, ..self }
    }

    /// Looks until the daemon stops.
    ///
    /// # Errors
    /// If the record is damaged, or the work can't be handed over; what fails otherwise is told in the log.
    pub async fn run(mut self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let stop = ended(stopped);
        tokio::pin!(stop);
        let attempts = Arc::clone(&self.attempts);
        loop {
            let work = move || {
                let done = self.look();
                (self, done)
            };
            let (duties, done) = tokio::task::spawn_blocking(work).await?;
            self = duties;
            match done {
                Ok(()) => {}
                Err(error @ (StoreError::Damaged { .. } | StoreError::Doubtful(_))) => return Err(error.into()),
                Err(error) => tracing::error!(%error, "what is due could not be looked up"),
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK_EVERY) => {}
                () = attempts.become_many() => {}
                () = &mut stop => return Ok(()),
            }
        }
    }

    /// Raises what holds and does not stand, and lets return what stands and is done.
    fn look(&mut self) -> Result<(), StoreError> {
        // What stands can't be told while changes wait for the disk.
        if self.store.unwritten().is_some() {
            return Ok(());
        }
        let now = self.clock.now().at;
        let reader = self.store.reader()?;
        let rows = reader.alarms(Some(now), None)?.into_iter();
        let ours = rows.filter(|row| row.returned.is_none() && RULES.contains(&row.subject.rule));
        let stands: Vec<(Key, Timestamp)> = ours.map(|row| ((row.printer, row.subject), row.raised)).collect();
        if !std::mem::replace(&mut self.is_taken_up, true) {
            let before = stands.iter().find(|((_, subject), _)| subject.rule == Rule::SignInFailures);
            if let Some((_, raised)) = before {
                self.attempts.were_many(*raised);
            }
        }
        let found = self.found(&reader, &stands, now)?;
        drop(reader);
        let changes = self.standing.settle(&stands, found, &self.rules, now);
        self.commit(changes)
    }

    fn found(
        &mut self,
        reader: &Reader,
        stands: &[(Key, Timestamp)],
        now: Timestamp,
    ) -> Result<Vec<Matters>, StoreError> {
        let is_up = |rule, printer: Option<&PrinterName>| {
            let is_it = |((whose, subject), _): &&(Key, Timestamp)| subject.rule == rule && whose.as_ref() == printer;
            stands.iter().any(|stands| is_it(&stands))
        };
        let mut missing = Vec::new();
        for printer in reader.printers()?.into_iter().filter(|_| !self.learning.silence_means_clean) {
            let from = Some(now - matter::LOOKED_BACK);
            let filter = PrintFilter { printer: Some(printer.name.clone()), from, ..PrintFilter::default() };
            let is_up = is_up(Rule::OutcomeMissing, Some(&printer.name));
            missing.extend(matter::outcome_missing(&printer.name, &reader.prints(&filter)?, is_up, now));
        }
        let folder = self.store.path().parent().filter(|folder| !folder.as_os_str().is_empty());
        let room = Room::of(self.store.path(), folder.unwrap_or_else(|| std::path::Path::new(".")));
        let disk = match room {
            Ok(room) => {
                let found = matter::disk_low(&room, is_up(Rule::DiskLow, None));
                Matters { rule: Rule::DiskLow, found: Some(found.into_iter().collect()) }
            }
            Err(error) => {
                tracing::debug!(%error, "how much room the disk of the record has is not known");
                Matters { rule: Rule::DiskLow, found: None }
            }
        };
        let attempts = self.attempts.are_many(now).map(matter::sign_in_failures);
        Ok(vec![
            Matters { rule: Rule::PartDue, found: Some(self.parts_due(reader, now)?) },
            Matters { rule: Rule::OutcomeMissing, found: Some(missing) },
            disk,
            Matters { rule: Rule::SignInFailures, found: Some(attempts.into_iter().collect()) },
        ])
    }

    fn parts_due(&mut self, reader: &Reader, now: Timestamp) -> Result<Vec<Matter>, StoreError> {
        let changes: Vec<PartRow> = reader.parts(None)?;
        let of = (changes.len(), changes.iter().map(|row| row.change.at).max());
        if let Some(parts) = self.parts.as_ref().filter(|parts| parts.of == of && now - parts.looked < PARTS_EVERY) {
            return Ok(parts.due.clone());
        }
        let due = match Probability::new(self.learning.accepted_risk) {
            Some(accepted) => matter::parts_due(&study::parts(reader, accepted)?),
            None => Vec::new(),
        };
        self.parts = Some(Parts { looked: now, of, due: due.clone() });
        Ok(due)
    }

    fn commit(&self, changes: Vec<(Option<PrinterName>, AlarmEffect)>) -> Result<(), StoreError> {
        for (printer, alarm) in changes {
            let Subject { rule, .. } = alarm.key().0;
            tracing::info!(rule = rule.word(), is_raised = alarm.is_raise(), "an alarm of the schedule");
            match printer {
                Some(printer) => {
                    let (alarms, notices) = (vec![alarm], self.notices);
                    self.store.commit(Commit { printer, effects: Vec::new(), alarms, notices })?;
                }
                None => {
                    self.store.commit_own(vec![alarm], self.notices)?;
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
