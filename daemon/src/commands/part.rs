//! `part`: a part fitted or removed.

use super::listing::no_such_printer;
use super::{Failure, output};
use crate::cli::{PartNote, Place};
use crate::clock::present;
use crate::config::Config;
use crate::entry::{PartChange, PrinterName, ToolNumber};
use crate::fitting::{self, Fits, Recorded};
use crate::stamp;
use crate::store::{Reader, Store, StoreError};
use std::path::Path;

pub(super) fn run(place: &Place, said: PartNote) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let printer = choose(known(&database, config.as_ref())?, said.printer.as_deref())?;
    let name = &printer.name;
    let tool = tool(said.tool, printer.n_tools, name)?;
    let PartNote { event, part, reason, note, .. } = said;
    let store = Store::open(&database)?;
    let at = present(store.reader()?.newest()?);
    let change = PartChange { at, tool, part, event, reason, note };
    let (at, more) = match fitting::record(&store, &printer, &change, false)? {
        Recorded::Now => (change.at, ""),
        Recorded::Uncounted => (change.at, "; when it was fitted was never told, so its life can't be counted"),
        Recorded::Already(at) => (at, "; recorded already"),
    };
    let at = stamp::write(at);
    output::text(&format!("{name} {tool}: {} {}, {at}{more}\n", part.word(), event.word()))
}

/// The printers of the record and of the configuration. A part may be fitted before the first poll.
fn known(database: &Path, config: Option<&Config>) -> Result<Vec<Fits>, Failure> {
    let rows = match (Reader::open(database), config) {
        (Err(StoreError::Absent { .. }), Some(_)) => Vec::new(),
        (reader, _) => reader?.printers()?,
    };
    let mut printers: Vec<Fits> = rows.into_iter().map(Fits::from).collect();
    for configured in config.into_iter().flat_map(Config::printers) {
        let (hot_end, n_tools) = (configured.map.hot_end, configured.map.tools.len());
        match printers.iter_mut().find(|printer| printer.name == configured.name) {
            Some(printer) => printer.n_tools = printer.n_tools.max(n_tools),
            None => printers.push(Fits { name: configured.name.clone(), hot_end, n_tools }),
        }
    }
    Ok(printers)
}

fn choose(mut printers: Vec<Fits>, wanted: Option<&str>) -> Result<Fits, Failure> {
    let names: Vec<PrinterName> = printers.iter().map(|printer| printer.name.clone()).collect();
    let idx = match wanted {
        Some(wanted) => names.iter().position(|name| name.as_str() == wanted),
        None => (printers.len() == 1).then_some(0),
    };
    match (idx, wanted) {
        (Some(idx), _) => Ok(printers.swap_remove(idx)),
        (None, Some(wanted)) => Err(no_such_printer(wanted, &names)),
        (None, None) if names.is_empty() => Err(Failure::Work("the record knows no printer yet".to_owned())),
        (None, None) => {
            let names = names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
            Err(Failure::Asked(format!("--printer is left out, and there are {names}; one of them would be right")))
        }
    }
}

/// The tool of that number of a printer with `n_tools`; 0 is a printer whose tools nothing has told yet.
pub(super) fn tool(number: u8, n_tools: usize, printer: &PrinterName) -> Result<ToolNumber, Failure> {
    let found = fitting::tool(usize::from(number), n_tools, printer);
    found.map_err(|right| Failure::Asked(format!("--tool {number}: {right}")))
}
