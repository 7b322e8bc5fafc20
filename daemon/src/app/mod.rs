//! The running daemon: one task a printer, the dashboard, the notices and the weekly report. Owns the tasks and their
//! end; what each does stands in its own room.

mod disk;
mod job_file;
mod watch;

use crate::clock::Clock;
use crate::config::Config;
use crate::gather::configured;
use crate::host::{ClientError, Clients, DEADLINE};
use crate::notify::Notifier;
use crate::pipeline::Pipeline;
use crate::schedule::Reporter;
use crate::store::{Store, StoreError};
use crate::web::{self, Site};
use std::future::Future;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch as channel;
use tokio::task::JoinSet;

/// What a daemon is started with. The caller brings the listener, so that a test or a rehearsal brings its own.
#[derive(Debug)]
pub struct App {
    /// The configuration.
    pub config: Config,
    /// The record.
    pub store: Store,
    /// The timeline.
    pub clock: Arc<Clock>,
    /// Where the dashboard listens.
    pub listener: TcpListener,
    /// Whether the printer is a simulated one.
    pub rehearsal: bool,
}

/// Why the daemon stopped by itself.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// No host can be asked.
    #[error(transparent)]
    Client(#[from] ClientError),
    /// The record and what is seen disagree, or the record is gone.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The dashboard can't be served.
    #[error("dashboard: {0}")]
    Web(#[from] std::io::Error),
    /// A task ended badly.
    #[error("a task of the daemon ended badly: {0}")]
    Task(#[from] tokio::task::JoinError),
}

impl App {
    /// Runs until `shutdown`, or until a task can't go on.
    ///
    /// # Errors
    /// What a task could not go on with.
    pub async fn run(self, shutdown: impl Future<Output = ()>) -> Result<(), AppError> {
        let Self { config, store, clock, listener, rehearsal } = self;
        let (stop, stopped) = channel::channel(false);
        let mut tasks: JoinSet<Result<(), AppError>> = JoinSet::new();
        let mut clients = Clients::new(DEADLINE);
        for (printer, pipeline) in config.printers().iter().zip(take_up(&config, &store, &clock)?) {
            let watch = watch::Watch::new(printer, clients.of(&printer.source)?, &store, &clock);
            let watch = watch.notifying(config.webhook().is_some());
            tasks.spawn(watch.run(pipeline, stopped.clone()));
        }
        let disk = disk::Disk::new(store.clone(), Arc::clone(&clock), config.webhook().is_some());
        tasks.spawn(disk.run(stopped.clone()));
        if let Some(webhook) = config.webhook() {
            let notifier = Notifier::new(webhook.clone(), store.clone(), Arc::clone(&clock))?;
            tasks.spawn(notifier.run(stopped.clone()));
        }
        let reporter = Reporter::new(config.report().clone(), store.clone(), Arc::clone(&clock), rehearsal);
        tasks.spawn(reporter.run(stopped.clone()));
        let printers = config.printers().iter().map(configured).collect();
        let site = Site::new(store.clone(), printers, config.report().zone.clone(), clock, rehearsal);
        let ends = ended(stopped);
        tasks.spawn(async move { Ok(web::serve(listener, site, ends).await?) });

        let first = tokio::select! {
            () = shutdown => Ok(()),
            Some(first) = tasks.join_next() => first.unwrap_or_else(|error| Err(error.into())),
        };
        stop.send_replace(true);
        while let Some(end) = tasks.join_next().await {
            if let Err(error) = end.unwrap_or_else(|error| Err(error.into())) {
                tracing::error!(%error, "a task ended with an error");
            }
        }
        store.flush()?;
        first
    }
}

/// Takes every printer up before any is asked: what the record is told of them all is one commit.
fn take_up(config: &Config, store: &Store, clock: &Clock) -> Result<Vec<Pipeline>, StoreError> {
    let reader = store.reader()?;
    let at = clock.now().at;
    let taken = config.printers().iter().map(|printer| watch::take_up(&reader, printer, config.idle_rule(), at));
    let (pipelines, known): (Vec<_>, Vec<_>) = taken.collect::<Result<Vec<_>, _>>()?.into_iter().unzip();
    store.take_up(known)?;
    Ok(pipelines)
}

/// Waits until the daemon stops.
pub(crate) async fn ended(mut stopped: channel::Receiver<bool>) {
    // A sender that is gone means that the daemon is gone too.
    if stopped.wait_for(|stopped| *stopped).await.is_err() {
        tracing::debug!("the daemon's owner is gone");
    }
}
