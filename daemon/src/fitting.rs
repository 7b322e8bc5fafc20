//! A part that was fitted or removed, on its way into the record: what the command and the page both do. Owns which
//! printers and tools are taken and that nothing is recorded twice; how a person is asked is theirs.

use crate::entry::{HotEnd, PartChange, PartEvent, PrinterName, ToolNumber};
use crate::store::{PartRow, PrintRow, PrinterRow, Reader, Store, StoreError};
use crate::study::in_use;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// A change that is said again within this is a second tap.
const AGAIN_WITHIN: Seconds = Seconds::minutes(1.0);

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

/// What became of a part change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Recorded {
    /// It is recorded.
    Now,
    /// It is recorded, and ends a life whose beginning was never told: how long that lasted can't be counted.
    Uncounted,
    /// It was recorded before, at this instant, and that stands.
    Already(Timestamp),
}

/// Records a part change, unless the record has it: the same part of the same tool, and the same event, of the same
/// instant. Without a time of its own it is said now: then the last change of that part, said within a minute, is it too.
///
/// # Errors
/// If the record can't be read or written.
pub fn record(store: &Store, printer: &Fits, change: &PartChange, is_timed: bool) -> Result<Recorded, StoreError> {
    let rows = store.reader()?.parts(Some(&printer.name))?;
    let of_it = |row: &&PartRow| (row.change.tool, row.change.part) == (change.tool, change.part);
    let same = |row: &&PartRow| row.change.at == change.at && row.change.event == change.event;
    let last = rows.iter().rfind(of_it);
    let just_said = last.filter(|row| {
        !is_timed && row.change.event == change.event && (change.at - row.change.at).get().abs() < AGAIN_WITHIN.get()
    });
    if let Some(row) = rows.iter().filter(of_it).find(same).or(just_said) {
        return Ok(Recorded::Already(row.change.at));
    }
    store.ensure_printer(&printer.name, printer.hot_end, printer.n_tools)?;
    store.record_part(&printer.name, change)?;
    let before: Vec<PartChange> = rows.into_iter().map(|row| row.change).filter(|row| row.at <= change.at).collect();
    let is_fitted = in_use(&before).iter().any(|(tool, part, _)| (*tool, *part) == (change.tool, change.part));
    let is_uncounted = change.event == PartEvent::Removed && !is_fitted;
    Ok(if is_uncounted { Recorded::Uncounted } else { Recorded::Now })
}
