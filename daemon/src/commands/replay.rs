//! `replay JOURNAL…`: recorded journals through the one path.

use super::hold::Hold;
use super::{Failure, output};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::parse_line;
use crate::replay::Replay;
use crate::store::Store;
use dwell_analysis::time::Timestamp;
use std::collections::HashMap;
use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};

/// The longest line that is read: a reading of sixteen tools is under 4 KiB, a note is a person's.
const LINE_BYTES_MAX: u64 = 1 << 20;

pub(super) fn run(place: &Place, journals: &[PathBuf]) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let held = Hold::replay(&database)?;
    let store = held.keep(Store::open_bulk(&database))?;
    let hot_ends = config.as_ref().map_or_else(HashMap::new, |config| {
        config.printers().iter().map(|printer| (printer.name.clone(), printer.map.hot_end)).collect()
    });
    let idle_hot = config.as_ref().map(Config::idle_rule).unwrap_or_default();
    let mut replay = Replay::new(&store, idle_hot, hot_ends);
    let replayed = journals.iter().try_for_each(|journal| one(&mut replay, journal));
    // What came before a line that can't be read is kept.
    replay.finish()?;
    let (n_readings, n_refused) = replay.counts();
    output::text(&format!(
        "{n_readings} readings, {n_refused} of them left out (out of order, or of a tool that is not there)\n"
    ))?;
    replayed
}

fn one(replay: &mut Replay<'_>, journal: &Path) -> Result<(), Failure> {
    if journal == Path::new("-") {
        return journal_lines(replay, "stdin", io::stdin().lock(), wall_now());
    }
    let file = File::open(journal).map_err(|error| Failure::file(journal, &error))?;
    journal_lines(replay, &journal.display().to_string(), BufReader::with_capacity(1 << 16, file), wall_now())
}

/// Feeds a journal's lines. `now` is the reader's clock.
pub(super) fn journal_lines(
    replay: &mut Replay<'_>,
    name: &str,
    mut input: impl BufRead,
    now: Timestamp,
) -> Result<(), Failure> {
    let mut line = String::new();
    for number in 1_u64.. {
        line.clear();
        let at = |what: String| Failure::Work(format!("{name}, line {number}: {what}"));
        let n_bytes = io::Read::take(&mut input, LINE_BYTES_MAX).read_line(&mut line);
        match n_bytes {
            Ok(0) => break,
            Ok(n) if u64::try_from(n) == Ok(LINE_BYTES_MAX) => return Err(at("longer than 1 MiB".to_owned())),
            Ok(_) => {}
            Err(error) => return Err(at(error.to_string())),
        }
        // Some editors begin a UTF-8 file with a byte-order mark.
        let text = line.trim_start_matches('\u{feff}').trim();
        if text.is_empty() {
            continue;
        }
        let (printer, entry) = parse_line(text, now).map_err(|fault| at(fault.to_string()))?;
        replay.take(&printer, entry).map_err(|error| at(error.to_string()))?;
    }
    Ok(())
}
