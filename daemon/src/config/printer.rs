//! One printer's section, checked: its documents, where they say what, and its tools' settings.

use super::fault::{Key, Wrong, one_of, within};
use super::raw::{RawActiveTool, RawPrinter, RawSettings, RawShare, RawState, RawTemperature, RawTool};
use crate::entry::{HotEnd, JobState, PrinterName, Settings, ToolNumber};
use crate::host::{
    Address, Credentials, Document, Field, Headers, HeaterMap, PrinterMap, Query, Scale, Selector, ShareField, Source,
    StateField, TemperatureField, TemperatureUnit, ToolField,
};
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::sync::Arc;
use std::time::Duration;

/// A printer.
#[derive(Clone, Debug)]
pub struct Printer {
    /// Its name.
    pub name: PrinterName,
    /// How often it is polled.
    pub poll: Duration,
    /// What its host is asked for.
    pub source: Arc<Source>,
    /// Where the documents say what.
    pub map: Arc<PrinterMap>,
    /// One entry a tool, T0 first.
    pub settings: Vec<Settings>,
}

/// From a fifth of a second, below which a small host does little but answer, to a quarter of the 20 s of silence
/// that count as a gap.
const POLL_S: RangeInclusive<f64> = 0.2..=5.0;
const POLL_S_DEFAULT: f64 = 1.0;

/// Checks every printer.
pub(super) fn printers(key: &Key, raw: &[RawPrinter]) -> Result<Vec<Printer>, Wrong> {
    if raw.is_empty() {
        return Err(Wrong::new(key.clone(), "found none", "at least one [[printer]], as README shows it"));
    }
    let mut printers: Vec<Printer> = Vec::with_capacity(raw.len());
    for (idx, raw) in raw.iter().enumerate() {
        let key = key.nth(idx);
        let printer = printer(&key, raw)?;
        if printers.iter().any(|other| other.name == printer.name) {
            let found = format!("found {:?} a second time", raw.name);
            return Err(Wrong::new(key.name("name"), found, "another name for each printer"));
        }
        printers.push(printer);
    }
    Ok(printers)
}

fn printer(key: &Key, raw: &RawPrinter) -> Result<Printer, Wrong> {
    let name = PrinterName::new(&raw.name).ok_or_else(|| {
        Wrong::new(key.name("name"), format!("found {:?}", raw.name), "1 to 64 characters, no control characters")
    })?;
    let hot_ends: Vec<(&str, HotEnd)> = HotEnd::ALL.iter().map(|hot_end| (hot_end.word(), *hot_end)).collect();
    let hot_end = raw.hot_end.as_deref().unwrap_or(HotEnd::default().word());
    let hot_end = one_of(&key.name("hot_end"), hot_end, &hot_ends)?;
    let poll_s = within(&key.name("poll_s"), raw.poll_s.unwrap_or(POLL_S_DEFAULT), POLL_S, "s")?;
    let headers = Headers::new(&raw.headers)
        .map_err(|fault| Wrong::new(key.name("headers"), fault.to_string(), "a header as HTTP allows it"))?;
    let documents = documents(&key.name("document"), raw)?;
    let map = Fields { documents: &documents }.printer(key, raw, hot_end)?;
    let tools = key.name("tool");
    let settings =
        raw.tool.iter().enumerate().map(|(idx, tool)| settings(&tools.nth(idx).name("settings"), &tool.settings));
    Ok(Printer {
        name,
        poll: Duration::from_secs_f64(poll_s),
        settings: settings.collect::<Result<_, _>>()?,
        source: Arc::new(Source {
            documents,
            credentials: Credentials { headers, query: Query::default() },
            authority: None,
        }),
        map: Arc::new(map),
    })
}

fn documents(key: &Key, raw: &RawPrinter) -> Result<Vec<Document>, Wrong> {
    if raw.document.is_empty() {
        return Err(Wrong::new(key.clone(), "found none", "at least one [[printer.document]] with name and url"));
    }
    let mut documents: Vec<Document> = Vec::with_capacity(raw.document.len());
    for (idx, raw) in raw.document.iter().enumerate() {
        let key = key.nth(idx);
        if raw.name.trim().is_empty() || documents.iter().any(|other| other.name == raw.name) {
            return Err(Wrong::new(
                key.name("name"),
                format!("found {:?}", raw.name),
                "another name for each document",
            ));
        }
        let address = Address::parse(&raw.url).map_err(|fault| {
            Wrong::new(key.name("url"), fault.to_string(), "an http or https address, its keys under printer.headers")
        })?;
        documents.push(Document { name: raw.name.clone(), address, every: None });
    }
    Ok(documents)
}

/// Checks fields against the printer's documents.
struct Fields<'d> {
    documents: &'d [Document],
}

impl Fields<'_> {
    fn printer(&self, key: &Key, raw: &RawPrinter, hot_end: HotEnd) -> Result<PrinterMap, Wrong> {
        let job = key.name("job");
        let field =
            |name: &str, raw: &super::raw::RawField| self.field(&job.name(name), raw.document.as_deref(), &raw.path);
        let active_tool = raw.active_tool.as_ref();
        let bed = raw.bed.as_ref().map(|bed| {
            let key = key.name("bed");
            Ok(HeaterMap {
                actual: self.temperature(&key.name("actual"), bed.actual.as_ref())?,
                target: self.temperature(&key.name("target"), bed.target.as_ref())?,
                duty: None,
            })
        });
        Ok(PrinterMap {
            hot_end,
            time: None,
            state: self.state(&job.name("state"), &raw.job.state)?,
            name: raw.job.name.as_ref().map(|raw| field("name", raw)).transpose()?,
            fraction: self.share(&job.name("fraction"), raw.job.fraction.as_ref())?,
            byte: raw.job.byte.as_ref().map(|raw| field("byte", raw)).transpose()?,
            active_tool: active_tool
                .map(|tool| self.active_tool(&key.name("active_tool"), tool, raw.tool.len()))
                .transpose()?,
            tools: self.tools(&key.name("tool"), &raw.tool, hot_end)?,
            bed: bed.transpose()?,
        })
    }

    fn tools(&self, key: &Key, raw: &[RawTool], hot_end: HotEnd) -> Result<Vec<HeaterMap>, Wrong> {
        let count_max = ToolNumber::COUNT_MAX;
        if raw.is_empty() || raw.len() > count_max {
            let found = format!("found {} tools", raw.len());
            return Err(Wrong::new(key.clone(), found, format!("1 to {count_max} [[printer.tool]], T0 first")));
        }
        let tool = |(idx, raw): (usize, &RawTool)| {
            let key = key.nth(idx);
            let heater = HeaterMap {
                actual: self.temperature(&key.name("actual"), raw.actual.as_ref())?,
                target: self.temperature(&key.name("target"), raw.target.as_ref())?,
                duty: self.share(&key.name("duty"), raw.duty.as_ref())?,
            };
            let has_t0s = hot_end == HotEnd::Shared && idx > 0;
            if heater.actual.is_none() && heater.target.is_none() && !(has_t0s && heater.is_empty()) {
                return Err(Wrong::new(key, "found neither actual nor target", "the path of at least one of them"));
            }
            Ok(heater)
        };
        raw.iter().enumerate().map(tool).collect()
    }

    fn field(&self, key: &Key, document: Option<&str>, path: &str) -> Result<Field, Wrong> {
        let names = || self.documents.iter().map(|own| format!("{:?}", own.name)).collect::<Vec<_>>().join(", ");
        let document = match (document, self.documents) {
            (None, [_]) => 0,
            (None, _) => {
                return Err(Wrong::new(key.clone(), "found no document", format!("document = one of {}", names())));
            }
            (Some(name), documents) => documents.iter().position(|own| own.name == name).ok_or_else(|| {
                Wrong::new(key.name("document"), format!("found {name:?}"), format!("one of {}", names()))
            })?,
        };
        let path = Selector::parse(path).map_err(|fault| {
            let right = "a JSONPath (RFC 9535) such as \"$.a.b[0]\" or a JSON Pointer (RFC 6901) such as \"/a/b/0\"";
            Wrong::new(key.name("path"), format!("{path:?} {fault}"), right)
        })?;
        Ok(Field { document, path })
    }

    fn state(&self, key: &Key, raw: &RawState) -> Result<StateField, Wrong> {
        let field = self.field(key, raw.document.as_deref(), &raw.path)?;
        let states: Vec<(&str, JobState)> = JobState::ALL.iter().map(|state| (state.word(), *state)).collect();
        let own = || states.iter().map(|(word, state)| ((*word).to_owned(), *state)).collect();
        let words = key.name("words");
        let understood = |raw: &BTreeMap<String, String>| {
            let word = |(host, own): (&String, &String)| Ok((host.clone(), one_of(&words.name(host), own, &states)?));
            raw.iter().map(word).collect::<Result<BTreeMap<_, _>, Wrong>>()
        };
        let words_read = raw.words.as_ref().map_or_else(|| Ok(own()), understood)?;
        if words_read.is_empty() {
            return Err(Wrong::new(
                words,
                "found none",
                "a line for each of the host's words, such as { busy = \"printing\" }",
            ));
        }
        Ok(StateField { field, words: words_read })
    }

    fn active_tool(&self, key: &Key, raw: &RawActiveTool, tools: usize) -> Result<ToolField, Wrong> {
        let field = self.field(key, raw.document.as_deref(), &raw.path)?;
        let number = |(word, number): (&String, &i64)| {
            let tool = usize::try_from(*number).ok().filter(|number| *number < tools).ok_or_else(|| {
                let right = format!("a tool's number, 0 to {}", tools.saturating_sub(1));
                Wrong::new(key.name("words").name(word), format!("found {number}"), right)
            })?;
            Ok((word.clone(), tool))
        };
        Ok(ToolField { field, words: raw.words.iter().map(number).collect::<Result<_, Wrong>>()? })
    }

    fn temperature(&self, key: &Key, raw: Option<&RawTemperature>) -> Result<Option<TemperatureField>, Wrong> {
        let Some(raw) = raw else { return Ok(None) };
        let unit = raw.unit.as_deref().map(|unit| one_of(&key.name("unit"), unit, &TemperatureUnit::SYMBOLS));
        Ok(Some(TemperatureField {
            field: self.field(key, raw.document.as_deref(), &raw.path)?,
            scale: scale(key, raw.scale, raw.offset)?,
            unit: unit.transpose()?.unwrap_or_default(),
        }))
    }

    fn share(&self, key: &Key, raw: Option<&RawShare>) -> Result<Option<ShareField>, Wrong> {
        let Some(raw) = raw else { return Ok(None) };
        let field = self.field(key, raw.document.as_deref(), &raw.path)?;
        Ok(Some(ShareField { field, scale: scale(key, raw.scale, raw.offset)? }))
    }
}

fn scale(key: &Key, factor: Option<f64>, offset: Option<f64>) -> Result<Scale, Wrong> {
    let factor = factor.unwrap_or(Scale::NONE.factor);
    let offset = offset.unwrap_or(Scale::NONE.offset);
    if !factor.is_normal() {
        return Err(Wrong::new(key.name("scale"), format!("found {factor}"), "a number other than 0"));
    }
    if !offset.is_finite() {
        return Err(Wrong::new(key.name("offset"), format!("found {offset}"), "a number"));
    }
    Ok(Scale { factor, offset })
}

/// The ranges are wider than any printer in use; they catch a unit mixed up or a digit too many.
fn settings(key: &Key, raw: &RawSettings) -> Result<Settings, Wrong> {
    let number = |name: &str, value: Option<f64>, range: RangeInclusive<f64>, unit: &str| {
        value.map(|value| within(&key.name(name), value, range, unit)).transpose()
    };
    if raw.material.as_deref().is_some_and(|material| material.trim().is_empty()) {
        return Err(Wrong::new(key.name("material"), "found an empty text", "a material's name such as \"PLA\""));
    }
    Ok(Settings {
        material: raw.material.as_deref().map(Arc::from),
        print: number("print_c", raw.print_c, 100.0..=500.0, "°C")?.map(Celsius::new),
        standby: number("standby_c", raw.standby_c, 0.0..=500.0, "°C")?.map(Celsius::new),
        retract: number("retract_mm", raw.retract_mm, 0.0..=200.0, "mm")?.map(Millimetres::new),
        retract_mm_s: number("retract_mm_s", raw.retract_mm_s, 0.1..=300.0, "mm/s")?,
        prime: number("prime_mm3", raw.prime_mm3, 0.0..=5000.0, "mm3")?.map(CubicMm::new),
        ooze_shield: raw.ooze_shield,
        dried: raw.dried,
    })
}
