//! `prints`: the prints of the record.

use super::listing::Bounds;
use super::table::{Table, number, or_unknown};
use super::{Failure, output};
use crate::cli::{Listing, Place};
use crate::entry::PrintEnd;
use crate::json::PrintJson;
use crate::stamp;
use crate::store::{OutcomeRow, PrintFilter, PrintRow, in_force};
use dwell_analysis::units::{DoseMinutes, Seconds};

pub(super) fn run(place: &Place, listing: &Listing) -> Result<(), Failure> {
    let reader = place.reader()?;
    let bounds = Bounds::new(listing, &reader)?;
    let limit = bounds.limit();
    let filter = PrintFilter { printer: bounds.printer, from: bounds.from, to: bounds.to, limit };
    let mut prints = reader.prints(&filter)?;
    prints.reverse();
    if listing.json {
        return output::json(&prints.iter().map(PrintJson::from).collect::<Vec<_>>());
    }
    output::text(&table(&prints).text("no prints"))
}

fn table(prints: &[PrintRow]) -> Table {
    let mut table = Table::new(&[
        ">id",
        "printer",
        "name",
        "started",
        "ended",
        "end",
        ">changes",
        ">idle hot min",
        ">largest dose min",
        "outcomes",
    ]);
    for print in prints {
        let per_tool = |cell: &dyn Fn(&crate::store::PrintTool) -> String| {
            print.tools.iter().map(|tool| format!("{} {}", tool.tool, cell(tool))).collect::<Vec<_>>().join(", ")
        };
        table.row([
            print.id.to_string(),
            print.printer.to_string(),
            or_unknown(print.name.as_ref()),
            stamp::write(print.started),
            print.ended.map_or_else(|| "runs".to_owned(), stamp::write),
            or_unknown(print.end.map(PrintEnd::word)),
            print.tool_changes.to_string(),
            per_tool(&|tool| number(tool.idle.map(Seconds::as_minutes), 1)),
            per_tool(&|tool| number(tool.dose_max.map(DoseMinutes::get), 1)),
            outcomes(&in_force(&print.outcomes)),
        ]);
    }
    table
}

pub(super) fn outcomes(outcomes: &[OutcomeRow]) -> String {
    let one = |outcome: &OutcomeRow| {
        let tool = outcome.tool.map(|tool| format!("{tool} ")).unwrap_or_default();
        let severity = outcome.severity.map(|severity| format!(" {}", severity.number())).unwrap_or_default();
        format!("{tool}{}{severity}", outcome.mode.word())
    };
    outcomes.iter().map(one).collect::<Vec<_>>().join(", ")
}
