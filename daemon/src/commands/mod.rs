//! One file a command: parse → call → print. Owns what a command prints and its exit code, and nothing else.

mod backup;
mod demo;
mod failure;
mod journal;
mod place;
mod replay;
mod run;

pub use failure::Failure;

use replay::journal_lines;

use crate::cli::{Cli, Command};

/// Does what the command line asks for.
///
/// # Errors
/// A [`Failure`] with its exit code.
pub fn run(cli: Cli) -> Result<(), Failure> {
    let place = cli.place;
    match cli.command {
        Command::Demo { once } => demo::run(once.as_deref()),
        Command::Run => run::run(&place),
        Command::Replay { journals } => replay::run(&place, &journals),
        Command::Journal { printer, from, to, out } => {
            journal::run(&place, printer.as_deref(), from.as_deref(), to.as_deref(), out.as_deref())
        }
        Command::Backup { file } => backup::run(&place, &file),
    }
}
