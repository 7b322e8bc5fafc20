//! `journal`: the record as NDJSON, streamed.

use super::{Failure, output};
use crate::cli::Place;
use crate::entry::PrinterName;
use crate::journal::write_line;
use crate::stamp;
use crate::store::Reader;
use dwell_analysis::time::Timestamp;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

pub(super) fn run(
    place: &Place,
    printer: Option<&str>,
    from: Option<&str>,
    to: Option<&str>,
    out: Option<&Path>,
) -> Result<(), Failure> {
    let reader = place.reader()?;
    let (from, to) = (instant("--from", from)?, instant("--to", to)?);
    let mut printers: Vec<PrinterName> = reader.printers()?.into_iter().map(|row| row.name).collect();
    if let Some(wanted) = printer {
        printers.retain(|name| name.as_str() == wanted);
        if printers.is_empty() {
            return Err(Failure::Work(format!("no printer `{wanted}` in the record")));
        }
    }
    match out {
        Some(path) => {
            let file = File::create(path).map_err(|error| Failure::file(path, &error))?;
            write(&reader, &printers, from, to, BufWriter::new(file))
        }
        None => write(&reader, &printers, from, to, BufWriter::new(io::stdout().lock())),
    }
}

/// Writes the printers' journals one after the other; each is in time order.
pub(crate) fn write(
    reader: &Reader,
    printers: &[PrinterName],
    from: Option<Timestamp>,
    to: Option<Timestamp>,
    mut out: impl Write,
) -> Result<(), Failure> {
    for printer in printers {
        if let Some(kept) = reader.let_go_before(printer)?.filter(|kept| from.is_none_or(|from| from < *kept)) {
            let kept = stamp::write(kept);
            output::aside(&format!(
                "{printer}: readings from before {kept} are kept as minutes and hours alone; the journal lacks them, and the job files and outcomes of the prints from before"
            ));
        }
    }
    let failed = |error: io::Error| Failure::Work(format!("the journal can't be written: {error}"));
    for printer in printers {
        for entry in reader.entries(printer, from, to)? {
            writeln!(out, "{}", write_line(printer, &entry?)).map_err(failed)?;
        }
    }
    out.flush().map_err(failed)
}

/// An option's instant.
pub(super) fn instant(option: &str, text: Option<&str>) -> Result<Option<Timestamp>, Failure> {
    let parse = |text: &str| {
        let wrong =
            || format!("{option} {text}: an RFC 3339 time with offset would be right, like 2026-03-02T08:00:00Z");
        stamp::parse(text).ok_or_else(|| Failure::Asked(wrong()))
    };
    text.map(parse).transpose()
}
