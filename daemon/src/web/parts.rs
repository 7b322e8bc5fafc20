//! The page *Parts* and the form that records a change. Owns its addresses and what of the form is taken: whatever it
//! says beyond that is told on the page, beside what was typed, and nothing is guessed.

use super::answer::{Refusal, blocking, page};
use super::server::Live;
use super::{Site, posted, views};
use crate::entry::{Part, PartChange, PartEvent, PartReason};
use crate::fitting::{self, Fits, Recorded};
use crate::stamp;
use axum::extract::rejection::FormRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use axum::{Form, Router};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{PageNotice, PartTyped};
use dwell_dashboards::{format, render_parts};
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use std::collections::HashMap;
use std::sync::Arc;

/// The longest note, in characters; the form's field says the same.
const NOTE_MAX: usize = 500;
/// A minute that has begun may be typed in.
const AHEAD_MAX: Seconds = Seconds::minutes(1.0);
/// No part that is of use is older: twenty years.
const BACK_MAX: Seconds = Seconds::minutes(20.0 * 366.0 * 1440.0);

pub(super) fn routes() -> Router<Live> {
    Router::new().route("/parts", get(parts).post(record))
}

/// The fields as they come in.
#[derive(Debug, serde::Deserialize)]
struct Fields {
    printer: Option<String>,
    tool: Option<String>,
    part: Option<String>,
    event: Option<String>,
    reason: Option<String>,
    note: Option<String>,
    at: Option<String>,
}

async fn parts(
    State(site): State<Arc<Site>>,
    Query(query): Query<HashMap<String, String>>,
) -> Result<Response, Refusal> {
    let at = query.get("recorded").and_then(|ms| ms.parse().ok()).map(Timestamp::from_ms);
    let shown = move |site: &Site| {
        let notice = at.map(|at| views::recorded(site, at)).transpose()?.flatten();
        Ok(page(render_parts(&views::parts(site, notice, None)?)))
    };
    blocking(site, shown).await
}

async fn record(
    State(site): State<Arc<Site>>,
    fields: Result<Form<Fields>, FormRejection>,
) -> Result<Response, Refusal> {
    let typed = typed(posted::fields(fields)?);
    let done = move |site: &Site| {
        let printers: Vec<Fits> =
            site.store.reader().and_then(|reader| reader.printers())?.into_iter().map(Fits::from).collect();
        let (printer, change) = match understood(&typed, &printers, site.clock.now().at, &site.zone) {
            Ok(understood) => understood,
            Err(why) => return refused(site, StatusCode::BAD_REQUEST, &why, typed),
        };
        match fitting::record(&site.store, printer, &change, !typed.at.is_empty()) {
            Ok(Recorded::Now | Recorded::Uncounted) => {
                Ok(Redirect::to(&format!("/parts?recorded={}", change.at.as_ms())).into_response())
            }
            Ok(Recorded::Already(at)) => {
                let when = format::moment(at, &site.zone);
                let why = format!(
                    "it is recorded already; the record has that part as {} on {when}, and what was said first stands; if it was changed once more, another minute typed in would be right",
                    change.event.word()
                );
                refused(site, StatusCode::CONFLICT, &why, typed)
            }
            Err(error) => Err(error.into()),
        }
    };
    blocking(site, done).await
}

fn typed(fields: Fields) -> PartTyped {
    let text = |text: Option<String>| text.unwrap_or_default().replace(char::is_control, " ").trim().to_owned();
    let Fields { printer, tool, part, event, reason, note, at } = fields;
    PartTyped {
        printer: text(printer),
        tool: text(tool),
        part: text(part),
        event: text(event),
        reason: text(reason),
        note: text(note),
        at: text(at),
    }
}

/// What was typed, understood; else what was found and what would be right.
fn understood<'p>(
    typed: &PartTyped,
    printers: &'p [Fits],
    now: Timestamp,
    zone: &TimeZone,
) -> Result<(&'p Fits, PartChange), String> {
    fn word<T: Copy>(what: &str, typed: &str, all: &[T], of: fn(T) -> &'static str) -> Result<T, String> {
        let right = || all.iter().map(|one| format!("{:?}", of(*one))).collect::<Vec<_>>().join(", ");
        let found = all.iter().copied().find(|one| of(*one) == typed);
        found.ok_or_else(|| format!("the {what} is {typed:?}; one of {} would be right", right()))
    }
    let printer = printers.iter().find(|printer| printer.name.as_str() == typed.printer);
    let printer = printer.ok_or_else(|| format!("the record has no printer {:?}", typed.printer))?;
    let number = typed.tool.parse().map_err(|_| format!("the tool is {:?}, no number from 0 on", typed.tool))?;
    let tool =
        fitting::tool(number, printer.n_tools, &printer.name).map_err(|right| format!("tool {number}: {right}"))?;
    let part = word("part", &typed.part, Part::ALL, Part::word)?;
    let event = word("event", &typed.event, PartEvent::ALL, PartEvent::word)?;
    let reason = Some(typed.reason.as_str()).filter(|reason| !reason.is_empty());
    let reason = reason.map(|reason| word("reason", reason, PartReason::ALL, PartReason::word)).transpose()?;
    if typed.note.chars().count() > NOTE_MAX {
        return Err(format!("the note is longer than {NOTE_MAX} characters"));
    }
    let at = instant(&typed.at, now, zone)?;
    let note = Some(typed.note.clone()).filter(|note| !note.is_empty());
    Ok((printer, PartChange { at, tool, part, event, reason, note }))
}

/// Day and time on the clock of `zone`, or an instant with its offset; without a word it is now.
fn instant(typed: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, String> {
    if typed.is_empty() {
        return Ok(now);
    }
    let local = || {
        let zoned = typed.parse::<DateTime>().ok()?.to_zoned_datetime(zone.clone()).ok()?;
        Some(Timestamp::from_ms(zoned.timestamp().as_millisecond()))
    };
    let at = stamp::parse(typed).or_else(local);
    let at =
        at.ok_or_else(|| format!("the time is {typed:?}; a day and time such as 2026-03-02T08:00 would be right"))?;
    let told = |at: Timestamp| format::moment(at, zone);
    match at {
        ahead if ahead > now + AHEAD_MAX => {
            Err(format!("the time is {}, which is still to come: it is {} now", told(at), told(now)))
        }
        back if back < now - BACK_MAX => {
            Err(format!("the time is {}, more than twenty years ago; the day it was fitted would be right", told(at)))
        }
        at => Ok(at),
    }
}

/// The page, with why nothing was recorded on top of it and what was typed still in the form.
fn refused(site: &Site, status: StatusCode, why: &str, typed: PartTyped) -> Result<Response, Refusal> {
    let notice = PageNotice::Refused(format!("Nothing was recorded: {why}."));
    let view = views::parts(site, Some(notice), Some(typed))?;
    Ok((status, page(render_parts(&view))).into_response())
}
