//! One file a command: parse → call → print. Owns what a command prints and its exit code, and nothing else.

mod backup;
mod failure;
mod journal;
mod place;
mod replay;

pub use failure::Failure;

use crate::cli::{Cli, Command};

/// Does what the command line asks for.
///
/// # Errors
/// A [`Failure`] with its exit code.
pub fn run(cli: Cli) -> Result<(), Failure> {
    let place = cli.place;
    match cli.command {
        Command::Replay { journals } => replay::run(&place, &journals),
        Command::Journal { printer, from, to, out } => {
            journal::run(&place, printer.as_deref(), from.as_deref(), to.as_deref(), out.as_deref())
        }
        Command::Backup { file } => backup::run(&place, &file),
    }
}
