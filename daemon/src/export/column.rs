//! A table's columns: name, kind and where the value stands in a row, said once for every format. An absent value is
//! unknown.

use dwell_analysis::time::Timestamp;

/// A column of rows `R`.
pub(super) struct Column<R> {
    /// Its name, with its unit.
    pub(super) name: String,
    /// Where its value stands.
    pub(super) value: Value<R>,
}

type Find<R, T> = Box<dyn Fn(&R) -> Option<T>>;
/// A text is borrowed from its row.
type FindText<R> = Box<dyn Fn(&R) -> Option<&str>>;

/// Where a value stands in a row, by kind.
pub(super) enum Value<R> {
    Text(FindText<R>),
    Whole(Find<R, i64>),
    Number(Find<R, f64>),
    Truth(Find<R, bool>),
    Time(Find<R, Timestamp>),
}

impl<R> Column<R> {
    pub(super) fn text(name: &str, value: impl Fn(&R) -> Option<&str> + 'static) -> Self {
        Self { name: name.to_owned(), value: Value::Text(Box::new(value)) }
    }

    pub(super) fn whole(name: &str, value: impl Fn(&R) -> Option<i64> + 'static) -> Self {
        Self { name: name.to_owned(), value: Value::Whole(Box::new(value)) }
    }

    /// A number that is not finite is no measure, and unknown.
    pub(super) fn number(name: &str, value: impl Fn(&R) -> Option<f64> + 'static) -> Self {
        let finite = move |row: &R| value(row).filter(|number| number.is_finite());
        Self { name: name.to_owned(), value: Value::Number(Box::new(finite)) }
    }

    pub(super) fn truth(name: &str, value: impl Fn(&R) -> Option<bool> + 'static) -> Self {
        Self { name: name.to_owned(), value: Value::Truth(Box::new(value)) }
    }

    pub(super) fn time(name: &str, value: impl Fn(&R) -> Option<Timestamp> + 'static) -> Self {
        Self { name: name.to_owned(), value: Value::Time(Box::new(value)) }
    }
}

/// A tool's number or another index as a column's whole number.
pub(super) fn whole(idx: usize) -> Option<i64> {
    i64::try_from(idx).ok()
}
