//! The running daemon: one task a printer, the dashboard, the notices, the weekly report and what keeps the record
//! whole. Owns the tasks and their end; what each does stands in its own room.

mod disk;
mod holds;
mod job_file;
mod renewal;
mod watch;

use crate::alarm::Rule;
use crate::clock::Clock;
use crate::config::Config;
use crate::gather::configured;
use crate::host::{ClientError, Clients, DEADLINE};
use crate::links::Links;
use crate::notify::{self, Pulse};
use crate::pipeline::Pipeline;
use crate::schedule::{Duties, Heaters, Keeper, Learner, Reporter, Retention};
use crate::store::{Halt, Store, StoreError};
use crate::web::{self, Attempts, Site};
use futures_util::FutureExt;
use futures_util::future::FusedFuture;
use renewal::Renewal;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::watch as channel;
use tokio::task::{JoinError, JoinSet};

/// A statement that began while it was told to stop is told again.
const HALT_AGAIN: Duration = Duration::from_millis(20);

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
    Task(#[from] JoinError),
}

impl App {
    /// Runs until `shutdown`, or until a task can't go on. A record that is found damaged is set aside, and watching goes
    /// on into a new one.
    ///
    /// # Errors
    /// What a task could not go on with.
    pub async fn run(self, shutdown: impl Future<Output = ()>) -> Result<(), AppError> {
        let Self { config, mut store, clock, listener, rehearsal } = self;
        for printer in &config.rules().commissioning {
            tracing::warn!(%printer, "it is being set up (commissioning = true): its alarms are recorded and call nobody");
        }
        // Kept over all of it: whoever calls while a new record begins waits a moment, and is answered.
        let listener = listener.into_std()?;
        let mut renewal = Renewal::new(store.path());
        let shutdown = shutdown.fuse();
        tokio::pin!(shutdown);
        loop {
            let again = TcpListener::from_std(listener.try_clone()?)?;
            let watched = watch_into(store, again, &config, &clock, rehearsal, shutdown.as_mut()).await;
            if shutdown.is_terminated() {
                return watched;
            }
            let Err(error) = watched else { return Ok(()) };
            match renewal.renew(error, clock.now().at, shutdown.as_mut()).await? {
                Some(renewed) if !shutdown.is_terminated() => store = renewed,
                Some(_) | None => return Ok(()),
            }
        }
    }
}

/// Watches into one record until `shutdown`, or until a task can't go on. Every task has ended then.
async fn watch_into(
    store: Store,
    listener: TcpListener,
    config: &Config,
    clock: &Arc<Clock>,
    rehearsal: bool,
    shutdown: impl Future<Output = ()>,
) -> Result<(), AppError> {
    let (stop, stopped) = channel::channel(false);
    let mut tasks: JoinSet<Result<(), AppError>> = JoinSet::new();
    let mut clients = Clients::new(DEADLINE);
    let mut heaters = Heaters::new(store.clone(), Arc::clone(clock), config.report().zone.clone(), config.materials());
    let pulse = Pulse::of(config.printers().len());
    for (idx, (printer, pipeline)) in config.printers().iter().zip(take_up(config, &store, clock)?).enumerate() {
        let watch = watch::Watch::new(printer, clients.of(&printer.source)?, &store, clock);
        let watch = watch.notifying(true).beating(idx, &pulse).told_of_heaters(heaters.tell(&printer.name));
        tasks.spawn(watch.run(pipeline, stopped.clone()));
    }
    let shown = heaters.shown();
    tasks.spawn(heaters.run(stopped.clone()));
    let tuning = |rule| config.rules().tuning(rule, None);
    let zone = &config.report().zone;
    let disk = disk::Disk::new(store.clone(), Arc::clone(clock), zone.clone(), tuning(Rule::RecordFull), true);
    tasks.spawn(disk.run(stopped.clone()));
    let names = config.printers().iter().map(|printer| printer.name.clone());
    let in_use = names.filter(|name| !config.rules().of(name).is_commissioning()).collect();
    tasks.spawn(holds::Holds::new(store.clone(), Arc::clone(clock), in_use).run(stopped.clone()));
    notify::spawn(&mut tasks, config, &store, clock, &pulse, &stopped)?;
    let keeper = Keeper::new(store.clone(), Arc::clone(clock), zone.clone(), config.backup())
        .notifying(true)
        .tuned(config.rules().clone());
    tasks.spawn(keeper.run(stopped.clone()));
    let attempts = Arc::new(Attempts::default());
    let (counted, rules) = (Arc::clone(&attempts), config.rules().clone());
    let duties = Duties::new(store.clone(), Arc::clone(clock), rules, config.learning(), counted).notifying(true);
    tasks.spawn(duties.run(stopped.clone()));
    let (materials, learning, liners) = (config.materials(), config.learning(), config.liners());
    let learner = Learner::new(store.clone(), Arc::clone(clock), zone.clone(), materials, learning, liners);
    let worked = learner.worked();
    let reporter =
        Reporter::new(config.report().clone(), config.materials(), store.clone(), Arc::clone(clock), rehearsal).told(
            learner.worked(),
            learning,
            config.liners(),
        );
    tasks.spawn(reporter.run(stopped.clone()));
    tasks.spawn(learner.run(stopped.clone()));
    tasks.spawn(Retention::new(store.clone(), config.keep()).run(stopped.clone()));
    let printers = config.printers().iter().map(configured).collect();
    let site = Site::new(store.clone(), printers, zone.clone(), Arc::clone(clock), rehearsal)
        .knowing(config.materials())
        .told(worked)
        .configured(Arc::new(config.clone()), shown)
        .counting(attempts)
        .reaching(config.channels().channels.iter().map(|channel| Arc::from(channel.name.as_str())).collect())
        .commissioning(config.rules().commissioning.clone())
        .guarded(config.web().access.clone(), &store.reader()?.link_key()?)
        .linked(Links::of(config.channels().address.as_deref(), &store)?);
    let ends = ended(stopped);
    tasks.spawn(async move {
        web::serve(listener, site, ends).await;
        Ok(())
    });

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
    let flushed = store.flush();
    first.and_then(|()| Ok(flushed?))
}

/// Takes every printer up before any is asked: what the record is told of them all is one commit.
fn take_up(config: &Config, store: &Store, clock: &Clock) -> Result<Vec<Pipeline>, StoreError> {
    let reader = store.reader()?;
    let at = clock.now().at;
    let taken = config.printers().iter().map(|printer| watch::take_up(&reader, printer, config.rules(), at));
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

/// Does long work on the record beside the runtime. When the daemon stops it is halted, and waited for.
pub(crate) async fn beside<T: Send + 'static>(
    halt: &Halt,
    mut stop: Pin<&mut impl Future<Output = ()>>,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, JoinError> {
    let mut work = tokio::task::spawn_blocking(work);
    tokio::select! {
        done = &mut work => return done,
        () = stop.as_mut() => {}
    }
    loop {
        halt.tell();
        if let Ok(done) = tokio::time::timeout(HALT_AGAIN, &mut work).await {
            return done;
        }
    }
}
