//! Numbered parameters, `#1` to `#5399` (NISTIR 6556, 3.3.3). Owns the table, which a file without any never has.

use super::fault::LineFault;
use super::number::{number, skip_blanks};

/// One more than the highest number.
const COUNT: usize = 5400;
/// How far a whole number may lie from one.
const TOLERANCE: f64 = 0.0001;

/// Their values; one never set is 0.
#[derive(Debug, Default)]
pub(super) struct Parameters {
    table: Vec<f64>,
}

impl Parameters {
    /// Takes the settings of a line, once it is done.
    pub(super) fn set(&mut self, settings: &[(usize, f64)]) {
        if !settings.is_empty() {
            self.table.resize(COUNT, 0.0);
        }
        for (idx, value) in settings {
            if let Some(place) = self.table.get_mut(*idx) {
                *place = *value;
            }
        }
    }

    /// Reads a number or the value of a parameter, whose number may be another's value.
    pub(super) fn number<'l>(&self, text: &'l [u8]) -> Result<(f64, &'l [u8]), LineFault> {
        let (mut rest, mut depth) = (skip_blanks(text), 0_u32);
        while let Some(tail) = rest.strip_prefix(b"#") {
            rest = skip_blanks(tail);
            depth += 1;
        }
        if rest.first() == Some(&b'[') {
            return Err(LineFault::Expression);
        }
        let (mut value, rest) = number(rest)?;
        for _ in 0..depth {
            value = self.table.get(index(value)?).copied().unwrap_or_default();
        }
        Ok((value, rest))
    }
}

/// The place that a parameter's number names.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "its range is checked"
)]
pub(super) fn index(value: f64) -> Result<usize, LineFault> {
    let nearest = value.round();
    if !(1.0..=5399.0).contains(&nearest) || (nearest - value).abs() > TOLERANCE {
        return Err(LineFault::Parameter);
    }
    Ok(nearest as usize)
}
