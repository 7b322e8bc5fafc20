//! Watches whether the disk takes what is seen, and raises and returns the record's own alarm. Owns that alarm's life;
//! what is kept meanwhile is the store's.

use super::{AppError, ended};
use crate::alarm::{AlarmEffect, RECORD_FULL, Tuning, record_full};
use crate::clock::Clock;
use crate::store::{Store, StoreError};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::format::{clock_near, zone_name};
use jiff::tz::TimeZone;
use std::sync::Arc;
use tokio::sync::watch;
use tokio::time::sleep;

#[derive(Debug)]
pub(super) struct Disk {
    store: Store,
    clock: Arc<Clock>,
    /// The clock that its words tell times on, as the pages and the report do.
    zone: TimeZone,
    tuning: Tuning,
    notices: bool,
}

impl Disk {
    pub(super) fn new(store: Store, clock: Arc<Clock>, zone: TimeZone, tuning: Tuning, notices: bool) -> Self {
        Self { store, clock, zone, tuning, notices }
    }

    /// Watches until the daemon stops.
    pub(super) async fn run(self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        tokio::select! {
            watched = self.watch() => watched.map_err(AppError::from),
            () = ended(stopped) => Ok(()),
        }
    }

    async fn watch(&self) -> Result<(), StoreError> {
        let mut failing = self.store.failing();
        // An alarm that stands from before a restart is gone when the disk takes everything, as any other.
        let mut standing = self.standing();
        loop {
            if standing.is_none() {
                self.lasting(&mut failing, true, self.tuning.on_delay).await?;
                let Some(alarm) = self.alarm() else { continue };
                standing = Some(alarm.at());
                self.store.commit_own_async(vec![alarm], self.notices).await?;
            }
            self.lasting(&mut failing, false, self.tuning.off_delay).await?;
            if let Some(raised) = standing.take() {
                let at = self.clock.now().at.max(raised);
                let gone = AlarmEffect::Returned { subject: RECORD_FULL, raised, at, is_superseded: false };
                self.store.commit_own_async(vec![gone], self.notices).await?;
            }
        }
    }

    fn standing(&self) -> Option<Timestamp> {
        let standing = self.store.reader().and_then(|reader| reader.standing_of_record());
        let standing = standing.inspect_err(|error| tracing::warn!(%error, "the record's own alarms can't be read"));
        standing.ok()?.into_iter().find(|(subject, _)| *subject == RECORD_FULL).map(|(_, raised)| raised)
    }

    /// Waits until the disk has failed, or has taken everything, for so long without a break.
    async fn lasting(
        &self,
        failing: &mut watch::Receiver<bool>,
        wanted: bool,
        delay: Seconds,
    ) -> Result<(), StoreError> {
        loop {
            self.until(failing, wanted).await?;
            tokio::select! {
                biased;
                over = self.until(failing, !wanted) => over?,
                () = sleep(self.clock.real(delay)) => return Ok(()),
            }
        }
    }

    async fn until(&self, failing: &mut watch::Receiver<bool>, wanted: bool) -> Result<(), StoreError> {
        failing.wait_for(|failing| *failing == wanted).await.map(|_| ()).map_err(|_| StoreError::Closed)
    }

    fn alarm(&self) -> Option<AlarmEffect> {
        let unwritten = self.store.unwritten()?;
        let now = self.clock.now().at;
        let told = |at| format!("{} ({})", clock_near(at, now, &self.zone), zone_name(&self.zone));
        let [since, until] = [unwritten.since, unwritten.lasts_until].map(|at| at.map(told));
        Some(record_full(now, self.tuning.priority, &unwritten.cause, since.as_deref(), until.as_deref()))
    }
}
