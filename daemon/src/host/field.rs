//! One value of one document, as a number, a word or a temperature. Owns what makes a value unfit;
//! knows nothing of printers.

use super::selector::Selector;
use crate::entry::CentiCelsius;
use serde_json::{Number, Value};

/// Where a value stands.
#[derive(Clone, Debug)]
pub struct Field {
    /// Index of the document among the printer's documents.
    pub document: usize,
    /// Where in it.
    pub path: Selector,
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
    /// Where.
    pub field: Field,
    /// Applied first.
    pub scale: Scale,
    /// Applied after the scale.
    pub unit: TemperatureUnit,
}

/// Place and form of a share of a whole, 0 to 1.
#[derive(Clone, Debug)]
pub struct ShareField {
    /// Where.
    pub field: Field,
    /// Brings the host's number to 0 to 1.
    pub scale: Scale,
}

/// Why a field has no value.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Missing {
    /// Its document did not come.
    #[error("its document did not come")]
    NoDocument,
    /// The path selects nothing.
    #[error("nothing is there")]
    NothingThere,
    /// The path selects several values.
    #[error("selects {0} values, needs to select one")]
    Several(usize),
    /// The value is null.
    #[error("is null")]
    Null,
    /// The value is an empty text.
    #[error("is empty")]
    Empty,
    /// The value is not of the kind needed.
    #[error("is {found}, needs to be {right}")]
    Kind {
        /// What it is.
        found: &'static str,
        /// What it needs to be.
        right: &'static str,
    },
    /// The value is of the right kind and can't be true.
    #[error("comes to {found}, needs to be {right}")]
    Senseless {
        /// The value after scale and unit.
        found: f64,
        /// The range of sense.
        right: &'static str,
    },
}

/// How far a share may be outside 0 to 1 and still be a matter of the host's rounding.
const SHARE_ROUNDING: f64 = 0.001;

/// Whole numbers above 2^53 do not survive a host's double-precision arithmetic.
const WHOLE_MAX: f64 = 9_007_199_254_740_992.0;

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

impl Field {
    /// The value itself, not null.
    pub(super) fn value<'v>(&self, documents: &'v [Option<Value>]) -> Result<&'v Value, Missing> {
        let document = documents.get(self.document).and_then(Option::as_ref).ok_or(Missing::NoDocument)?;
        match self.path.one(document)? {
            Value::Null => Err(Missing::Null),
            value => Ok(value),
        }
    }

    /// The value as a number; a string that is a JSON number is one too.
    pub(super) fn number(&self, documents: &[Option<Value>]) -> Result<f64, Missing> {
        let value = self.value(documents)?;
        let number = match value {
            Value::Number(number) => number.as_f64(),
            Value::String(text) => text.trim().parse::<Number>().ok().and_then(|number| number.as_f64()),
            Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_) => None,
        };
        number.ok_or(Missing::Kind { found: kind(value), right: "a number" })
    }

    /// The value as a whole number, 0 or more.
    #[expect(
        clippy::as_conversions,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole and in range, checked above the cast"
    )]
    pub(super) fn whole(&self, documents: &[Option<Value>]) -> Result<u64, Missing> {
        let found = self.number(documents)?;
        if !(0.0..=WHOLE_MAX).contains(&found) || found.fract() > 0.0 {
            return Err(Missing::Senseless { found, right: "a whole number, 0 or more" });
        }
        Ok(found as u64)
    }

    /// The value as a word: a string as it is, a number or truth value as JSON writes it.
    pub(super) fn word(&self, documents: &[Option<Value>]) -> Result<String, Missing> {
        match self.value(documents)? {
            Value::String(text) => Ok(text.clone()),
            value @ (Value::Number(_) | Value::Bool(_)) => Ok(value.to_string()),
            value @ (Value::Null | Value::Array(_) | Value::Object(_)) => {
                Err(Missing::Kind { found: kind(value), right: "a word" })
            }
        }
    }

    /// The value as a name: a word that is not empty.
    pub(super) fn name(&self, documents: &[Option<Value>]) -> Result<String, Missing> {
        let word = self.word(documents)?;
        if word.trim().is_empty() { Err(Missing::Empty) } else { Ok(word) }
    }
}

impl TemperatureField {
    /// The temperature in °C.
    pub(super) fn read(&self, documents: &[Option<Value>]) -> Result<CentiCelsius, Missing> {
        let found = self.unit.celsius(self.scale.apply(self.field.number(documents)?));
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
        let found = self.scale.apply(self.field.number(documents)?);
        if !(-SHARE_ROUNDING..=1.0 + SHARE_ROUNDING).contains(&found) {
            return Err(Missing::Senseless { found, right: "0 to 1" });
        }
        Ok((found.clamp(0.0, 1.0) * f64::from(steps)).round() as u32)
    }
}

fn kind(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "a truth value",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}
