//! Keeps the record whole: examines it after the start and weekly, takes the daily backup, and raises the alarm of a
//! record that was set aside. Sets nothing aside itself: damage ends it, and the daemon with it begins anew.

use super::backups::{BackupError, Backups};
use super::duties::{Matter, Matters, Standing};
use super::restore;
use crate::alarm::{AlarmEffect, Rule, Rules, Subject};
use crate::app::{AppError, beside, ended};
use crate::clock::Clock;
use crate::config::BackupPlan;
use crate::schedule::day_of;
use crate::store::{Halt, SetAside, Store, StoreError, examine, set_aside_of};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use futures_util::FutureExt;
use futures_util::future::FusedFuture;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// How often it is asked whether anything is due.
const LOOK_EVERY: Duration = Duration::from_secs(30);
const DAY: Seconds = Seconds::minutes(24.0 * 60.0);
/// Bits rot over months: a week is soon enough to find it while a sound backup is kept.
const EXAMINE_EVERY: Seconds = Seconds::minutes(7.0 * 24.0 * 60.0);
/// What failed is not tried with every look: a copy that the disk has no room for costs as much as one that it has.
const AGAIN_AFTER: Seconds = Seconds::minutes(60.0);

/// Keeps the record whole.
pub struct Keeper {
    store: Store,
    clock: Arc<Clock>,
    zone: TimeZone,
    backups: Backups,
    notices: bool,
    rules: Rules,
    /// When each is due next; at once after the start.
    alarm_due: Option<Timestamp>,
    check_due: Option<Timestamp>,
    backup_due: Option<Timestamp>,
    /// Why the newest backup that was tried was not taken; the log was told so.
    failed: Option<String>,
    standing: Standing,
}

impl Keeper {
    /// A keeper of the store's record, whose days are those of `zone`.
    #[must_use]
    pub fn new(store: Store, clock: Arc<Clock>, zone: TimeZone, plan: &BackupPlan) -> Self {
        let backups = Backups::new(store.path(), plan.folder(store.path()), plan.keep);
        let (alarm_due, check_due, backup_due) = (None, None, None);
        let (rules, failed, standing) = (Rules::default(), None, Standing::default());
        let notices = false;
        Self { store, clock, zone, backups, notices, rules, alarm_due, check_due, backup_due, failed, standing }
    }

    /// How its alarms are tuned, where that differs from what is usual.
    #[must_use]
    pub fn tuned(self, rules: Rules) -> Self {
        Self { rules, ..self }
    }

    /// Whether its alarms go to the outbox too.
    #[must_use]
    pub fn notifying(self, notices: bool) -> Self {
        Self { notices, ..self }
    }

    /// Keeps the record until the daemon stops.
    ///
    /// # Errors
    /// If the record is damaged, or the work can't be handed over.
    pub async fn run(mut self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let stop = ended(stopped).fuse();
        tokio::pin!(stop);
        let halt = Halt::default();
        loop {
            let its = halt.clone();
            let work = move || {
                let done = self.look(&its);
                (self, done)
            };
            let (keeper, done) = beside(&halt, stop.as_mut(), work).await?;
            self = keeper;
            match done {
                Err(StoreError::Halted) => return Ok(()),
                Err(error @ StoreError::Damaged { .. }) => return Err(error.into()),
                Err(error) => tracing::error!(%error, "the record could not be looked after"),
                Ok(()) => {}
            }
            if stop.is_terminated() {
                return Ok(());
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK_EVERY) => {}
                () = &mut stop => return Ok(()),
            }
        }
    }

    /// Does what is due, what a person waits for first.
    fn look(&mut self, halt: &Halt) -> Result<(), StoreError> {
        let now = self.clock.now().at;
        let is_due = |due: Option<Timestamp>| due.is_none_or(|due| due <= now);
        let is_first = self.alarm_due.is_none();
        if is_due(self.alarm_due) {
            self.alarm_due = Some(now + DAY);
            self.settle_alarm(now, halt)?;
        }
        if is_due(self.check_due) {
            self.check_due = Some(now + AGAIN_AFTER);
            examine(self.store.path(), halt)?;
            self.check_due = Some(now + EXAMINE_EVERY);
            tracing::info!("the record is sound");
        }
        let today = day_of(now, &self.zone).filter(|today| is_due(self.backup_due) && self.backups.are_due(*today));
        // A record without readings is no loss, and its backup might take the place of one that is.
        if let Some(today) = today
            && self.store.reader()?.newest()?.is_some()
        {
            self.backup_due = Some(now + AGAIN_AFTER);
            return self.back_up(today, now, halt);
        }
        // After a restart today's may be there already, or none be wanted any more; and a delay may be over.
        if is_first || self.standing.is_turning() { self.settle_backup(now) } else { Ok(()) }
    }

    fn back_up(&mut self, today: Date, now: Timestamp, halt: &Halt) -> Result<(), StoreError> {
        // While a record lies aside, the backups from before are all that is left of it.
        let may_drop = set_aside_of(self.store.path()).is_ok_and(|lying| lying.is_empty());
        let taken = self.backups.take(today, halt).and_then(|copy| {
            let n_old = if may_drop { self.backups.drop_old(&copy)? } else { 0 };
            tracing::info!(copy = %copy.display(), n_old, "daily backup taken");
            Ok(())
        });
        match taken {
            Ok(()) => {
                self.failed = None;
                self.settle_backup(now)
            }
            Err(BackupError::Store(error @ (StoreError::Halted | StoreError::Damaged { .. }))) => Err(error),
            Err(error) => {
                let words = error.to_string();
                // Tried again by the hour: said once.
                if self.failed.as_ref() != Some(&words) {
                    tracing::error!(error = words, "no daily backup");
                    self.failed = Some(words);
                }
                self.settle_backup(now)
            }
        }
    }

    /// Raises the alarm that there is no backup, unless it stands; lets it return when one was taken.
    fn settle_backup(&mut self, now: Timestamp) -> Result<(), StoreError> {
        let subject = Subject { rule: Rule::BackupFailed, tool: None };
        // What stands can't be told while changes wait for the disk: it is tried again with the next backup.
        if self.store.unwritten().is_some() {
            return Ok(());
        }
        let standing =
            self.store.reader()?.standing_of_record()?.into_iter().map(|(subject, at)| ((None, subject), at));
        let standing: Vec<_> = standing.collect();
        let matter = self.failed.as_ref().map(|why| Matter {
            key: (None, subject),
            cause: format!("The daily backup was not taken: {why}."),
            consequence: "If the record is damaged, what was recorded since the newest backup is lost.".to_owned(),
            action: "Put right what the cause names; it is tried again by the hour, and this alarm goes with the next \
                backup."
                .to_owned(),
        });
        let found = Matters { rule: Rule::BackupFailed, found: Some(matter.into_iter().collect()) };
        let changes = self.standing.settle(&standing, vec![found], &self.rules, now);
        let alarms: Vec<AlarmEffect> = changes.into_iter().map(|(_, alarm)| alarm).collect();
        if alarms.is_empty() { Ok(()) } else { self.store.commit_own(alarms, self.notices).map(|_| ()) }
    }

    /// Raises the alarm while a record lies aside, and lets it return when none does any more.
    fn settle_alarm(&self, now: Timestamp, halt: &Halt) -> Result<(), StoreError> {
        let subject = Subject { rule: Rule::RecordDamaged, tool: None };
        let standing = self.store.reader()?.alarms(Some(now), None)?.into_iter();
        let standing = standing.rev().find(|row| row.subject == subject && row.returned.is_none());
        let lying = match set_aside_of(self.store.path()) {
            Ok(lying) => lying,
            Err(error) => {
                tracing::error!(%error, "whether a damaged record lies beside this one is not known");
                return Ok(());
            }
        };
        let effect = match (lying.last(), standing) {
            (Some(newest), None) => self.raised(subject, newest, now, halt)?,
            (None, Some(alarm)) => {
                AlarmEffect::Returned { subject, raised: alarm.raised, at: now.max(alarm.raised), is_superseded: false }
            }
            (Some(_), Some(_)) | (None, None) => return Ok(()),
        };
        self.store.commit_own(vec![effect], self.notices).map(|_| ())
    }

    fn raised(
        &self,
        subject: Subject,
        aside: &SetAside,
        at: Timestamp,
        halt: &Halt,
    ) -> Result<AlarmEffect, StoreError> {
        let backup = match self.backups.newest_sound(halt) {
            Ok(backup) => backup,
            Err(BackupError::Store(error @ StoreError::Halted)) => return Err(error),
            Err(error) => {
                tracing::error!(%error, "the backups can't be looked through");
                None
            }
        };
        let restore::Words { cause, consequence, action } =
            restore::words(self.store.path(), aside, backup.as_deref(), self.backups.folder());
        let priority = self.rules.tuning(Rule::RecordDamaged, None).priority;
        Ok(AlarmEffect::Raised { subject, at, priority, suppressed: None, cause, consequence, action })
    }
}
