//! `parts`: the part changes of the record, and how long what is in use may still last.

use super::listing::Bounds;
use super::table::{Table, or_unknown};
use super::{Failure, output};
use crate::cli::{Listing, Place};
use crate::config::Config;
use crate::entry::PartReason;
use crate::json::PartRowJson;
use crate::stamp;
use crate::store::Reader;
use crate::study;
use dwell_analysis::units::Probability;
use dwell_dashboards::render_parts_text;

pub(super) fn run(place: &Place, listing: &Listing) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let bounds = Bounds::new(listing, &reader)?;
    let risk = config.as_ref().map(Config::learning).unwrap_or_default().accepted_risk;
    let no_chance =
        || Failure::Asked(format!("learning.accepted_risk: {risk} is no chance; 0.01 to 0.5 would be right"));
    let accepted = Probability::new(risk).ok_or_else(no_chance)?;
    let mut in_use = study::parts(&reader, accepted)?;
    in_use.retain(|part| bounds.printer.as_ref().is_none_or(|printer| printer.as_str() == part.printer));
    let mut parts = reader.parts(bounds.printer.as_ref())?;
    parts.retain(|row| bounds.holds_instant(row.change.at));
    bounds.cut(&mut parts);
    if listing.json {
        return output::json(&parts.iter().map(|row| PartRowJson::of(row, &in_use)).collect::<Vec<_>>());
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
    output::text(&(table.text("no part changes") + &render_parts_text(&in_use)))
}
