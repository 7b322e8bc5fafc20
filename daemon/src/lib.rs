//! The daemon beside the printer: polls its host, follows its tools, stores what happened, alerts and reports.
//!
//! `entry` is what comes in, `host` asks for it as `config` says; `tracker` and `alarm` decide and do no I/O;
//! `store` alone holds SQL; `web` shows what it holds.

pub mod alarm;
pub mod app;
pub mod arriving;
pub mod change;
pub mod cli;
pub mod clock;
pub mod commands;
pub mod config;
pub mod entry;
pub mod export;
pub mod gather;
pub mod heatplan;
pub mod host;
pub mod jobfile;
pub mod journal;
pub mod json;
pub mod links;
pub mod notify;
pub mod pipeline;
pub mod points;
pub mod preflight;
pub mod rehearsal;
pub mod replay;
pub mod schedule;
mod setup;
pub mod stamp;
pub mod store;
pub mod study;
pub mod tracker;
pub mod web;

use clap::Parser;
use std::process::ExitCode;

/// The whole program: reads the command line, does its work, and says in the exit code how it went.
#[must_use]
#[expect(clippy::print_stderr, reason = "diagnostics go to stderr, and here they end")]
pub fn main() -> ExitCode {
    match commands::run(cli::Cli::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("dwellwatch: {failure}");
            failure.code()
        }
    }
}
