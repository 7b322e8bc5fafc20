//! The list of alarms: a table that fits a terminal, and below it what is known of those that stand.

use crate::cli::{Listing, Place};
use crate::commands::listing::Bounds;
use crate::commands::table::{Table, wrapped};
use crate::commands::{Failure, output};
use crate::json::AlarmJson;
use crate::stamp;
use crate::store::{AlarmRow, Reader};
use dwell_analysis::time::Timestamp;
use jiff::tz::TimeZone;

/// Characters that a line has at most, for people.
const WIDTH: usize = 100;
/// A state's longest word; those of several words go on below.
const STATE_WIDTH: usize = 14;
/// What the other columns leave of a line.
const WHERE_WIDTH: usize = 15;
/// How far what is said of an alarm stands in.
const INDENT: &str = "    ";

pub(super) fn run(place: &Place, listing: &Listing) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let bounds = Bounds::new(listing, &reader)?;
    let mut alarms = reader.alarms(bounds.from, bounds.to)?;
    // Those of the record itself concern every printer.
    alarms.retain(|alarm| alarm.printer.as_ref().is_none_or(|printer| bounds.holds_printer(printer)));
    bounds.cut(&mut alarms);
    if listing.json {
        return output::json(&alarms.iter().map(AlarmJson::from).collect::<Vec<_>>());
    }
    let zone = config.map_or(TimeZone::UTC, |config| config.report().zone.clone());
    output::text(&text(&alarms, &zone))
}

fn text(alarms: &[AlarmRow], zone: &TimeZone) -> String {
    let mut table = Table::new(&[">id", "state", "priority", "where", "rule", "raised", "gone"]);
    for alarm in alarms {
        table.paragraph(&[
            vec![alarm.id.to_string()],
            wrapped(&state(alarm, zone), STATE_WIDTH),
            vec![alarm.priority.to_string()],
            wrapped(&whereabouts(alarm), WHERE_WIDTH),
            vec![alarm.subject.rule.word().to_owned()],
            vec![on_clock(alarm.raised, zone)],
            gone(alarm, zone),
        ]);
    }
    let mut text = table.text("no alarms");
    for alarm in alarms.iter().filter(|alarm| alarm.returned.is_none()) {
        let head = wrapped(&format!("{} {}, {}", alarm.id, whereabouts(alarm), alarm.subject.rule.word()), WIDTH);
        let said = [&alarm.cause, &alarm.action].into_iter().flat_map(|said| wrapped(said, WIDTH - INDENT.len()));
        let lines = [String::new()].into_iter().chain(head).chain(said.map(|line| format!("{INDENT}{line}")));
        text.extend(lines.map(|line| line + "\n"));
    }
    if let (false, Some(name)) = (alarms.is_empty(), zone.iana_name()) {
        text.extend(["\ntimes by the clock of ", name, "\n"]);
    }
    text
}

fn state(alarm: &AlarmRow, zone: &TimeZone) -> String {
    let until = alarm.shelved_until.map_or_else(String::new, |until| format!(" until {}", on_clock(until, zone)));
    format!("{}{until}", alarm.state)
}

fn whereabouts(alarm: &AlarmRow) -> String {
    let printer = alarm.printer.as_ref().map_or_else(|| "the record".to_owned(), ToString::to_string);
    alarm.subject.tool.map_or_else(|| printer.clone(), |tool| format!("{printer} {tool}"))
}

/// When it went, on the day on which it was raised by the time alone.
fn gone(alarm: &AlarmRow, zone: &TimeZone) -> Vec<String> {
    let Some(returned) = alarm.returned else { return vec!["stands".to_owned()] };
    let [raised, returned] = [alarm.raised, returned].map(|at| on_clock(at, zone));
    match (raised.split_once(' '), returned.split_once(' ')) {
        (Some((day, _)), Some((other, time))) if day == other => vec![time.to_owned()],
        (_, Some((day, time))) => vec![day.to_owned(), time.to_owned()],
        (_, None) => vec![returned],
    }
}

/// An instant by a zone's clock, to the second; one that no calendar has as the record writes it.
fn on_clock(at: Timestamp, zone: &TimeZone) -> String {
    let Ok(instant) = jiff::Timestamp::from_millisecond(at.as_ms()) else { return stamp::write(at) };
    let local = zone.to_datetime(instant);
    let (date, time) = (local.date(), local.time());
    format!("{date} {:02}:{:02}:{:02}", time.hour(), time.minute(), time.second())
}
