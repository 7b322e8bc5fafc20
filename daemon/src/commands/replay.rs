//! `replay JOURNAL…`: recorded journals through the one path.

use super::hold::Hold;
use super::progress::{Bar, Progress};
use super::{Failure, output};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::LineFault;
use crate::replay::Replay;
use crate::store::Store;
use std::collections::HashMap;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

pub(super) fn run(place: &Place, journals: &[PathBuf]) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let held = Hold::replay(&database)?;
    let store = held.keep(Store::open_bulk(&database))?;
    let hot_ends = config.as_ref().map_or_else(HashMap::new, |config| {
        config.printers().iter().map(|printer| (printer.name.clone(), printer.map.hot_end)).collect()
    });
    let rules = config.as_ref().map(|config| config.rules().clone()).unwrap_or_default();
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let mut replay = Replay::new(&store, rules, hot_ends).knowing(materials);
    let bar = Bar::of_lines(length(journals));
    let replayed = journals.iter().try_for_each(|journal| one(&mut replay, journal, &bar));
    // What came before a line that can't be read is kept.
    let finished = replay.finish();
    bar.wipe();
    if finished.is_ok() {
        let (n_readings, n_refused) = replay.counts();
        output::text(&format!(
            "{n_readings} readings, {n_refused} of them left out (out of order, or of a tool that is not there)\n"
        ))?;
    }
    // The line says more of a record that can't be written than the end that fails because of it.
    replayed?;
    Ok(finished?)
}

fn one(replay: &mut Replay<'_>, journal: &Path, bar: &Bar) -> Result<(), Failure> {
    let (name, fed) = if journal == Path::new("-") {
        ("stdin".to_owned(), replay.feed(Progress::new(io::stdin(), bar), wall_now()))
    } else {
        let file = File::open(journal).map_err(|error| Failure::file(journal, &error))?;
        (journal.display().to_string(), replay.feed(Progress::new(file, bar), wall_now()))
    };
    fed.map_err(|fault| at(&name, &fault))
}

pub(super) fn at(journal: &str, fault: &LineFault) -> Failure {
    Failure::Work(format!("{journal}, {fault}"))
}

/// The journals' bytes; 0, not known, if one of them has no end yet.
fn length(journals: &[PathBuf]) -> u64 {
    let each = journals.iter().map(|journal| journal.metadata().ok().filter(std::fs::Metadata::is_file));
    each.map(|about| about.map(|about| about.len())).sum::<Option<u64>>().unwrap_or(0)
}
