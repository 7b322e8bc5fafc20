//! Numbers of a document and what is made of them: a temperature, a share of a whole, a count. Owns scale, suffix,
//! value table and unit; knows nothing of printers.

use super::field::{Field, Missing, kind, number, number_of, one_of, word};
use super::selector::Paths;
use crate::entry::CentiCelsius;
use serde_json::Value;
use std::collections::BTreeMap;

/// A number's place and form.
#[derive(Clone, Debug)]
pub struct NumberField {
    /// Where.
    pub field: Field,
    /// What is done to the host's number.
    pub scale: Scale,
    /// The value is a text: a number, blanks, exactly this.
    pub suffix: Option<String>,
    /// What the host's words stand for; no scale, unit or whole applies to it.
    pub words: BTreeMap<String, f64>,
}

/// What a host's number is multiplied by, and what is then added.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Multiplied by.
    pub factor: f64,
    /// Added after.
    pub offset: f64,
}

/// A unit of temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum TemperatureUnit {
    /// °C.
    #[default]
    Celsius,
    /// °F.
    Fahrenheit,
    /// K.
    Kelvin,
}

/// A temperature's place and form.
#[derive(Clone, Debug)]
pub struct TemperatureField {
    /// The host's number; its words stand for °C.
    pub number: NumberField,
    /// Applied after the scale.
    pub unit: TemperatureUnit,
}

/// Place and form of a share of a whole, 0 to 1.
#[derive(Clone, Debug)]
pub struct ShareField {
    /// The host's number, 0 to 1 if there is no whole.
    pub number: NumberField,
    /// The whole that it is a part of, in the same document.
    pub of: Option<Paths>,
}

/// A number as the host means it.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Told {
    /// Counted, and scaled.
    Counted(f64),
    /// A word that stands for it.
    Named(f64),
}

/// How far a share may be outside 0 to 1 and still be a matter of the host's rounding.
const SHARE_ROUNDING: f64 = 0.001;

/// Whole numbers above 2^53 do not survive a host's double-precision arithmetic.
pub const WHOLE_MAX: f64 = 9_007_199_254_740_992.0;

impl Scale {
    /// Changes nothing.
    pub const NONE: Self = Self { factor: 1.0, offset: 0.0 };

    fn apply(self, raw: f64) -> f64 {
        raw.mul_add(self.factor, self.offset)
    }
}

impl TemperatureUnit {
    /// The symbols that a configuration may use.
    pub const SYMBOLS: [(&'static str, Self); 3] = [("C", Self::Celsius), ("F", Self::Fahrenheit), ("K", Self::Kelvin)];

    fn celsius(self, degrees: f64) -> f64 {
        match self {
            Self::Celsius => degrees,
            Self::Fahrenheit => (degrees - 32.0) / 1.8,
            Self::Kelvin => degrees - 273.15,
        }
    }
}

impl NumberField {
    /// The value as a whole number, 0 or more. A host that counts in other units rounds, so a scaled number may too.
    pub(super) fn whole(&self, documents: &[Option<Value>]) -> Result<u64, Missing> {
        let found = match self.told(documents)? {
            Told::Counted(number) if self.scale != Scale::NONE => number.round(),
            Told::Counted(number) | Told::Named(number) => number,
        };
        whole(found)
    }

    fn told(&self, documents: &[Option<Value>]) -> Result<Told, Missing> {
        let value = self.field.value(documents)?;
        if let Some(number) = word(value).and_then(|word| self.words.get(&word)) {
            return Ok(Told::Named(*number));
        }
        let number = match &self.suffix {
            Some(suffix) => before(suffix, value),
            None => number(value),
        };
        match (number, word(value)) {
            (Ok(number), _) => Ok(Told::Counted(self.scale.apply(number))),
            (Err(_), Some(word)) if !self.words.is_empty() => {
                Err(Missing::word(&word, format!("a number or {}", one_of(self.words.keys()))))
            }
            (Err(why), _) => Err(why),
        }
    }
}

/// The number before a suffix.
fn before(suffix: &str, value: &Value) -> Result<f64, Missing> {
    let Value::String(text) = value else {
        return Err(Missing::Kind { found: kind(value), right: "a text of a number and its suffix" });
    };
    let number = text.strip_suffix(suffix).and_then(number_of);
    number.ok_or_else(|| Missing::word(text, format!("a number and then {suffix:?}")))
}

/// A number as a whole one, 0 or more.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole and in range, checked above the cast"
)]
pub(super) fn whole(found: f64) -> Result<u64, Missing> {
    if !(0.0..=WHOLE_MAX).contains(&found) || found.fract() > 0.0 {
        return Err(Missing::Senseless { found, right: "a whole number, 0 or more" });
    }
    Ok(found as u64)
}

impl TemperatureField {
    /// The temperature in °C.
    pub(super) fn read(&self, documents: &[Option<Value>]) -> Result<CentiCelsius, Missing> {
        let found = match self.number.told(documents)? {
            Told::Counted(degrees) => self.unit.celsius(degrees),
            Told::Named(celsius) => celsius,
        };
        CentiCelsius::nearest(found).ok_or(Missing::Senseless { found, right: "-273.15 to 1000 °C" })
    }
}

impl ShareField {
    /// The share in so many equal steps of the whole, 0 to `steps`.
    #[expect(
        clippy::as_conversions,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to 0 to 1 above the cast"
    )]
    pub(super) fn read(&self, documents: &[Option<Value>], steps: u32) -> Result<u32, Missing> {
        let found = match (self.number.told(documents)?, &self.of) {
            (Told::Counted(part), Some(paths)) => part / self.whole_at(paths, documents)?,
            (Told::Counted(share), None) | (Told::Named(share), _) => share,
        };
        if !(-SHARE_ROUNDING..=1.0 + SHARE_ROUNDING).contains(&found) {
            return Err(Missing::Senseless { found, right: "0 to 1" });
        }
        Ok((found.clamp(0.0, 1.0) * f64::from(steps)).round() as u32)
    }

    /// The whole: more than nothing. It may have the number's suffix and need not.
    fn whole_at(&self, paths: &Paths, documents: &[Option<Value>]) -> Result<f64, Missing> {
        let missing = |why| Missing::Whole { path: paths.to_string(), why: Box::new(why) };
        let (_, value) = paths.one(self.number.field.document(documents)?).map_err(missing)?;
        let suffixed = self.number.suffix.as_ref().and_then(|suffix| before(suffix, value).ok());
        let found = suffixed.map_or_else(|| number(value), Ok).map_err(missing)?;
        if found > 0.0 { Ok(found) } else { Err(missing(Missing::Senseless { found, right: "more than 0" })) }
    }
}
