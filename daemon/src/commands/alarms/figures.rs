//! `alarms figures`: how the alarms did, for people or as JSON.

use crate::cli::Place;
use crate::commands::{Failure, output};
use crate::config::Config;
use crate::json::alarm_figures;
use crate::store::Reader;
use crate::study;
use dwell_analysis::units::Seconds;
use dwell_dashboards::render_alarm_figures_text;
use jiff::tz::TimeZone;

const DAY: Seconds = Seconds::minutes(24.0 * 60.0);

pub(super) fn run(place: &Place, days: u32, json: bool) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let empty = || Failure::Work("the record holds no reading yet, so there is no time to look at".to_owned());
    let to = reader.newest()?.ok_or_else(empty)?;
    let from = to - Seconds::new(f64::from(days) * DAY.get());
    let figures = study::alarm_figures(&reader, from, to)?.ok_or_else(empty)?;
    if json {
        return output::json(&alarm_figures(&figures));
    }
    let zone = config.as_ref().map_or(TimeZone::UTC, |config: &Config| config.report().zone.clone());
    output::text(&render_alarm_figures_text(&figures, &zone))
}
