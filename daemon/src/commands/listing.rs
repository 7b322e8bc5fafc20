//! What the lists have in common: whose rows, of which time, how many.

use super::Failure;
use super::journal::instant;
use crate::cli::Listing;
use crate::entry::PrinterName;
use crate::store::Reader;
use dwell_analysis::time::Timestamp;

/// A list's bounds, checked.
#[derive(Debug)]
pub(super) struct Bounds {
    pub(super) printer: Option<PrinterName>,
    pub(super) from: Option<Timestamp>,
    pub(super) to: Option<Timestamp>,
    limit: Option<u32>,
}

impl Bounds {
    pub(super) fn new(listing: &Listing, reader: &Reader) -> Result<Self, Failure> {
        let (from, to) = (instant("--from", listing.from.as_deref())?, instant("--to", listing.to.as_deref())?);
        let printer = listing.printer.as_deref().map(|name| known_printer(reader, name)).transpose()?;
        Ok(Self { printer, from, to, limit: listing.limit })
    }

    pub(super) fn limit(&self) -> Option<u32> {
        self.limit
    }

    pub(super) fn holds_printer(&self, printer: &PrinterName) -> bool {
        self.printer.as_ref().is_none_or(|wanted| wanted == printer)
    }

    pub(super) fn holds_instant(&self, at: Timestamp) -> bool {
        self.from.is_none_or(|from| at >= from) && self.to.is_none_or(|to| at < to)
    }

    /// Keeps the newest of rows in time order, as many as asked for.
    pub(super) fn cut<T>(&self, rows: &mut Vec<T>) {
        let n_kept = self.limit.and_then(|limit| usize::try_from(limit).ok()).unwrap_or(usize::MAX);
        drop(rows.drain(..rows.len().saturating_sub(n_kept)));
    }
}

/// The printer of that name in the record.
pub(super) fn known_printer(reader: &Reader, name: &str) -> Result<PrinterName, Failure> {
    let known: Vec<PrinterName> = reader.printers()?.into_iter().map(|row| row.name).collect();
    known.iter().find(|known| known.as_str() == name).cloned().ok_or_else(|| no_such_printer(name, &known))
}

/// Why a printer's name is not taken, and which would be.
pub(super) fn no_such_printer(name: &str, known: &[PrinterName]) -> Failure {
    let known = known.iter().map(|known| format!("`{known}`")).collect::<Vec<_>>().join(", ");
    let known = if known.is_empty() { "it knows none yet".to_owned() } else { format!("it knows {known}") };
    Failure::Work(format!("--printer {name}: no such printer in the record; {known}"))
}
