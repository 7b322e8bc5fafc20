//! `run`: the daemon.

use super::Failure;
use super::hold::Hold;
use crate::app::{App, AppError};
use crate::cli::Place;
use crate::clock::{Clock, wall_now};
use crate::store::{Halt, Store, StoreError, examine, set_aside};
use dwell_analysis::time::Timestamp;
use std::io::{self, IsTerminal};
use std::path::Path;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::runtime::{Builder, Runtime};
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

/// Threads for what waits for the disk: four for all, and three that two uploads and a sign-in may hold for long.
const BLOCKING_THREADS: usize = 4 + 3;

pub(super) fn run(place: &Place) -> Result<(), Failure> {
    let config = place.needed_config()?;
    log_to_stderr("info");
    let database = place.database(Some(&config))?;
    // Held until the end.
    let mut held = Hold::daemon(&database)?;
    let (store, newest) = held.keep(open(&database, held.was_watched()))?;
    held.mark()?;
    let clock = Arc::new(Clock::wall(newest));
    runtime()?.block_on(async {
        let address = config.web().listen;
        let listener = TcpListener::bind(address).await;
        let listener = listener.map_err(|error| Failure::Work(format!("dashboard on {address}: {error}")))?;
        // The port that was asked for may be 0: any that is free.
        let address = listener.local_addr().unwrap_or(address);
        tracing::info!(dashboard = %format!("http://{address}/"), printers = config.printers().len(), "watching");
        let app = App { config, store, clock, listener, rehearsal: false };
        app.run(asked_to_stop()).await.map_err(Failure::from)
    })
}

/// Opens the record and tells where its timeline ends. A damaged one that was a daemon's before is set aside; any other
/// file is left as it is.
fn open(database: &Path, was_watched: bool) -> Result<(Store, Option<Timestamp>), Failure> {
    let opened = || {
        let store = Store::open(database)?;
        let newest = store.reader()?.newest()?;
        Ok((store, newest))
    };
    let damage = |error: &StoreError| match error {
        StoreError::Damaged { found, .. } | StoreError::Foreign { found, .. } => Some(found.clone()),
        StoreError::Opening { .. } | StoreError::Doubtful(_) | StoreError::Other(_) => {
            match examine(database, &Halt::default()) {
                Err(StoreError::Damaged { found, .. }) => Some(found),
                Ok(()) | Err(_) => None,
            }
        }
        _ => None,
    };
    match opened() {
        Err(error) if was_watched => {
            let Some(found) = damage(&error) else { return Err(error.into()) };
            let aside = set_aside(database, wall_now(), &found)?;
            tracing::error!(found, file = %aside.file.display(), "the record is damaged: set aside, a new one begins");
            Ok(opened()?)
        }
        Err(StoreError::Damaged { found, .. }) => Err(Failure::Work(format!(
            "database {} is damaged: {found}; no daemon has watched into it yet, so it is left as it is: move it elsewhere, \
             or name another one",
            database.display()
        ))),
        other => Ok(other?),
    }
}

/// One thread for all that waits: the daemon is small, and so is the board that it runs on.
pub(super) fn runtime() -> Result<Runtime, Failure> {
    let runtime = Builder::new_current_thread().enable_all().max_blocking_threads(BLOCKING_THREADS).build();
    runtime.map_err(|error| Failure::Work(format!("the runtime can't be started: {error}")))
}

/// Sends the log to stderr; `RUST_LOG` overrides the level.
pub(super) fn log_to_stderr(level: &str) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(level));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(io::stderr)
        .with_ansi(io::stderr().is_terminal())
        .init();
}

/// Waits for the person (Ctrl-C) or the service manager (SIGTERM).
pub(super) async fn asked_to_stop() {
    match signal(SignalKind::terminate()) {
        Ok(mut terminate) => {
            tokio::select! {
                interrupted = tokio::signal::ctrl_c() => said(interrupted),
                _ = terminate.recv() => {}
            }
        }
        Err(error) => said(Err(error)),
    }
}

fn said(heard: io::Result<()>) {
    if let Err(error) = heard {
        tracing::error!(%error, "signals can't be heard; stopping");
    }
}

impl From<AppError> for Failure {
    fn from(error: AppError) -> Self {
        Self::Work(error.to_string())
    }
}
