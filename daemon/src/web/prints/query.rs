//! What the addresses of *Prints* ask for. Owns that a wrong value is answered with what was found and what is right.

use crate::entry::{Mode, PrintEnd, PrinterName};
use crate::stamp;
use crate::store::{EndedAs, PrintSearch, SaidOf};
use crate::web::answer::Refusal;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::PrintsFilter;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::HashMap;

type Query = HashMap<String, String>;

/// What the list's address may say.
const OF_LIST: [&str; 9] = ["printer", "end", "said", "name", "from", "to", "page", "reported", "undone"];
const OF_PRINT: [&str; 3] = ["from", "to", "done"];

/// What a form has just done.
#[derive(Clone, Copy, Debug)]
pub(in crate::web) struct Done {
    pub(in crate::web) print: i64,
    pub(in crate::web) is_undo: bool,
}

/// A page of the list.
#[derive(Clone, Debug)]
pub(in crate::web) struct Listed {
    /// As the form says it.
    pub(in crate::web) filter: PrintsFilter,
    /// As the record is asked.
    pub(in crate::web) search: PrintSearch,
    /// From 1.
    pub(in crate::web) page: u32,
    pub(in crate::web) done: Option<Done>,
}

/// What of a print is shown; what is not told is its beginning or its end.
#[derive(Clone, Copy, Debug, Default)]
pub(in crate::web) struct Part {
    pub(in crate::web) from: Option<Timestamp>,
    pub(in crate::web) to: Option<Timestamp>,
    /// Whether a form has just taken a word back (`true`) or recorded one.
    pub(in crate::web) done: Option<bool>,
}

impl Part {
    pub(in crate::web) const fn is_told(self) -> bool {
        self.from.is_some() || self.to.is_some()
    }
}

pub(super) fn listed(query: &Query, zone: &TimeZone) -> Result<Listed, Refusal> {
    known(query, &OF_LIST)?;
    let text = |key: &str| query.get(key).map(|value| value.trim()).unwrap_or_default().to_owned();
    let filter = PrintsFilter {
        printer: text("printer"),
        end: text("end"),
        said: text("said"),
        name: text("name"),
        from: text("from"),
        to: text("to"),
    };
    let from = day(&filter.from, "from", zone, 0)?;
    let to = day(&filter.to, "to", zone, 1)?;
    if from.zip(to).is_some_and(|(from, to)| from >= to) {
        return Err(bad("last day", &filter.to, &format!("the first day, {}, or a later one", filter.from)));
    }
    let search = PrintSearch {
        printer: Some(&filter.printer).filter(|name| !name.is_empty()).and_then(|name| PrinterName::new(name)),
        end: end(&filter.end)?,
        said: said(&filter.said)?,
        name: Some(filter.name.clone()).filter(|name| !name.is_empty()),
        from,
        to,
    };
    let page = match text("page").as_str() {
        "" => 1,
        number => {
            number.parse().ok().filter(|page| *page >= 1).ok_or_else(|| bad("page", number, "a number from 1"))?
        }
    };
    let of =
        |key: &str, is_undo: bool| query.get(key).map(|id| super::print_id(id).map(|print| Done { print, is_undo }));
    let done = of("reported", false).or_else(|| of("undone", true)).transpose()?;
    Ok(Listed { filter, search, page, done })
}

pub(super) fn part(query: &Query) -> Result<Part, Refusal> {
    known(query, &OF_PRINT)?;
    let at = |key: &'static str| {
        let read =
            |text: &String| stamp::parse(text).ok_or_else(|| bad(key, text, "an instant such as 2026-03-02T08:00:00Z"));
        query.get(key).map(read).transpose()
    };
    let (from, to) = (at("from")?, at("to")?);
    if let Some((from, to)) = from.zip(to).filter(|(from, to)| from >= to) {
        return Err(bad("to", &stamp::write(to), &format!("an instant after from, {}", stamp::write(from))));
    }
    let done = match query.get("done").map(String::as_str) {
        None => None,
        Some("reported") => Some(false),
        Some("undone") => Some(true),
        Some(other) => return Err(bad("done", other, "\"reported\" or \"undone\"")),
    };
    Ok(Part { from, to, done })
}

/// Why nothing of a print can be shown.
pub(super) fn outside(started: Timestamp, until: Timestamp) -> Refusal {
    let (started, until) = (stamp::write(started), stamp::write(until));
    Refusal::Bad(format!("The part that is asked for lies outside the print, which runs from {started} to {until}."))
}

pub(super) fn bad(what: &str, found: &str, right: &str) -> Refusal {
    let what = match what {
        "from" => "beginning (`from`)",
        "to" => "end (`to`)",
        what => what,
    };
    Refusal::Bad(format!("The {what} is {found:?}, not {right}."))
}

fn known(query: &Query, keys: &[&str]) -> Result<(), Refusal> {
    let stranger = query.keys().filter(|key| !keys.contains(&key.as_str())).min();
    stranger
        .map_or(Ok(()), |key| Err(bad("name of a field in the address", key, &format!("one of {}", keys.join(", ")))))
}

fn end(word: &str) -> Result<Option<EndedAs>, Refusal> {
    match word {
        "" => Ok(None),
        "running" => Ok(Some(EndedAs::Running)),
        other => {
            let right = || format!("running, {}", words(PrintEnd::ALL.iter().map(|end| end.word())));
            let end = PrintEnd::of_word(other).ok_or_else(|| bad("end", other, &right()))?;
            Ok(Some(EndedAs::End(end)))
        }
    }
}

fn said(word: &str) -> Result<Option<SaidOf>, Refusal> {
    match word {
        "" => Ok(None),
        "none" => Ok(Some(SaidOf::Nothing)),
        "clean" => Ok(Some(SaidOf::Clean)),
        "failure" => Ok(Some(SaidOf::Failure)),
        other => {
            let right = || format!("none, failure, {}", words(Mode::ALL.iter().map(|mode| mode.word())));
            let mode = Mode::of_word(other).ok_or_else(|| bad("outcome", other, &right()))?;
            Ok(Some(SaidOf::Mode(mode)))
        }
    }
}

fn words(each: impl Iterator<Item = &'static str>) -> String {
    let each: Vec<_> = each.collect();
    each.split_last().map_or_else(String::new, |(last, rest)| format!("{} or {last}", rest.join(", ")))
}

/// The beginning of a day on the zone's clock, or of so many days after it.
fn day(text: &str, what: &str, zone: &TimeZone, later: i64) -> Result<Option<Timestamp>, Refusal> {
    if text.is_empty() {
        return Ok(None);
    }
    let begins = text.parse::<Date>().ok().and_then(|day| {
        let day = day.checked_add(jiff::Span::new().try_days(later).ok()?).ok()?;
        day.to_zoned_datetime(zone.clone()).and_then(|begins| begins.start_of_day()).ok()
    });
    let begins = begins.ok_or_else(|| bad(what, text, "a day such as 2026-03-02"))?;
    Ok(Some(Timestamp::from_ms(begins.timestamp().as_millisecond())))
}
