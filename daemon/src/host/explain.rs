//! What was understood of a poll and what was not, field by field, for people. Reads each field the way that
//! [`super::understand`] does, and keeps the reason where that keeps only the absence.

use super::field::{Field, Missing};
use super::map::{DUTY_STEPS, FRACTION_STEPS, HeaterMap, PrinterMap};
use serde_json::Value;

/// One mapped field at one poll.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldReport {
    /// What it tells, as in `T0 actual`.
    pub field: String,
    /// Index of its document among the printer's documents.
    pub document: usize,
    /// Where in it.
    pub path: String,
    /// What stands there, as JSON, cut to a line's length; `None` when nothing or several values do.
    pub raw: Option<String>,
    /// What it was understood as, or why it was not.
    pub understood: Result<String, String>,
}

/// The longest piece of a document that is shown.
const RAW_CHARS_MAX: usize = 60;

/// Reports every field of the map, in the configuration's order.
#[must_use]
pub fn explain(map: &PrinterMap, documents: &[Option<Value>]) -> Vec<FieldReport> {
    let report = |name: &str, field: &Field, understood: Result<String, String>| FieldReport {
        field: name.to_owned(),
        document: field.document,
        path: field.path.to_string(),
        raw: raw(field, documents),
        understood,
    };
    let state = map.state.read(documents).map(|state| state.word().to_owned()).map_err(|error| error.to_string());
    let mut reports = vec![report("job state", &map.state.field, state)];
    if let Some(field) = &map.name {
        reports.push(report("job name", field, text(field.name(documents))));
    }
    if let Some(share) = &map.fraction {
        let found = share.read(documents, FRACTION_STEPS);
        reports.push(report(
            "job fraction",
            &share.field,
            text(found.map(|n| f64::from(n) / f64::from(FRACTION_STEPS))),
        ));
    }
    if let Some(field) = &map.byte {
        reports.push(report("job byte", field, text(field.whole(documents))));
    }
    if let Some(tool) = &map.active_tool {
        let found = tool.read(documents).map(|number| {
            let there = if number < map.tools.len() { "" } else { ", a tool that the printer does not have" };
            format!("T{number}{there}")
        });
        reports.push(report("active tool", &tool.field, text(found)));
    }
    for (number, heater) in map.heaters().enumerate() {
        heater_reports(&format!("T{number}"), heater, documents, &report, &mut reports);
    }
    if let Some(heater) = &map.bed {
        heater_reports("bed", heater, documents, &report, &mut reports);
    }
    reports
}

fn heater_reports(
    name: &str,
    heater: &HeaterMap,
    documents: &[Option<Value>],
    report: &impl Fn(&str, &Field, Result<String, String>) -> FieldReport,
    reports: &mut Vec<FieldReport>,
) {
    for (what, field) in [("actual", &heater.actual), ("target", &heater.target)] {
        if let Some(field) = field {
            let found = field.read(documents).map(|degrees| format!("{:.2} °C", degrees.celsius().get()));
            reports.push(report(&format!("{name} {what}"), &field.field, text(found)));
        }
    }
    if let Some(field) = &heater.duty {
        let found = field.read(documents, DUTY_STEPS).map(|n| f64::from(n) / f64::from(DUTY_STEPS));
        reports.push(report(&format!("{name} duty"), &field.field, text(found)));
    }
}

fn text<T: ToString>(found: Result<T, Missing>) -> Result<String, String> {
    found.map(|value| value.to_string()).map_err(|why| why.to_string())
}

fn raw(field: &Field, documents: &[Option<Value>]) -> Option<String> {
    let whole = match field.value(documents) {
        Ok(value) => value.to_string(),
        Err(Missing::Null) => Value::Null.to_string(),
        Err(_) => return None,
    };
    let cut = whole.chars().count() > RAW_CHARS_MAX;
    let mut shown: String = whole.chars().take(RAW_CHARS_MAX).collect();
    if cut {
        shown.push('…');
    }
    Some(shown)
}
