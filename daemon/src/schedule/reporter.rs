//! Writes the weekly report when it is due: once a week, also when the daemon was off at the hour.

use crate::app::{AppError, ended};
use crate::clock::Clock;
use crate::config::ReportPlan;
use crate::schedule::week_due;
use crate::store::{Reader, Store, StoreError};
use crate::study::{self, Asked, Known, Learning, Liners, Worked};
use dwell_analysis::polymer::Materials;
use dwell_dashboards::week::IsoWeek;
use dwell_dashboards::{render_report_html, render_report_mail, render_report_text};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// How often it is asked whether a report is due.
const LOOK_EVERY: Duration = Duration::from_secs(30);

/// Writes the weekly report.
#[derive(Clone, Debug)]
pub struct Reporter {
    plan: ReportPlan,
    materials: Arc<Materials>,
    store: Store,
    clock: Arc<Clock>,
    rehearsal: bool,
    learning: Learning,
    liners: Liners,
    /// What was worked out last of the whole record.
    worked: watch::Receiver<Option<Arc<Worked>>>,
}

/// Why a report was not written.
#[derive(Debug, thiserror::Error)]
enum ReportError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("{}: {error}", path.display())]
    File { path: PathBuf, error: std::io::Error },
}

impl Reporter {
    /// A reporter with its plan.
    #[must_use]
    pub fn new(plan: ReportPlan, materials: Arc<Materials>, store: Store, clock: Arc<Clock>, rehearsal: bool) -> Self {
        let (learning, liners, worked) = (Learning::default(), Liners::default(), watch::channel(None).1);
        Self { plan, materials, store, clock, rehearsal, learning, liners, worked }
    }

    /// The same, told of what is worked out of the record, and by which settings.
    #[must_use]
    pub fn told(self, worked: watch::Receiver<Option<Arc<Worked>>>, learning: Learning, liners: Liners) -> Self {
        Self { learning, liners, worked, ..self }
    }

    /// Writes reports as they fall due, until the daemon stops.
    ///
    /// # Errors
    /// If the work can't be handed over or the record is damaged; a report that fails is told in the log and tried again.
    pub async fn run(self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let stop = ended(stopped);
        tokio::pin!(stop);
        loop {
            let reporter = self.clone();
            match tokio::task::spawn_blocking(move || reporter.write_due()).await? {
                Ok(Some(path)) => tracing::info!(path = %path.display(), "weekly report written"),
                Ok(None) => {}
                // The daemon sets the record aside and begins a new one.
                Err(ReportError::Store(error @ StoreError::Damaged { .. })) => return Err(error.into()),
                Err(error) => tracing::error!(%error, "the weekly report was not written"),
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK_EVERY) => {}
                () = &mut stop => return Ok(()),
            }
        }
    }

    fn write_due(&self) -> Result<Option<PathBuf>, ReportError> {
        let now = self.clock.now().at;
        let plan = &self.plan;
        let Some(week) = week_due(now, &plan.zone, plan.weekday, plan.at) else { return Ok(None) };
        let reader = self.store.reader()?;
        // A week that ended before the record began has nothing to report.
        let ends = week.bounds(&plan.zone).ok().map(|(_, ends)| ends);
        let began = reader.oldest()?.zip(ends).is_some_and(|(oldest, ends)| oldest < ends);
        if !began || reader.report_written(&week.to_string())? {
            return Ok(None);
        }
        let worked = self.worked(&reader)?;
        let asked = Asked { period: week.into(), zone: plan.zone.clone(), as_of: now, rehearsal: self.rehearsal };
        let view = study::report(&reader, &self.materials, &worked, &asked)?;
        let path = write(&plan.folder, week, "html", &render_report_html(&view))?;
        write(&plan.folder, week, "mail.html", &render_report_mail(&view))?;
        write(&plan.folder, week, "txt", &render_report_text(&view))?;
        self.store.note_report(&week.to_string(), now)?;
        Ok(Some(path))
    }
}

impl Reporter {
    /// What was worked out last; at a start, before anything was, it is worked out here: a report that was due while
    /// the daemon was off waits for nobody.
    fn worked(&self, reader: &Reader) -> Result<Arc<Worked>, StoreError> {
        if let Some(worked) = self.worked.borrow().clone() {
            return Ok(worked);
        }
        let known = Known::of(reader, &self.materials, Some(self.learning))?;
        Ok(Arc::new(Worked::anew(reader, &self.materials, known, &self.liners, self.clock.now().at)?))
    }
}

fn write(folder: &Path, week: IsoWeek, ending: &str, text: &str) -> Result<PathBuf, ReportError> {
    let path = folder.join(format!("{week}.{ending}"));
    let written = std::fs::create_dir_all(folder).and_then(|()| std::fs::write(&path, text));
    written.map_err(|error| ReportError::File { path: path.clone(), error })?;
    Ok(path)
}
