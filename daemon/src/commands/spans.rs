//! `spans`: the idle spans of the record.

use super::listing::Bounds;
use super::table::{Table, number, or_unknown};
use super::{Failure, output};
use crate::cli::{Listing, Place};
use crate::json::SpanJson;
use crate::stamp;
use crate::store::{SpanFilter, SpanRow};
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};

pub(super) fn run(place: &Place, listing: &Listing) -> Result<(), Failure> {
    let reader = place.reader()?;
    let bounds = Bounds::new(listing, &reader)?;
    let filter = SpanFilter { printer: bounds.printer.clone(), print: None, from: bounds.from, to: bounds.to };
    let mut spans = reader.spans(&filter)?;
    bounds.cut(&mut spans);
    if listing.json {
        return output::json(&spans.iter().map(SpanJson::from).collect::<Vec<_>>());
    }
    output::text(&table(&spans).text("no idle spans"))
}

fn table(spans: &[SpanRow]) -> Table {
    let mut table = Table::new(&[
        "printer",
        ">print",
        "tool",
        "context",
        "began",
        "ended",
        ">idle min",
        ">mean °C",
        ">max °C",
        ">set °C",
        ">dose min",
        ">gap s",
    ]);
    for span in spans {
        table.row([
            span.printer.to_string(),
            or_unknown(span.print),
            span.tool.to_string(),
            span.context.word().to_owned(),
            stamp::write(span.began),
            span.ended.map_or_else(|| "lasts".to_owned(), stamp::write),
            number(span.idle.map(Seconds::as_minutes), 1),
            number(span.mean.map(Celsius::get), 1),
            number(span.max.map(Celsius::get), 1),
            number(span.target.map(Celsius::get), 1),
            number(span.dose.map(DoseMinutes::get), 1),
            number(span.gap.map(Seconds::get), 0),
        ]);
    }
    table
}
