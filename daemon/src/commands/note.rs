//! `note`: what a print came to, in a person's word, or that such a word is taken back.

use super::listing::known_printer;
use super::{Failure, output};
use crate::cli::{Note, Place, WhichPrint};
use crate::clock::present;
use crate::entry::{Mode, Outcome, Severity, ToolNumber, Undo};
use crate::fitting;
use crate::stamp;
use crate::store::{OutcomeRow, PrintFilter, PrintRow, Reader, Store, in_force};
use dwell_analysis::time::Timestamp;
use std::sync::Arc;

pub(super) fn run(place: &Place, note: Note) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let reader = Reader::open(&database)?;
    let (mode, severity) = if note.undo { (Mode::Clean, None) } else { said(&note)? };
    let print = find(&reader, &note)?;
    let tool = note.tool.map(|tool| tool_of(&reader, &print, tool)).transpose()?;
    let at = present(reader.newest()?);
    drop(reader);
    if note.undo {
        return undo(&Store::open(&database)?, &print, tool, at);
    }
    let outcome = Outcome {
        at,
        job: Arc::from(print.name.as_deref().unwrap_or_default()),
        started: print.started,
        tool,
        mode,
        severity,
        note: note.note,
    };
    Store::open(&database)?.say(&print.printer, &outcome)?;
    let whose = tool.map_or_else(|| "the whole print".to_owned(), |tool| tool.to_string());
    output::text(&format!("{}: {whose} noted as {}\n", named(&print), mode.word()))
}

/// Takes back the newest word that stands, of one tool if it is named.
fn undo(store: &Store, print: &PrintRow, tool: Option<ToolNumber>, at: Timestamp) -> Result<(), Failure> {
    let stands = in_force(&print.outcomes);
    let of_it = |row: &&OutcomeRow| tool.is_none() || row.tool == tool;
    let Some(word) = stands.iter().rev().find(of_it) else {
        let whose = tool.map(|tool| format!(" of {tool}")).unwrap_or_default();
        return Err(Failure::Work(format!("{}: no word{whose} stands, so there is none to take back", named(print))));
    };
    let job = Arc::from(print.name.as_deref().unwrap_or_default());
    let undo = Undo { at, job, started: print.started, said: word.at, tool: word.tool, mode: word.mode };
    store.undo(&print.printer, &undo)?;
    let rest = in_force(&store.reader()?.outcomes(print.id)?);
    let rest = if rest.is_empty() { "nothing".to_owned() } else { super::prints::outcomes(&rest) };
    let taken = super::prints::outcomes(std::slice::from_ref(word));
    output::text(&format!("{}: {taken} taken back; {rest} stands\n", named(print)))
}

fn named(print: &PrintRow) -> String {
    let name = print.name.as_deref().unwrap_or_default().replace(char::is_control, "·");
    format!("print {} ({name}, begun {})", print.id, stamp::write(print.started))
}

fn said(note: &Note) -> Result<(Mode, Option<Severity>), Failure> {
    let mode = note.mode.filter(|_| !note.clean).unwrap_or(Mode::Clean);
    let severity = note.severity.and_then(Severity::new);
    let asked = |what: &str| Failure::Asked(what.to_owned());
    if mode == Mode::Clean {
        let refused = severity.map(|_| asked("--severity goes with a failure; `clean` has none"));
        return refused.map_or(Ok((mode, None)), Err);
    }
    if note.tool.is_none() {
        return Err(asked(&format!("--mode {} needs --tool N, the tool that failed, from 0", mode.word())));
    }
    if severity.is_none() {
        return Err(asked(&format!(
            "--mode {} needs --severity: 1 a blemish, 2 the part is spoilt, 3 the printer is down",
            mode.word()
        )));
    }
    Ok((mode, severity))
}

fn find(reader: &Reader, note: &Note) -> Result<PrintRow, Failure> {
    let printer = note.printer.as_deref().map(|name| known_printer(reader, name)).transpose()?;
    match note.print {
        WhichPrint::Id(id) => {
            let found = reader.print(id)?.filter(|print| printer.as_ref().is_none_or(|name| *name == print.printer));
            found.ok_or_else(|| Failure::Work(format!("--print {id}: no such print; `dwellwatch prints` lists them")))
        }
        WhichPrint::Latest => {
            // A printer has one print under way at most, so the newest that has ended is among so many.
            let n_printers = u32::try_from(reader.printers()?.len()).unwrap_or(u32::MAX);
            let limit = Some(n_printers.saturating_add(1));
            let mut prints = reader.prints(&PrintFilter { printer, limit, ..PrintFilter::default() })?;
            let idx = prints.iter().position(|print| print.ended.is_some()).unwrap_or(0);
            if prints.is_empty() {
                return Err(Failure::Work("--print latest: the record has no print yet".to_owned()));
            }
            Ok(prints.swap_remove(idx))
        }
    }
}

/// The tool of that number, if the print's printer has it.
fn tool_of(reader: &Reader, print: &PrintRow, number: u8) -> Result<ToolNumber, Failure> {
    let found = fitting::tool_of_print(reader, print, usize::from(number))?;
    found.map_err(|right| Failure::Asked(format!("--tool {number}: {right}")))
}
