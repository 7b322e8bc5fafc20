//! A part that was fitted or removed, on its way into the record: what the command and the page both do. Owns which
//! printers and tools are taken and that nothing is recorded twice; how a person is asked is theirs.

use crate::entry::{HotEnd, PartChange, PrinterName, ToolNumber};
use crate::store::{PrintRow, PrinterRow, Reader, Store, StoreError};

/// A printer that a part may go into.
#[derive(Clone, Debug)]
pub struct Fits {
    /// Its name.
    pub name: PrinterName,
    /// How its hot ends are built.
    pub hot_end: HotEnd,
    /// How many tools it has; 0 while nothing has told.
    pub n_tools: usize,
}

impl From<PrinterRow> for Fits {
    fn from(row: PrinterRow) -> Self {
        Self { name: row.name, hot_end: row.hot_end, n_tools: row.n_tools }
    }
}

/// The tool of that number of a printer with `n_tools`; 0 is a printer whose tools nothing has told yet.
///
/// # Errors
/// Which numbers would be right.
pub fn tool(number: usize, n_tools: usize, printer: &PrinterName) -> Result<ToolNumber, String> {
    let tool = ToolNumber::new(number).filter(|_| n_tools == 0 || number < n_tools);
    let last = if n_tools == 0 { ToolNumber::COUNT_MAX } else { n_tools } - 1;
    tool.ok_or_else(|| format!("`{printer}` has no such tool; 0 to {last} would be right"))
}

/// The tool of that number of a print's printer, which may have shown more tools in the print than it has told of since:
/// what is said of a tool that is not there would be found nowhere.
///
/// # Errors
/// If the record can't be read; inside, which numbers would be right.
pub fn tool_of_print(
    reader: &Reader,
    print: &PrintRow,
    number: usize,
) -> Result<Result<ToolNumber, String>, StoreError> {
    let told = reader.printers()?.into_iter().find(|row| row.name == print.printer).map_or(0, |row| row.n_tools);
    let seen = print.tools.iter().map(|tool| tool.tool.idx() + 1).max().unwrap_or(0);
    Ok(tool(number, told.max(seen), &print.printer))
}

/// Records a part change. `false` if the record has one of the same part of the same instant: then that stands.
///
/// # Errors
/// If the record can't be read or written.
pub fn record(store: &Store, printer: &Fits, change: &PartChange) -> Result<bool, StoreError> {
    let is_it = |other: &PartChange| {
        (other.at, other.tool, other.part, other.event) == (change.at, change.tool, change.part, change.event)
    };
    let is_there = store.reader()?.parts(Some(&printer.name))?.iter().any(|row| is_it(&row.change));
    store.ensure_printer(&printer.name, printer.hot_end, printer.n_tools)?;
    store.record_part(&printer.name, change)?;
    Ok(!is_there)
}
