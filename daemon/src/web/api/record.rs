//! What the record holds, as JSON: prints, idle spans, alarms, parts. Owns which rows an answer has; their shape is
//! `json`'s, and the same as commands print.

use super::asked::Asked;
use super::operation::json;
use super::problem::Problem;
use crate::entry::PrinterName;
use crate::json::{AlarmJson, PartRowJson, PrintJson, SpanJson};
use crate::store::{PrintFilter, Reader, SpanFilter};
use crate::web::Site;
use axum::http::StatusCode;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

const DAY: Seconds = Seconds::minutes(24.0 * 60.0);
/// The longest time of which idle spans are told at once, days: a hundred or two a day.
const SPANS_DAYS: f64 = 31.0;
/// The longest time of which alarms are told at once, days.
const ALARMS_DAYS: f64 = 366.0;

pub(super) fn prints(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let reader = site.store.reader()?;
    let printer = printer(&reader, asked)?;
    let filter = PrintFilter { printer, from: asked.from, to: asked.to, limit: Some(asked.limit) };
    let mut prints = reader.prints(&filter)?;
    prints.reverse();
    json(&prints.iter().map(PrintJson::from).collect::<Vec<_>>())
}

pub(super) fn print(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let print = site.store.reader()?.print(asked.id)?;
    let print = print.ok_or_else(|| Problem::absent(format!("The record has no print {}.", asked.id)))?;
    json(&PrintJson::from(&print))
}

pub(super) fn spans(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let reader = site.store.reader()?;
    let printer = printer(&reader, asked)?;
    let (from, to) = match asked.print {
        Some(_) => (asked.from, asked.to),
        None => time(site, asked, SPANS_DAYS)?,
    };
    let mut spans = reader.spans(&SpanFilter { printer, print: asked.print, from, to })?;
    cut(&mut spans, asked.limit);
    json(&spans.iter().map(SpanJson::from).collect::<Vec<_>>())
}

pub(super) fn alarms(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let reader = site.store.reader()?;
    let printer = printer(&reader, asked)?;
    let (from, to) = time(site, asked, ALARMS_DAYS)?;
    let mut alarms = reader.alarms(from, to)?;
    // Those of the record itself concern every printer.
    alarms.retain(|alarm| printer.is_none() || alarm.printer.is_none() || alarm.printer == printer);
    cut(&mut alarms, asked.limit);
    json(&alarms.iter().map(AlarmJson::from).collect::<Vec<_>>())
}

pub(super) fn alarm(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let alarm = site.store.reader()?.alarm(asked.id)?;
    let alarm = alarm.ok_or_else(|| Problem::absent(format!("The record has no alarm {}.", asked.id)))?;
    json(&AlarmJson::from(&alarm))
}

/// What is expected of a part needs the whole record: it is told of those that were in use when that was worked out.
pub(super) fn parts(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let reader = site.store.reader()?;
    let mut parts = reader.parts(printer(&reader, asked)?.as_ref())?;
    parts.retain(|row| asked.from.is_none_or(|from| row.change.at >= from));
    parts.retain(|row| asked.to.is_none_or(|to| row.change.at < to));
    cut(&mut parts, asked.limit);
    let worked = site.worked();
    let in_use = worked.as_ref().map(|worked| worked.learned.parts.as_slice()).unwrap_or_default();
    json(&parts.iter().map(|row| PartRowJson::of(row, in_use)).collect::<Vec<_>>())
}

/// The printer that is asked for, if it is one of the record's.
fn printer(reader: &Reader, asked: &Asked) -> Result<Option<PrinterName>, Problem> {
    let Some(name) = &asked.printer else { return Ok(None) };
    let known: Vec<PrinterName> = reader.printers()?.into_iter().map(|row| row.name).collect();
    if let Some(found) = known.iter().find(|known| known.as_str() == name) {
        return Ok(Some(found.clone()));
    }
    let known: Vec<&str> = known.iter().map(PrinterName::as_str).collect();
    let known =
        if known.is_empty() { "it knows none yet".to_owned() } else { format!("it knows {}", known.join(", ")) };
    Err(Problem::absent(format!("The record has no printer {name:?}; {known}.")))
}

/// A time of so many days at most; its beginning, where that was not told, is so long before its end.
fn time(site: &Site, asked: &Asked, days: f64) -> Result<(Option<Timestamp>, Option<Timestamp>), Problem> {
    let longest = DAY.get() * days;
    let to = asked.to.unwrap_or_else(|| site.clock.now().at);
    let from = asked.from.unwrap_or_else(|| to - Seconds::new(longest));
    if (to - from).get() > longest {
        let detail = format!("From `from` to `to` (now, if left out) is longer than {days} days; ask for it in turns.");
        return Err(Problem::new(StatusCode::UNPROCESSABLE_ENTITY, detail));
    }
    Ok((Some(from), asked.to))
}

/// Keeps the newest of rows in time order.
fn cut<T>(rows: &mut Vec<T>, limit: u32) {
    let n_kept = usize::try_from(limit).unwrap_or(usize::MAX);
    drop(rows.drain(..rows.len().saturating_sub(n_kept)));
}
