//! What a request may ask for: each parameter once, with what the document says of it and how it is read, so that the
//! two can't differ.

use super::problem::Problem;
use crate::stamp;
use axum::body::Bytes;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::period::Period;
use serde_json::{Value, json};

/// Rows of a list, unless it is said how many.
const LIMIT: u32 = 100;
/// The most rows of a list; more are asked for in turns.
const LIMIT_MAX: u32 = 1000;
/// The largest number that every reader of JSON takes for what it is.
const NUMBER_MAX: i64 = (1 << 53) - 1;

/// A parameter, in the path or in the query.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Parameter {
    /// A print's or an alarm's number.
    Id,
    /// A week, or days in a row.
    Period,
    /// What is to be done with an alarm.
    Act,
    /// A printer's name.
    Printer,
    /// A print's number.
    Print,
    /// The beginning of a time.
    From,
    /// The end of a time.
    To,
    /// How many rows.
    Limit,
}

/// What can be done with an alarm, as paths have it.
pub(super) const ACTS: [&str; 7] =
    ["acknowledge", "shelve", "unshelve", "out-of-service", "return-to-service", "right", "false"];

/// What a request asks for, understood.
#[derive(Debug)]
pub(super) struct Asked {
    /// The number in the path; 0 where the path has none.
    pub(super) id: i64,
    pub(super) period: Option<Period>,
    pub(super) act: String,
    pub(super) printer: Option<String>,
    pub(super) print: Option<i64>,
    pub(super) from: Option<Timestamp>,
    pub(super) to: Option<Timestamp>,
    pub(super) limit: u32,
    pub(super) body: Bytes,
}

impl Parameter {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Id => "id",
            Self::Period => "period",
            Self::Act => "act",
            Self::Printer => "printer",
            Self::Print => "print",
            Self::From => "from",
            Self::To => "to",
            Self::Limit => "limit",
        }
    }

    pub(super) const fn is_in_path(self) -> bool {
        matches!(self, Self::Id | Self::Period | Self::Act)
    }

    /// What it means.
    pub(super) const fn told(self) -> &'static str {
        match self {
            Self::Id => "Its number.",
            Self::Period => "A week of ISO 8601, or the first and the last of at most 400 days.",
            Self::Act => "What is to be done with it.",
            Self::Printer => "Of this printer alone.",
            Self::Print => "Of this print alone, by its number.",
            Self::From => "From this instant on.",
            Self::To => "Before this instant.",
            Self::Limit => "At most so many, the newest ones.",
        }
    }

    /// What is taken for it.
    pub(super) fn schema(self) -> Value {
        match self {
            Self::Id | Self::Print => json!({"type": "integer", "minimum": 1, "maximum": NUMBER_MAX}),
            Self::Period => {
                let week = "[0-9]{4}-W(0[1-9]|[1-4][0-9]|5[0-3])";
                let day = "[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])";
                let pattern = format!(r"^({week}|{day}\.\.{day})$");
                json!({"type": "string", "pattern": pattern, "examples": ["2026-W09", "2026-03-01..2026-03-31"]})
            }
            Self::Act => json!({"type": "string", "enum": ACTS}),
            Self::Printer => json!({"type": "string"}),
            Self::From | Self::To => json!({"type": "string", "format": "date-time"}),
            Self::Limit => json!({"type": "integer", "minimum": 1, "maximum": LIMIT_MAX, "default": LIMIT}),
        }
    }
}

impl Asked {
    /// Reads what came, by name, of what an address takes.
    ///
    /// # Errors
    /// A problem that says what was found, and what would be right.
    pub(super) fn read<'a>(
        takes: &[Parameter],
        in_path: impl Iterator<Item = (&'a str, &'a str)>,
        in_query: &[(String, String)],
        body: Bytes,
    ) -> Result<Self, Problem> {
        let mut asked = Self {
            id: 0,
            period: None,
            act: String::new(),
            printer: None,
            print: None,
            from: None,
            to: None,
            limit: LIMIT,
            body,
        };
        for (name, value) in in_path {
            let parameter = takes.iter().find(|parameter| parameter.is_in_path() && parameter.name() == name);
            asked.take(*parameter.ok_or_else(|| Problem::failed(format!("{name} is in no address")))?, value)?;
        }
        let mut seen: Vec<Parameter> = Vec::new();
        for (name, value) in in_query {
            let parameter = takes.iter().find(|parameter| !parameter.is_in_path() && parameter.name() == name);
            let parameter = *parameter.ok_or_else(|| unknown(name, takes))?;
            if seen.contains(&parameter) {
                return Err(Problem::bad(format!("{name} stands in the query twice; once would be right.")));
            }
            seen.push(parameter);
            asked.take(parameter, value)?;
        }
        Ok(asked)
    }

    fn take(&mut self, parameter: Parameter, text: &str) -> Result<(), Problem> {
        let name = parameter.name();
        let number = |most: i64| {
            let found = text.parse().ok().filter(|number| (1..=most).contains(number));
            found.ok_or_else(|| {
                Problem::bad(format!("{name} is {text:?}; a whole number of 1 to {most} would be right."))
            })
        };
        let instant = || {
            let right = "an instant with its offset, such as 2026-03-02T08:00:00Z, would be right";
            stamp::parse(text).ok_or_else(|| Problem::bad(format!("{name} is {text:?}; {right}.")))
        };
        match parameter {
            Parameter::Id => self.id = number(NUMBER_MAX)?,
            Parameter::Print => self.print = Some(number(NUMBER_MAX)?),
            Parameter::Limit => self.limit = u32::try_from(number(i64::from(LIMIT_MAX))?).unwrap_or(LIMIT_MAX),
            Parameter::From => self.from = Some(instant()?),
            Parameter::To => self.to = Some(instant()?),
            Parameter::Printer => self.printer = Some(text.to_owned()),
            Parameter::Act => text.clone_into(&mut self.act),
            Parameter::Period => {
                self.period = Some(Period::parse(text).map_err(|error| Problem::absent(format!("{error}.")))?);
            }
        }
        Ok(())
    }
}

fn unknown(name: &str, takes: &[Parameter]) -> Problem {
    let known: Vec<&str> =
        takes.iter().filter(|parameter| !parameter.is_in_path()).map(|parameter| parameter.name()).collect();
    let right = if known.is_empty() { "it takes none".to_owned() } else { format!("it takes {}", known.join(", ")) };
    Problem::bad(format!("{name:?} stands in the query; {right}."))
}
