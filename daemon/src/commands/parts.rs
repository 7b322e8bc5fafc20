//! `parts`: the part changes of the record, and how long what is in use may still last.

use super::listing::Bounds;
use super::table::{Table, or_unknown};
use super::{Failure, output};
use crate::cli::{Listing, Place};
use crate::config::Config;
use crate::entry::PartReason;
use crate::json::MedianJson;
use crate::json::PartJson;
use crate::stamp;
use crate::store::{PartRow, Reader};
use crate::study;
use dwell_analysis::units::Probability;
use dwell_dashboards::render_parts_text;
use dwell_dashboards::view::{PartExpected, PartView, Replace};
use serde::Serialize;

/// A part change; with what is expected of the part if it is the fitting of one that is in use.
#[derive(Serialize)]
struct Row {
    #[serde(flatten)]
    change: PartJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    in_use: Option<InUseJson>,
}

/// A part in use, for whoever shows it without its fitting.
#[derive(Serialize)]
pub(super) struct PartInUse {
    printer: String,
    tool: usize,
    part: &'static str,
    fitted: String,
    in_use: InUseJson,
}

/// What a part in use went through and what is expected of it.
#[derive(Serialize)]
struct InUseJson {
    #[serde(skip_serializing_if = "Option::is_none")]
    as_of: Option<String>,
    hot_h: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    wear_h: Option<f64>,
    heat_cycles: usize,
    #[serde(flatten)]
    expected: Option<ExpectedJson>,
    /// Why nothing is expected of it, or no days are told.
    #[serde(skip_serializing_if = "Option::is_none")]
    refused: Option<String>,
}

#[derive(Serialize)]
struct ExpectedJson {
    remaining_wear_h: MedianJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    remaining_days: Option<MedianJson>,
    limit_h: f64,
    accepted_risk: f64,
    due: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    replace_before: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    replace_before_low: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    replace_before_high: Option<String>,
    basis: &'static str,
    n_lives: usize,
    n_failures: usize,
}

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
        let row = |row: &PartRow| Row { change: row.into(), in_use: of(row, &in_use).map(InUseJson::from) };
        return output::json(&parts.iter().map(row).collect::<Vec<_>>());
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

/// The part in use that this change fitted.
fn of<'a>(row: &PartRow, in_use: &'a [PartView]) -> Option<&'a PartView> {
    let change = &row.change;
    in_use.iter().find(|part| {
        part.printer == row.printer.as_str()
            && (part.tool, part.part, part.fitted) == (change.tool.idx(), change.part.word(), change.at)
    })
}

impl From<&PartView> for PartInUse {
    fn from(part: &PartView) -> Self {
        let (printer, fitted, in_use) = (part.printer.clone(), stamp::write(part.fitted), InUseJson::from(part));
        Self { printer, tool: part.tool, part: part.part, fitted, in_use }
    }
}

impl From<&PartView> for InUseJson {
    fn from(part: &PartView) -> Self {
        let refused = match &part.expected {
            Err(reason) => Some(reason),
            Ok(expected) => expected.left_days.as_ref().err().or(match &expected.replace {
                Replace::Unknown(reason) => Some(reason),
                Replace::Due | Replace::Before { .. } => None,
            }),
        };
        Self {
            as_of: part.as_of.map(stamp::write),
            hot_h: part.hot.as_minutes() / 60.0,
            wear_h: part.wear_h.as_ref().ok().copied(),
            heat_cycles: part.heat_cycles,
            expected: part.expected.as_ref().ok().map(ExpectedJson::from),
            refused: refused.cloned(),
        }
    }
}

impl From<&PartExpected> for ExpectedJson {
    fn from(expected: &PartExpected) -> Self {
        let days = match &expected.replace {
            Replace::Before { at, low, high } => Some([*at, *low, *high].map(stamp::write)),
            Replace::Due | Replace::Unknown(_) => None,
        };
        let [at, low, high] = days.map_or([None, None, None], |days| days.map(Some));
        Self {
            remaining_wear_h: MedianJson::from(&expected.left_h),
            remaining_days: expected.left_days.as_ref().ok().map(MedianJson::from),
            limit_h: expected.limit_h,
            accepted_risk: expected.accepted.get(),
            due: matches!(expected.replace, Replace::Due),
            replace_before: at,
            replace_before_low: low,
            replace_before_high: high,
            basis: expected.basis,
            n_lives: expected.n_lives,
            n_failures: expected.n_failures,
        }
    }
}
