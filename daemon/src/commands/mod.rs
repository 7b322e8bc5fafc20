//! One file a command: parse → call → print. Owns what a command prints and its exit code, and nothing else.

mod advise;
mod backup;
mod demo;
mod discover;
mod export;
mod failure;
mod hold;
mod journal;
mod place;
mod replay;
mod run;

mod adopt;
mod alarms;
mod check;
mod decline;
mod heatplan;
mod heatplan_json;
mod learn;
mod listing;
mod materials;
mod note;
mod output;
mod part;
mod parts;
mod password;
mod preflight;
mod prints;
mod progress;
mod report;
mod review;
mod spans;
mod table;
mod tuned;
mod web;

pub use failure::Failure;

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
        Command::Export(asked) => export::run(&place, &asked),
        Command::Backup { file } => backup::run(&place, &file),
        Command::Prints(listing) => prints::run(&place, &listing),
        Command::Spans(listing) => spans::run(&place, &listing),
        Command::Alarms(listing) => alarms::run(&place, &listing),
        Command::Parts(listing) => parts::run(&place, &listing),
        Command::Note(note) => note::run(&place, note),
        Command::Part(part) => part::run(&place, part),
        Command::Check => check::run(&place),
        Command::Password => password::run(),
        Command::Discover(discover) => discover::run(&discover),
        Command::Learn { json, predictions } => learn::run(&place, json, predictions),
        Command::Advise { json } => advise::run(&place, json),
        Command::Adopt { id } => adopt::run(&place, &id),
        Command::Decline { id, reason } => decline::run(&place, &id, reason.as_deref()),
        Command::Review { json } => review::run(&place, json),
        Command::Heatplan(asked) => heatplan::run(&place, &asked),
        Command::Preflight { file, printer, json } => preflight::run(&place, &file, printer.as_deref(), json),
        Command::Report(asked) => report::run(&place, &asked),
    }
}
