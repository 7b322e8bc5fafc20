//! The list of alarms.

use crate::cli::{Listing, Place};
use crate::commands::listing::Bounds;
use crate::commands::table::Table;
use crate::commands::{Failure, output};
use crate::json::AlarmJson;
use crate::stamp;

pub(super) fn run(place: &Place, listing: &Listing) -> Result<(), Failure> {
    let reader = place.reader()?;
    let bounds = Bounds::new(listing, &reader)?;
    let mut alarms = reader.alarms(bounds.from, bounds.to)?;
    // Those of the record itself concern every printer.
    alarms.retain(|alarm| alarm.printer.as_ref().is_none_or(|printer| bounds.holds_printer(printer)));
    bounds.cut(&mut alarms);
    if listing.json {
        return output::json(&alarms.iter().map(AlarmJson::from).collect::<Vec<_>>());
    }
    let mut table = Table::new(&[
        ">id",
        "printer",
        "tool",
        "rule",
        "priority",
        "raised",
        "returned",
        "state",
        "cause",
        "consequence",
        "action",
    ]);
    for alarm in alarms {
        table.row([
            alarm.id.to_string(),
            alarm.printer.map_or_else(|| "-".to_owned(), |printer| printer.to_string()),
            alarm.subject.tool.map_or_else(|| "-".to_owned(), |tool| tool.to_string()),
            alarm.subject.rule.word().to_owned(),
            alarm.priority.to_string(),
            stamp::write(alarm.raised),
            alarm.returned.map_or_else(|| "stands".to_owned(), stamp::write),
            alarm.shelved_until.map_or_else(
                || alarm.state.to_string(),
                |until| format!("{} until {}", alarm.state, stamp::write(until)),
            ),
            alarm.cause,
            alarm.consequence,
            alarm.action,
        ]);
    }
    output::text(&table.text("no alarms"))
}
