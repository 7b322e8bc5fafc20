//! `report`: the weekly failure report, as HTML, text or JSON.

use super::{Failure, output};
use crate::cli::{Place, ReportFormat};
use crate::clock::present;
use crate::config::Config;
use crate::json;
use crate::store::Reader;
use crate::study::week_report;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::ReportView;
use dwell_dashboards::week::{IsoWeek, WeekError};
use dwell_dashboards::{render_report_html, render_report_text};
use jiff::tz::TimeZone;
use std::fs;
use std::path::Path;

pub(super) fn run(
    place: &Place,
    week: Option<&str>,
    format: ReportFormat,
    zone: Option<&str>,
    out: Option<&Path>,
) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let zone = match (zone, &config) {
        (Some(name), _) => TimeZone::get(name).map_err(|_| {
            Failure::Asked(format!("--zone {name}: a zone of the IANA time zone database, like Europe/Berlin"))
        })?,
        (None, Some(config)) => config.report().zone.clone(),
        (None, None) => TimeZone::UTC,
    };
    let newest = reader.newest()?;
    let as_of = present(newest);
    let calendar = |error: WeekError| Failure::Work(error.to_string());
    let week = match week {
        Some(text) => IsoWeek::parse(text).map_err(|error| Failure::Asked(format!("--week: {error}")))?,
        None => IsoWeek::of(newest.map_or(as_of, |newest| newest - Seconds::new(1.0)), &zone).map_err(calendar)?,
    };
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let view = week_report(&reader, &materials, week, &zone, as_of, false)?;
    let text = render(&view, format)?;
    match out {
        Some(path) => fs::write(path, text).map_err(|error| Failure::file(path, &error)),
        None => output::text(&text),
    }
}

pub(super) fn render(view: &ReportView, format: ReportFormat) -> Result<String, Failure> {
    Ok(match format {
        ReportFormat::Html => render_report_html(view),
        ReportFormat::Text => render_report_text(view),
        ReportFormat::Json => json::report(view).map_err(|error| Failure::Work(error.to_string()))? + "\n",
    })
}
