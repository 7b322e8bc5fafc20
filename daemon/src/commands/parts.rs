//! `parts`: the part changes of the record.

use super::listing::Bounds;
use super::table::{Table, or_unknown};
use super::{Failure, output};
use crate::cli::{Listing, Place};
use crate::entry::PartReason;
use crate::json::PartJson;
use crate::stamp;

pub(super) fn run(place: &Place, listing: &Listing) -> Result<(), Failure> {
    let reader = place.reader()?;
    let bounds = Bounds::new(listing, &reader)?;
    let mut parts = reader.parts(bounds.printer.as_ref())?;
    parts.retain(|row| bounds.holds_instant(row.change.at));
    bounds.cut(&mut parts);
    if listing.json {
        return output::json(&parts.iter().map(PartJson::from).collect::<Vec<_>>());
    }
    let mut table = Table::new(&["printer", "at", "tool", "part", "event", "reason", "note"]);
    for row in parts {
        table.row([
            row.printer.to_string(),
            stamp::write(row.change.at),
            row.change.tool.to_string(),
            row.change.part.word().to_owned(),
            row.change.event.word().to_owned(),
            or_unknown(row.change.reason.map(PartReason::word)),
            row.change.note.unwrap_or_default(),
        ]);
    }
    output::text(&table.text("no part changes"))
}
