//! Parts: their changes, and what is expected of those in use.

use super::{Instant, MedianJson, PartJson};
use crate::store::PartRow;
use dwell_dashboards::view::{PartExpected, PartView, Replace};
use schemars::JsonSchema;
use serde::Serialize;

/// A part change; with what is expected of the part if it is the fitting of one that is in use.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "PartChangeInUse")]
pub(crate) struct PartRowJson {
    #[serde(flatten)]
    change: PartJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    in_use: Option<InUseJson>,
}

/// A part in use, for whoever shows it without its fitting.
#[derive(JsonSchema, Serialize)]
pub(super) struct PartInUse {
    printer: String,
    tool: usize,
    part: &'static str,
    fitted: Instant,
    in_use: InUseJson,
}

/// What a part in use went through and what is expected of it.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "InUse")]
struct InUseJson {
    #[serde(skip_serializing_if = "Option::is_none")]
    as_of: Option<Instant>,
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

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Expected")]
struct ExpectedJson {
    remaining_wear_h: MedianJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    remaining_days: Option<MedianJson>,
    limit_h: f64,
    accepted_risk: f64,
    due: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    replace_before: Option<Instant>,
    #[serde(skip_serializing_if = "Option::is_none")]
    replace_before_low: Option<Instant>,
    #[serde(skip_serializing_if = "Option::is_none")]
    replace_before_high: Option<Instant>,
    basis: &'static str,
    n_lives: usize,
    n_failures: usize,
}

impl PartRowJson {
    /// A change, with what is expected of what it fitted if that is among the parts in use.
    pub(crate) fn of(row: &PartRow, in_use: &[PartView]) -> Self {
        Self { change: row.into(), in_use: fitted_by(row, in_use).map(InUseJson::from) }
    }
}

/// The part in use that this change fitted.
fn fitted_by<'a>(row: &PartRow, in_use: &'a [PartView]) -> Option<&'a PartView> {
    let change = &row.change;
    in_use.iter().find(|part| {
        part.printer == row.printer.as_str()
            && (part.tool, part.part, part.fitted) == (change.tool.idx(), change.part.word(), change.at)
    })
}

impl From<&PartView> for PartInUse {
    fn from(part: &PartView) -> Self {
        let (printer, fitted, in_use) = (part.printer.clone(), Instant::from(part.fitted), InUseJson::from(part));
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
            as_of: part.as_of.map(Instant::from),
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
            Replace::Before { at, low, high } => Some([*at, *low, *high].map(Instant::from)),
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
