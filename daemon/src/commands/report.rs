//! `report`: the failure report of a week or of any other days, as HTML, for mail programs, as text or JSON.

use super::{Failure, output};
use crate::cli::{Place, ReportAsked, ReportFormat};
use crate::clock::present;
use crate::config::Config;
use crate::json;
use crate::store::Reader;
use crate::study::{Asked, Known, Worked, report};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::period::Period;
use dwell_dashboards::view::ReportView;
use dwell_dashboards::week::{IsoWeek, WeekError};
use dwell_dashboards::{render_report_html, render_report_mail, render_report_text};
use jiff::tz::TimeZone;
use std::fs;

pub(super) fn run(place: &Place, asked: &ReportAsked) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let zone = match (&asked.zone, &config) {
        (Some(name), _) => TimeZone::get(name).map_err(|_| {
            Failure::Asked(format!("--zone {name}: a zone of the IANA time zone database, like Europe/Berlin"))
        })?,
        (None, Some(config)) => config.report().zone.clone(),
        (None, None) => TimeZone::UTC,
    };
    let newest = reader.newest()?;
    let as_of = present(newest);
    let period = period(asked, newest, as_of, &zone)?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let liners = config.as_ref().map(Config::liners).unwrap_or_default();
    let known = Known::of(&reader, &materials, config.as_ref().map(Config::learning))?;
    let worked = Worked::anew(&reader, &materials, known, &liners, as_of)?;
    let view = report(&reader, &materials, &worked, &Asked { period, zone, as_of, rehearsal: false })?;
    let text = render(&view, asked.format)?;
    match &asked.out {
        Some(path) => fs::write(path, text).map_err(|error| Failure::file(path, &error)),
        None => output::text(&text),
    }
}

/// The days that were asked for: the newest reading's week if none were.
fn period(
    asked: &ReportAsked,
    newest: Option<Timestamp>,
    as_of: Timestamp,
    zone: &TimeZone,
) -> Result<Period, Failure> {
    match (&asked.week, &asked.from, &asked.to) {
        (_, Some(from), Some(to)) => {
            Period::between(from, to).map_err(|error| Failure::Asked(format!("--from {from} --to {to}: {error}")))
        }
        (Some(week), _, _) => {
            Ok(IsoWeek::parse(week).map_err(|error| Failure::Asked(format!("--week: {error}")))?.into())
        }
        _ => {
            let calendar = |error: WeekError| Failure::Work(error.to_string());
            let last = newest.map_or(as_of, |newest| newest - Seconds::new(1.0));
            Ok(IsoWeek::of(last, zone).map_err(calendar)?.into())
        }
    }
}

fn render(view: &ReportView, format: ReportFormat) -> Result<String, Failure> {
    Ok(match format {
        ReportFormat::Html => render_report_html(view),
        ReportFormat::Mail => render_report_mail(view),
        ReportFormat::Text => render_report_text(view),
        ReportFormat::Json => json::report(view).map_err(|error| Failure::Work(error.to_string()))? + "\n",
    })
}
