//! A value over the watch, as numbers: how it is written and how it moves. Knows nothing of printers.

use super::words::OFF;
use serde_json::{Number, Value};

/// A value as numbers, one a snapshot.
#[derive(Clone, Debug, Default)]
pub(super) struct Series {
    /// `None`: not there, or null.
    pub(super) values: Vec<Option<f64>>,
    /// What stands after the number when it is a text.
    pub(super) suffix: Option<String>,
    /// Texts that stood there for "off", counted as 0.
    pub(super) offs: Vec<String>,
    /// Whether some number was written with a fraction.
    pub(super) has_fraction: bool,
}

/// A count that begins anew is under this share of what it was.
const BEGINS_UNDER: f64 = 0.1;
/// Longer endings are prose.
const SUFFIX_CHARS_MAX: usize = 12;

impl Series {
    /// The values as numbers, or `None` if one of them is none.
    pub(super) fn of(values: &[Option<Value>]) -> Option<Self> {
        let mut series = Self::default();
        let mut suffixes: Vec<Option<String>> = Vec::new();
        for value in values {
            let number = match value {
                None | Some(Value::Null) => None,
                Some(Value::Number(number)) => {
                    suffixes.push(None);
                    series.has_fraction |= number.as_i64().is_none() && number.as_u64().is_none();
                    number.as_f64()
                }
                Some(Value::String(text)) if is_off(text) => {
                    if !series.offs.contains(text) {
                        series.offs.push(text.clone());
                    }
                    Some(0.0)
                }
                Some(Value::String(text)) => {
                    let (number, suffix, has_fraction) = read(text)?;
                    suffixes.push((!suffix.is_empty()).then_some(suffix));
                    series.has_fraction |= has_fraction;
                    Some(number)
                }
                Some(Value::Bool(_) | Value::Array(_) | Value::Object(_)) => return None,
            };
            series.values.push(number);
        }
        suffixes.dedup();
        let any = series.values.iter().any(Option::is_some);
        if suffixes.len() > 1 || !any {
            return None;
        }
        series.suffix = suffixes.pop().flatten();
        Some(series)
    }

    /// The numbers that were there, in order.
    pub(super) fn there(&self) -> impl DoubleEndedIterator<Item = f64> + '_ {
        self.values.iter().copied().flatten()
    }

    /// The smallest.
    pub(super) fn min(&self) -> f64 {
        self.there().fold(f64::INFINITY, f64::min)
    }

    /// The largest.
    pub(super) fn max(&self) -> f64 {
        self.there().fold(f64::NEG_INFINITY, f64::max)
    }

    /// The first that was there.
    pub(super) fn first(&self) -> f64 {
        self.there().next().unwrap_or(f64::NAN)
    }

    /// The last that was there.
    pub(super) fn last(&self) -> f64 {
        self.there().next_back().unwrap_or(f64::NAN)
    }

    /// Whether it stood still.
    pub(super) fn is_still(&self) -> bool {
        self.changes() == 0
    }

    /// How often it changed from one snapshot to the next.
    pub(super) fn changes(&self) -> usize {
        let there: Vec<f64> = self.there().collect();
        there.windows(2).filter(|pair| differ(pair[0], pair[1])).count()
    }

    /// How many different numbers it was.
    pub(super) fn kinds(&self) -> usize {
        let mut sorted: Vec<f64> = self.there().collect();
        sorted.sort_by(f64::total_cmp);
        sorted.dedup_by(|one, other| !differ(*one, *other));
        sorted.len()
    }

    /// Whether it rose and never fell, but for one fall back to where such a count begins.
    pub(super) fn rises(&self) -> bool {
        let there: Vec<f64> = self.there().collect();
        self.never_falls() && there.windows(2).any(|pair| pair[1] > pair[0])
    }

    /// Whether it never fell, but for one fall back to where such a count begins: the next job's.
    pub(super) fn never_falls(&self) -> bool {
        let there: Vec<f64> = self.there().collect();
        let mut falls = there.windows(2).filter(|pair| pair[1] < pair[0]);
        falls.next().is_none_or(|pair| pair[1] <= pair[0] * BEGINS_UNDER) && falls.next().is_none()
    }

    /// Whether every number is whole.
    pub(super) fn is_whole(&self) -> bool {
        self.there().all(|number| !differ(number, number.round()))
    }
}

/// Numbers closer than this are one: far below the last digit that a host writes.
const SAME_WITHIN: f64 = 1e-9;

pub(super) fn differ(one: f64, other: f64) -> bool {
    (one - other).abs() > SAME_WITHIN * one.abs().max(other.abs()).max(1.0)
}

fn is_off(text: &str) -> bool {
    OFF.contains(&text.trim().to_lowercase().as_str())
}

/// A number, its ending without the blanks between, and whether the number has a fraction.
fn read(text: &str) -> Option<(f64, String, bool)> {
    let text = text.trim();
    let end = text.find(|char: char| !(char.is_ascii_digit() || matches!(char, '.' | '-' | '+'))).unwrap_or(text.len());
    let (number, suffix) = text.split_at(end);
    let suffix = suffix.trim_start();
    let sound = suffix.chars().count() <= SUFFIX_CHARS_MAX && !suffix.contains(|char: char| char.is_ascii_digit());
    let parsed = number.parse::<Number>().ok()?.as_f64()?;
    (sound && !suffix.contains(['/', ':'])).then(|| (parsed, suffix.to_owned(), number.contains('.')))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn numbers_in_texts_keep_their_ending_and_other_texts_are_none() {
        let of = |values: &[Value]| Series::of(&values.iter().cloned().map(Some).collect::<Vec<_>>());
        let warm = of(&[json!("209.8 °C"), json!("off"), json!("210 °C")]).unwrap();
        assert_eq!(warm.suffix.as_deref(), Some("°C"));
        assert_eq!((warm.offs.as_slice(), warm.has_fraction), (&["off".to_owned()][..], true));
        assert!(of(&[json!("lantern.gcode")]).is_none() && of(&[json!("12:30")]).is_none());
        assert!(of(&[json!("2026-03-02T08:00:01Z")]).is_none() && of(&[json!("T1")]).is_none());
        assert!(of(&[json!(1), json!("1 %")]).is_none(), "two ways to write");
    }
}
