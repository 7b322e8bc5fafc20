//! `run`: the daemon.

use super::Failure;
use crate::app::{App, AppError};
use crate::cli::Place;
use crate::clock::Clock;
use crate::store::Store;
use std::fs::{File, TryLockError};
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::runtime::{Builder, Runtime};
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

pub(super) fn run(place: &Place) -> Result<(), Failure> {
    let config = place.needed_config()?;
    log_to_stderr("info");
    let database = place.database(Some(&config))?;
    // Held until the end: two daemons on one record would see everything twice.
    let _held = hold(&database)?;
    let store = Store::open(&database)?;
    let clock = Arc::new(Clock::wall(store.reader()?.newest()?));
    runtime()?.block_on(async {
        let address = config.listen();
        let listener = TcpListener::bind(address).await;
        let listener = listener.map_err(|error| Failure::Work(format!("dashboard on {address}: {error}")))?;
        // The port that was asked for may be 0: any that is free.
        let address = listener.local_addr().unwrap_or(address);
        tracing::info!(dashboard = %format!("http://{address}/"), printers = config.printers().len(), "watching");
        let app = App { config, store, clock, listener, rehearsal: false };
        app.run(asked_to_stop()).await.map_err(Failure::from)
    })
}

/// Takes the record for this daemon alone; the system lets go of it however the daemon ends.
fn hold(database: &Path) -> Result<File, Failure> {
    let mut path = database.as_os_str().to_owned();
    path.push(".watched");
    let path = PathBuf::from(path);
    let file = File::create(&path).map_err(|error| Failure::file(&path, &error))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(Failure::Work(format!(
            "another daemon watches into {}; one record belongs to one daemon",
            database.display()
        ))),
        Err(TryLockError::Error(error)) => Err(Failure::file(&path, &error)),
    }
}

/// One thread for all that waits: the daemon is small, and so is the board that it runs on.
pub(super) fn runtime() -> Result<Runtime, Failure> {
    let runtime = Builder::new_current_thread().enable_all().max_blocking_threads(4).build();
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
