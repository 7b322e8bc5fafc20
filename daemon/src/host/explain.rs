//! What was understood of a poll and what was not, field by field, for people. Reads each field the way that
//! [`super::understand`] does, and keeps the reason where that keeps only the absence.

use super::field::{Field, Missing};
use super::map::{DUTY_STEPS, FAN_STEPS, FRACTION_STEPS, HeaterMap, PrinterMap};
use super::number::ShareField;
use super::selector::Paths;
use crate::stamp;
use dwell_analysis::time::Timestamp;
use serde_json::Value;

/// One mapped field at one poll.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldReport {
    /// What it tells, as in `T0 actual`.
    pub field: String,
    /// Index of its document among the printer's documents.
    pub document: usize,
    /// Where in it: the place that counted, else every place that was looked at.
    pub path: String,
    /// What stands there, as JSON, cut to a line's length; `None` when nothing or several values do.
    pub raw: Option<String>,
    /// What it was understood as, or why it was not.
    pub understood: Result<String, String>,
}

/// The longest piece of a document that is shown.
const RAW_CHARS_MAX: usize = 60;

/// Reports under way.
struct Reports<'d> {
    documents: &'d [Option<Value>],
    all: Vec<FieldReport>,
}

/// Reports every field of the map, in the configuration's order; `at` is when the documents came. What is looked for in
/// several documents has one report, of the place that counted; when none did, one a place.
#[must_use]
pub fn explain(map: &PrinterMap, documents: &[Option<Value>], at: Timestamp) -> Vec<FieldReport> {
    let mut reports = Reports { documents, all: Vec::new() };
    if let Some(time) = &map.time {
        reports.add("time", &time.field, time.read(documents).map(|told| against(told, at)));
    }
    let states = map.state.told(documents).into_iter();
    reports.choice("job state", states.map(|(place, told)| (&place.field, told.map(|state| state.word().to_owned()))));
    if let Some(name) = &map.name {
        // A word for no name is understood, as that.
        let found = name.read(documents);
        let found = if found == Err(Missing::StandsForNone) { Ok("none".to_owned()) } else { found };
        reports.add("job name", &name.field, found);
    }
    if let Some(share) = &map.fraction {
        reports.share("job fraction", share, FRACTION_STEPS);
    }
    if let Some(byte) = &map.byte {
        reports.add("job byte", &byte.field, byte.whole(documents).map(|byte| byte.to_string()));
    }
    if let Some(size) = &map.size {
        reports.add("job size", &size.field, size.whole(documents).map(|bytes| bytes.to_string()));
    }
    if let Some(tool) = &map.active_tool {
        let shown = |number: usize| {
            let there = if number < map.tools.len() { "" } else { ", a tool that the printer does not have" };
            format!("T{number}{there}")
        };
        let tools = tool.told(documents).into_iter();
        reports.choice("active tool", tools.map(|(place, told)| (&place.field, told.map(shown))));
    }
    for (number, heater) in map.heaters().enumerate() {
        reports.heater(&format!("T{number}"), heater);
    }
    if let Some(heater) = &map.bed {
        reports.heater("bed", heater);
    }
    reports.all
}

impl Reports<'_> {
    fn add(&mut self, name: &str, field: &Field, found: Result<String, Missing>) {
        self.all.push(FieldReport {
            field: name.to_owned(),
            document: field.document,
            path: field.place(self.documents),
            raw: self.raw(field, &field.paths),
            understood: found.map_err(|why| why.to_string()),
        });
    }

    /// The place that counted is the last; without one, each place has its say.
    fn choice<'m>(&mut self, name: &str, told: impl Iterator<Item = (&'m Field, Result<String, Missing>)>) {
        let mut told: Vec<_> = told.collect();
        if told.last().is_some_and(|(_, found)| found.is_ok()) {
            told.drain(..told.len() - 1);
        }
        for (field, found) in told {
            self.add(name, field, found);
        }
    }

    fn share(&mut self, name: &str, share: &ShareField, steps: u32) {
        let field = &share.number.field;
        let found = share.read(self.documents, steps);
        self.add(name, field, found.map(|n| (f64::from(n) / f64::from(steps)).to_string()));
        let whole = share.of.as_ref().map(|of| (of.to_string(), self.raw(field, of)));
        if let (Some((path, raw)), Some(report)) = (whole, self.all.last_mut()) {
            report.path = format!("{} of {path}", report.path);
            report.raw = report.raw.take().map(|part| format!("{part} of {}", raw.as_deref().unwrap_or("nothing")));
        }
    }

    fn heater(&mut self, name: &str, heater: &HeaterMap) {
        for (what, temperature) in [("actual", &heater.actual), ("target", &heater.target)] {
            if let Some(temperature) = temperature {
                let found = temperature.read(self.documents);
                let shown = found.map(|degrees| format!("{:.2} °C", degrees.celsius().get()));
                self.add(&format!("{name} {what}"), &temperature.number.field, shown);
            }
        }
        for (what, share, steps) in [("duty", &heater.duty, DUTY_STEPS), ("fan", &heater.fan, FAN_STEPS)] {
            if let Some(share) = share {
                self.share(&format!("{name} {what}"), share, steps);
            }
        }
    }

    fn raw(&self, field: &Field, paths: &Paths) -> Option<String> {
        let whole = match paths.one(field.document(self.documents).ok()?) {
            Ok((_, value)) => value.to_string(),
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
}

/// An instant, and how far it is from this machine's.
fn against(told: Timestamp, at: Timestamp) -> String {
    let ahead_s = (told - at).get();
    let side = if ahead_s > 0.0 { "ahead of" } else { "behind" };
    format!("{}, {:.1} s {side} this machine's clock", stamp::write(told), ahead_s.abs())
}
