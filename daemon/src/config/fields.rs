//! Where a printer's documents say what, checked against its documents. Owns which keys a field may have; what a field
//! reads is `host`'s.

use super::fault::{Key, Wrong, Wrongs, one_of, within};
use super::raw::{OneOrMany, RawActiveTool, RawJob, RawName, RawNumber, RawPrinter, RawState, RawTime, RawTool};
use crate::entry::{HotEnd, JobState, ToolNumber};
use crate::host::{
    Document, Field, HeaterMap, NameField, NumberField, Paths, PrinterMap, Scale, Selector, ShareField, StateField,
    StatePlace, TemperatureField, TemperatureUnit, TimeField, TimeForm, ToolField, ToolPlace, WHOLE_MAX,
};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// Checks fields against the printer's documents.
pub(super) struct Fields<'d> {
    pub(super) documents: &'d [Document],
}

/// The fields of `printer.job`.
struct JobFields {
    state: StateField,
    name: Option<NameField>,
    fraction: Option<ShareField>,
    byte: Option<NumberField>,
    size: Option<NumberField>,
}

impl Fields<'_> {
    pub(super) fn printer(&self, key: &Key, raw: &RawPrinter, hot_end: HotEnd) -> Result<PrinterMap, Wrongs> {
        let mut wrongs = Wrongs::default();
        let time = wrongs.keep(raw.time.as_ref().map(|raw| self.time(&key.name("time"), raw)).transpose());
        let job = wrongs.keep(self.job(&key.name("job"), &raw.job));
        let active_tool = raw.active_tool.as_ref();
        let active_tool = active_tool.map(|tool| self.active_tool(&key.name("active_tool"), tool, raw.tool.len()));
        let active_tool = wrongs.keep(active_tool.transpose());
        let tools = wrongs.keep(self.tools(&key.name("tool"), &raw.tool, hot_end));
        let bed = raw.bed.as_ref();
        let bed = bed.map(|bed| self.heater(&key.name("bed"), [bed.actual.as_ref(), bed.target.as_ref()], [None; 2]));
        let bed = wrongs.keep(bed.transpose());
        match (time, job, active_tool, tools, bed) {
            (Some(time), Some(job), Some(active_tool), Some(tools), Some(bed)) => {
                let JobFields { state, name, fraction, byte, size } = job;
                Ok(PrinterMap { hot_end, time, state, name, fraction, byte, size, active_tool, tools, bed })
            }
            _ => Err(wrongs),
        }
    }

    fn job(&self, key: &Key, raw: &RawJob) -> Result<JobFields, Wrongs> {
        let mut wrongs = Wrongs::default();
        let state = wrongs.keep(each(&key.name("state"), &raw.state, |key, raw| self.state(key, raw)));
        let name = wrongs.keep(raw.name.as_ref().map(|raw| self.name(&key.name("name"), raw)).transpose());
        let fraction = wrongs.keep(self.share(&key.name("fraction"), raw.fraction.as_ref()));
        let byte = wrongs.keep(raw.byte.as_ref().map(|raw| self.byte(&key.name("byte"), raw)).transpose());
        let size = wrongs.keep(raw.size.as_ref().map(|raw| self.byte(&key.name("size"), raw)).transpose());
        match (state, name, fraction, byte, size) {
            (Some(state), Some(name), Some(fraction), Some(byte), Some(size)) => {
                Ok(JobFields { state: StateField(state), name, fraction, byte, size })
            }
            _ => Err(wrongs),
        }
    }

    fn tools(&self, key: &Key, raw: &[RawTool], hot_end: HotEnd) -> Result<Vec<HeaterMap>, Wrongs> {
        let count_max = ToolNumber::COUNT_MAX;
        if raw.is_empty() || raw.len() > count_max {
            let found = format!("found {} tools", raw.len());
            return Err(Wrong::new(key.clone(), found, format!("1 to {count_max} [[printer.tool]], T0 first")).into());
        }
        let tool = |(idx, raw): (usize, &RawTool)| -> Result<HeaterMap, Wrongs> {
            let key = key.nth(idx);
            let shares = [raw.duty.as_ref(), raw.fan.as_ref()];
            let heater = self.heater(&key, [raw.actual.as_ref(), raw.target.as_ref()], shares)?;
            let has_t0s = hot_end == HotEnd::Shared && idx > 0;
            if heater.actual.is_none() && heater.target.is_none() && !(has_t0s && heater.is_empty()) {
                let right = "the path of at least one of them";
                return Err(Wrong::new(key, "found neither actual nor target", right).into());
            }
            Ok(heater)
        };
        Wrongs::each(raw.iter().enumerate().map(tool))
    }

    fn heater(
        &self,
        key: &Key,
        [actual, target]: [Option<&RawNumber>; 2],
        [duty, fan]: [Option<&RawNumber>; 2],
    ) -> Result<HeaterMap, Wrongs> {
        let mut wrongs = Wrongs::default();
        let actual = wrongs.keep(self.temperature(&key.name("actual"), actual));
        let target = wrongs.keep(self.temperature(&key.name("target"), target));
        let duty = wrongs.keep(self.share(&key.name("duty"), duty));
        let fan = wrongs.keep(self.share(&key.name("fan"), fan));
        match (actual, target, duty, fan) {
            (Some(actual), Some(target), Some(duty), Some(fan)) => Ok(HeaterMap { actual, target, duty, fan }),
            _ => Err(wrongs),
        }
    }

    fn field(&self, key: &Key, document: Option<&str>, path: &OneOrMany<String>) -> Result<Field, Wrong> {
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
        Ok(Field { document, paths: paths(&key.name("path"), path)? })
    }

    fn time(&self, key: &Key, raw: &RawTime) -> Result<TimeField, Wrong> {
        let form = one_of(&key.name("form"), &raw.form, &TimeForm::WORDS)?;
        Ok(TimeField { field: self.field(key, raw.document.as_deref(), &raw.path)?, form })
    }

    fn name(&self, key: &Key, raw: &RawName) -> Result<NameField, Wrong> {
        let field = self.field(key, raw.document.as_deref(), &raw.path)?;
        Ok(NameField { field, words: raw.words.clone() })
    }

    fn state(&self, key: &Key, raw: &RawState) -> Result<StatePlace, Wrong> {
        let field = self.field(key, raw.document.as_deref(), &raw.path)?;
        let states: Vec<(&str, JobState)> = JobState::ALL.iter().map(|state| (state.word(), *state)).collect();
        let state = |name: &str, own: &Option<String>| {
            own.as_deref().map(|own| one_of(&key.name(name), own, &states)).transpose()
        };
        let (absent, other) = (state("absent", &raw.absent)?, state("other", &raw.other)?);
        let is_told_otherwise = absent.is_some() || other.is_some();
        let words_key = key.name("words");
        let words: BTreeMap<String, JobState> = match &raw.words {
            Some(words) if words.is_empty() && !is_told_otherwise => {
                let right = "a line for each of the host's words, such as { busy = \"printing\" }";
                return Err(Wrong::new(words_key, "found none", right));
            }
            Some(words) => {
                let word =
                    |(host, own): (&String, &String)| Ok((host.clone(), one_of(&words_key.name(host), own, &states)?));
                words.iter().map(word).collect::<Result<_, Wrong>>()?
            }
            None if is_told_otherwise => BTreeMap::new(),
            None => states.iter().map(|(word, state)| ((*word).to_owned(), *state)).collect(),
        };
        Ok(StatePlace { field, words, absent, other })
    }

    fn active_tool(&self, key: &Key, raw: &OneOrMany<RawActiveTool>, tools: usize) -> Result<ToolField, Wrongs> {
        let place = |key: &Key, raw: &RawActiveTool| {
            let field = self.field(key, raw.document.as_deref(), &raw.path)?;
            let number = |(word, number): (&String, &i64)| {
                let tool = usize::try_from(*number).ok().filter(|number| *number < tools).ok_or_else(|| {
                    let right = format!("a tool's number, 0 to {}", tools.saturating_sub(1));
                    Wrong::new(key.name("words").name(word), format!("found {number}"), right)
                })?;
                Ok((word.clone(), tool))
            };
            Ok(ToolPlace { field, words: raw.words.iter().map(number).collect::<Result<_, Wrong>>()? })
        };
        each(key, raw, place).map(ToolField)
    }

    fn temperature(&self, key: &Key, raw: Option<&RawNumber>) -> Result<Option<TemperatureField>, Wrong> {
        let Some(raw) = raw else { return Ok(None) };
        refuse(key, "of", raw.of.is_some(), "for a share of a whole alone")?;
        let unit = raw.unit.as_deref().map(|unit| one_of(&key.name("unit"), unit, &TemperatureUnit::SYMBOLS));
        let unit = unit.transpose()?.unwrap_or_default();
        Ok(Some(TemperatureField { number: self.number(key, raw, -273.15..=1000.0, "°C")?, unit }))
    }

    fn share(&self, key: &Key, raw: Option<&RawNumber>) -> Result<Option<ShareField>, Wrong> {
        let Some(raw) = raw else { return Ok(None) };
        refuse(key, "unit", raw.unit.is_some(), "for a temperature alone")?;
        let of = raw.of.as_ref().map(|of| paths(&key.name("of"), of)).transpose()?;
        Ok(Some(ShareField { number: self.number(key, raw, 0.0..=1.0, "")?, of }))
    }

    fn byte(&self, key: &Key, raw: &RawNumber) -> Result<NumberField, Wrong> {
        refuse(key, "of", raw.of.is_some(), "for a share of a whole alone")?;
        refuse(key, "unit", raw.unit.is_some(), "for a temperature alone")?;
        self.number(key, raw, 0.0..=WHOLE_MAX, "bytes")
    }

    /// A number whose words stand for numbers within `range`.
    fn number(&self, key: &Key, raw: &RawNumber, range: RangeInclusive<f64>, unit: &str) -> Result<NumberField, Wrong> {
        if raw.suffix.as_deref().is_some_and(|suffix| suffix.trim().is_empty()) {
            return Err(Wrong::new(key.name("suffix"), "found a blank text", "what stands after the number"));
        }
        let words = key.name("words");
        for (word, number) in &raw.words {
            within(&words.name(word), *number, range.clone(), unit)?;
        }
        Ok(NumberField {
            field: self.field(key, raw.document.as_deref(), &raw.path)?,
            scale: scale(key, raw.scale, raw.offset)?,
            suffix: raw.suffix.clone(),
            words: raw.words.clone(),
        })
    }
}

/// Checks one, or each of a list, which has at least one.
fn each<R, T>(key: &Key, raw: &OneOrMany<R>, check: impl Fn(&Key, &R) -> Result<T, Wrong>) -> Result<Vec<T>, Wrongs> {
    match raw {
        OneOrMany::One(raw) => Ok(vec![check(key, raw)?]),
        OneOrMany::Many(all) if all.is_empty() => {
            Err(Wrong::new(key.clone(), "found an empty list", "at least one place").into())
        }
        OneOrMany::Many(all) => Wrongs::each(all.iter().enumerate().map(|(idx, raw)| check(&key.nth(idx), raw))),
    }
}

fn paths(key: &Key, raw: &OneOrMany<String>) -> Result<Paths, Wrong> {
    let selector = |key: &Key, path: &str| {
        Selector::parse(path).map_err(|fault| {
            let right = "a JSONPath (RFC 9535) such as \"$.a.b[0]\" or a JSON Pointer (RFC 6901) such as \"/a/b/0\"";
            Wrong::new(key.clone(), format!("{path:?} {fault}"), right)
        })
    };
    let all = match raw {
        OneOrMany::One(path) => vec![selector(key, path)?],
        OneOrMany::Many(all) => {
            all.iter().enumerate().map(|(idx, path)| selector(&key.nth(idx), path)).collect::<Result<_, _>>()?
        }
    };
    Paths::new(all).ok_or_else(|| Wrong::new(key.clone(), "found an empty list", "at least one path"))
}

/// A key that this kind of field does not have.
fn refuse(key: &Key, name: &str, is_there: bool, whose: &str) -> Result<(), Wrong> {
    if is_there { Err(Wrong::new(key.name(name), format!("{name} is {whose}"), "none here")) } else { Ok(()) }
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
