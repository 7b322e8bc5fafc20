//! The record as files that other programs read: tables as CSV, or as Parquet in folders by printer and month. Owns
//! which tables there are, their columns and how they are laid out; reads the store alone, and decides nothing.

mod alarms;
mod column;
mod csv_file;
mod error;
mod folder;
mod month;
mod parquet_file;
mod prints;
mod samples;
mod sheet;
mod spans;
mod suggestions;
mod summaries;
mod trials;

pub use error::ExportError;
pub use sheet::{Format, Written};

use crate::entry::PrinterName;
use crate::store::Reader;
use dwell_analysis::time::Timestamp;
use folder::Folder;
use sheet::Target;
use std::path::Path;

/// What is exported: some printers' record of a stretch of time.
#[derive(Debug)]
pub struct Source<'r> {
    reader: &'r Reader,
    printers: Vec<PrinterName>,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
    /// As many tools as the printer with the most of them has, so that all files of a table have the same columns.
    n_tools: usize,
}

/// Writes one table's rows: printer by printer, each printer's in time order.
type WriteTable = fn(&Source<'_>, &mut Target<'_>, &mut Progress<'_>) -> Result<Written, ExportError>;

/// Is told how much is done, and of how much.
type Progress<'p> = dyn FnMut(u64, u64) + 'p;

/// Every table. A further one is a line here and a file beside this one.
const TABLES: &[WriteTable] = &[
    prints::write_prints,
    prints::write_tools,
    prints::write_outcomes,
    spans::write,
    samples::write,
    summaries::write_minutes,
    summaries::write_hours,
    suggestions::write,
    trials::write,
    alarms::write,
];

impl<'r> Source<'r> {
    /// The record of one printer, or of all, from an instant on and before another.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn new(
        reader: &'r Reader,
        printer: Option<&PrinterName>,
        from: Option<Timestamp>,
        to: Option<Timestamp>,
    ) -> Result<Self, ExportError> {
        let mut rows = reader.printers()?;
        rows.retain(|row| printer.is_none_or(|wanted| row.name == *wanted));
        let n_tools = rows.iter().map(|row| row.n_tools).max().unwrap_or(0);
        Ok(Self { reader, printers: rows.into_iter().map(|row| row.name).collect(), from, to, n_tools })
    }

    /// Whether an instant is in the stretch of time.
    fn has(&self, at: Timestamp) -> bool {
        self.from.is_none_or(|from| at >= from) && self.to.is_none_or(|to| at < to)
    }

    /// Writes every table into a folder that is empty or not there yet. What an export that fails has written is
    /// removed again, and nothing else.
    ///
    /// # Errors
    /// If the folder holds anything, it can't be written, or the record can't be read.
    pub fn export(
        &self,
        format: Format,
        folder: &Path,
        progress: &mut Progress<'_>,
    ) -> Result<Vec<Written>, ExportError> {
        let mut folder = Folder::new(folder)?;
        let mut target = Target { format, folder: &mut folder };
        let written = TABLES.iter().map(|write| write(self, &mut target, progress)).collect::<Result<_, _>>()?;
        folder.keep();
        Ok(written)
    }
}
