//! The command line: what can be asked for, parsed. Owns names and help; each command's work stands in `commands`.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Watches the waiting nozzle of a two-nozzle printer and learns what its waiting costs.
///
/// Not a safety device. A printer left alone can start a fire: keep the firmware's own thermal protection on, a smoke
/// alarm above it, nothing flammable near.
#[derive(Debug, Parser)]
#[command(name = "dwellwatch", version)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// Which record and configuration.
    #[command(flatten)]
    pub place: Place,
}

/// Where the configuration and the record are.
#[derive(Clone, Debug, Args)]
pub struct Place {
    /// Configuration file [default: dwellwatch.toml here, else the system's configuration folder].
    #[arg(long, global = true, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Database; overrides the configured one.
    #[arg(long, global = true, value_name = "FILE")]
    pub db: Option<PathBuf>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Rehearse on this machine: a simulated printer, weeks of invented history, the real daemon and dashboard.
    Demo {
        /// Instead of running on, write the history's weekly report, journal and database into this folder.
        #[arg(long, value_name = "DIR")]
        once: Option<PathBuf>,
    },
    /// Watch the configured printers: the daemon.
    Run,
    /// Feed recorded journals through the same path as live polls, on the journal's own time.
    Replay {
        /// Journals, in order; `-` is stdin.
        #[arg(required = true, value_name = "JOURNAL")]
        journals: Vec<PathBuf>,
    },
    /// Write the record of a printer and period as a journal.
    Journal {
        /// Printer; every printer if left out.
        #[arg(long)]
        printer: Option<String>,
        /// From this RFC 3339 time on.
        #[arg(long, value_name = "TIME")]
        from: Option<String>,
        /// Before this RFC 3339 time.
        #[arg(long, value_name = "TIME")]
        to: Option<String>,
        /// File to write instead of stdout.
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Copy the database as of now, while the daemon runs.
    Backup {
        /// The copy; must not exist yet.
        file: PathBuf,
    },
}
