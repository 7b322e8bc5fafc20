//! What an export has to hold, worked out from the record alone. Owns no claim.

use crate::advised::{suggestion_rows, trial_rows};
use crate::alarmed::alarm_rows;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Seconds};
use dwellwatch::entry::{CentiCelsius, Heater, JobFileFrom, PrintEnd, PrinterName, ToolNumber};
use dwellwatch::stamp;
use dwellwatch::store::{Heat, OutcomeRow, PrintFilter, PrintRow, PrintTool, Reader, SpanFilter, Step};
use serde_json::Value;
use std::collections::BTreeMap;

/// A value as the record holds it.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Not known.
    Nothing,
    /// A text.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// Any other number.
    Number(f64),
    /// True or false.
    Truth(bool),
    /// An instant.
    Time(Timestamp),
}

/// A row by its columns.
pub type Row = BTreeMap<String, Cell>;

impl Cell {
    /// Whether an engine found just this in an export of `form`.
    #[must_use]
    pub fn is(&self, found: &Value, form: &str) -> bool {
        let text = match (self, found) {
            (Self::Nothing, found) => return found.is_null(),
            (_, Value::String(text)) => text,
            (_, _) => return false,
        };
        match self {
            Self::Nothing => false,
            Self::Text(wanted) => text == wanted,
            Self::Whole(wanted) => *text == wanted.to_string(),
            Self::Number(wanted) => text.parse::<f64>().is_ok_and(|found| found.to_bits() == wanted.to_bits()),
            Self::Truth(wanted) => *text == wanted.to_string(),
            Self::Time(wanted) if form == "csv" => *text == stamp::write(*wanted),
            Self::Time(wanted) => *text == wanted.as_ms().to_string(),
        }
    }

    /// The engine's word for a column of these; `None` where nothing is known.
    #[must_use]
    pub fn kind(&self) -> Option<&'static str> {
        match self {
            Self::Nothing => None,
            Self::Text(_) => Some("VARCHAR"),
            Self::Whole(_) => Some("BIGINT"),
            Self::Number(_) => Some("DOUBLE"),
            Self::Truth(_) => Some("BOOLEAN"),
            Self::Time(_) => Some("TIMESTAMP WITH TIME ZONE"),
        }
    }
}

pub(crate) fn text(value: Option<impl ToString>) -> Cell {
    value.map_or(Cell::Nothing, |value| Cell::Text(value.to_string()))
}

pub(crate) fn whole(value: Option<usize>) -> Cell {
    value.map_or(Cell::Nothing, |value| Cell::Whole(i64::try_from(value).unwrap()))
}

pub(crate) fn number(value: Option<f64>) -> Cell {
    value.map_or(Cell::Nothing, Cell::Number)
}

pub(crate) fn time(value: Option<Timestamp>) -> Cell {
    value.map_or(Cell::Nothing, Cell::Time)
}

pub(crate) fn row<const N: usize>(cells: [(&str, Cell); N]) -> Row {
    cells.map(|(name, cell)| (name.to_owned(), cell)).into()
}

/// What of the record is meant.
#[derive(Clone, Copy, Debug, Default)]
pub struct Bounds<'b> {
    /// One printer's alone.
    pub printer: Option<&'b str>,
    /// From this RFC 3339 time on.
    pub from: Option<&'b str>,
    /// Before this RFC 3339 time.
    pub to: Option<&'b str>,
}

impl Bounds<'_> {
    /// As options of a command.
    #[must_use]
    pub fn arguments(&self) -> Vec<&str> {
        let options = [("--printer", self.printer), ("--from", self.from), ("--to", self.to)];
        options.into_iter().filter_map(|(option, value)| Some([option, value?])).flatten().collect()
    }

    fn from(&self) -> Option<Timestamp> {
        self.from.map(|at| stamp::parse(at).unwrap())
    }

    fn to(&self) -> Option<Timestamp> {
        self.to.map(|at| stamp::parse(at).unwrap())
    }

    fn printers(&self, reader: &Reader) -> Vec<PrinterName> {
        let names = reader.printers().unwrap().into_iter().map(|row| row.name);
        names.filter(|name| self.printer.is_none_or(|wanted| name.as_str() == wanted)).collect()
    }
}

/// Every table that is exported, as the record holds it.
#[must_use]
pub fn recorded(reader: &Reader, bounds: Bounds<'_>) -> BTreeMap<&'static str, Vec<Row>> {
    let printers = bounds.printers(reader);
    let (from, to) = (bounds.from(), bounds.to());
    let filter = PrintFilter { from, to, ..PrintFilter::default() };
    let prints: Vec<PrintRow> =
        reader.prints(&filter).unwrap().into_iter().filter(|print| printers.contains(&print.printer)).collect();
    let tools = prints.iter().flat_map(|print| print.tools.iter().map(move |tool| (print, tool)));
    let outcomes = prints.iter().flat_map(|print| print.outcomes.iter().map(move |outcome| (print, outcome)));
    BTreeMap::from([
        ("prints", prints.iter().map(print_row).collect()),
        ("print_tools", tools.map(|(print, tool)| tool_row(print, tool)).collect()),
        ("outcomes", outcomes.map(|(print, outcome)| outcome_row(print, outcome)).collect()),
        ("spans", span_rows(reader, &printers, from, to)),
        ("samples", sample_rows(reader, &printers, from, to)),
        ("suggestions", suggestion_rows(reader, &printers, from, to)),
        ("trials", trial_rows(reader, &printers, from, to)),
        ("alarms", alarm_rows(reader, &printers, from, to)),
        ("minutes", summary_rows(reader, Step::Minute, &printers, from, to)),
        ("hours", summary_rows(reader, Step::Hour, &printers, from, to)),
    ])
}

fn print_row(print: &PrintRow) -> Row {
    row([
        ("printer", text(Some(&print.printer))),
        ("id", Cell::Whole(print.id)),
        ("name", text(print.name.as_ref())),
        ("started", time(Some(print.started))),
        ("ended", time(print.ended)),
        ("end", text(print.end.map(PrintEnd::word))),
        ("tool_changes", Cell::Whole(print.tool_changes.into())),
        ("job_file", text(print.job_file.map(JobFileFrom::word))),
        ("expected_s", number(print.expected.map(Seconds::get))),
        ("tool_disagreements", print.job_file.map_or(Cell::Nothing, |_| Cell::Whole(print.disagreements.into()))),
    ])
}

fn tool_row(print: &PrintRow, tool: &PrintTool) -> Row {
    row([
        ("printer", text(Some(&print.printer))),
        ("print", Cell::Whole(print.id)),
        ("started", time(Some(print.started))),
        ("tool", whole(Some(tool.tool.idx()))),
        ("idle_hot_s", number(tool.idle.map(Seconds::get))),
        ("idle_hot_max_s", number(tool.idle_max.map(Seconds::get))),
        ("dose_min", number(tool.dose_max.map(DoseMinutes::get))),
        ("ooze_mm3", number(tool.ooze.map(CubicMm::get).filter(|ooze| ooze.is_finite()))),
    ])
}

fn outcome_row(print: &PrintRow, outcome: &OutcomeRow) -> Row {
    row([
        ("printer", text(Some(&print.printer))),
        ("print", Cell::Whole(print.id)),
        ("started", time(Some(print.started))),
        ("at", time(Some(outcome.at))),
        ("tool", whole(outcome.tool.map(ToolNumber::idx))),
        ("mode", text(Some(outcome.mode.word()))),
        ("severity", outcome.severity.map_or(Cell::Nothing, |severity| Cell::Whole(severity.number()))),
        ("note", text(outcome.note.as_ref())),
        ("undone", time(outcome.undone)),
    ])
}

fn span_rows(reader: &Reader, printers: &[PrinterName], from: Option<Timestamp>, to: Option<Timestamp>) -> Vec<Row> {
    let spans = reader.spans(&SpanFilter { from, to, ..SpanFilter::default() }).unwrap();
    let spans = spans.into_iter().filter(|span| printers.contains(&span.printer));
    let told = spans.map(|span| {
        row([
            ("printer", text(Some(&span.printer))),
            ("print", span.print.map_or(Cell::Nothing, Cell::Whole)),
            ("tool", whole(Some(span.tool.idx()))),
            ("context", text(Some(span.context.word()))),
            ("began", time(Some(span.began))),
            ("ended", time(span.ended)),
            ("idle_s", number(span.idle.map(Seconds::get))),
            ("gap_s", number(span.gap.map(Seconds::get))),
            ("mean_c", number(span.mean.map(Celsius::get))),
            ("max_c", number(span.max.map(Celsius::get))),
            ("target_c", number(span.target.map(Celsius::get))),
            ("dose_min", number(span.dose.map(DoseMinutes::get))),
            ("ooze_mm3", number(span.ooze.map(CubicMm::get).filter(|ooze| ooze.is_finite()))),
        ])
    });
    told.collect()
}

fn sample_rows(reader: &Reader, printers: &[PrinterName], from: Option<Timestamp>, to: Option<Timestamp>) -> Vec<Row> {
    let known = reader.printers().unwrap().into_iter().filter(|row| printers.contains(&row.name));
    let n_tools = known.map(|row| row.n_tools).max().unwrap();
    let mut rows = Vec::new();
    for printer in printers {
        for reading in reader.readings(printer, from, to).unwrap().map(Result::unwrap) {
            let fraction = reading.job.fraction_millionths.map(|millionths| f64::from(millionths) / 1e6);
            let mut told = row([
                ("printer", text(Some(printer))),
                ("at", time(Some(reading.at))),
                ("after_gap", Cell::Truth(reading.after_gap)),
                ("job_state", text(Some(reading.job.state.word()))),
                ("job_name", text(reading.job.name.as_ref())),
                ("job_fraction", number(fraction)),
                ("job_byte", whole(reading.job.byte.map(|byte| usize::try_from(byte).unwrap()))),
                ("active_tool", whole(reading.active_tool)),
            ]);
            for tool in 0..n_tools {
                let heater = reading.tools.get(tool);
                told.extend(heater_cells(&format!("t{tool}"), heater));
                let fan = number(heater.and_then(|heater| heater.fan_thousandths).map(|n| f64::from(n) / 1e3));
                told.insert(format!("t{tool}_fan"), fan);
            }
            told.extend(heater_cells("bed", reading.bed.as_ref()));
            rows.push(told);
        }
    }
    rows
}

fn summary_rows(
    reader: &Reader,
    step: Step,
    printers: &[PrinterName],
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Vec<Row> {
    let known = reader.printers().unwrap().into_iter().filter(|row| printers.contains(&row.name));
    let n_tools = known.map(|row| row.n_tools).max().unwrap();
    let mut rows = Vec::new();
    for printer in printers {
        for summary in reader.summaries(printer, step, from, to).unwrap().map(Result::unwrap) {
            let n = usize::try_from(summary.n).unwrap();
            let mut told = row([
                ("printer", text(Some(printer))),
                ("began", time(Some(summary.began))),
                ("readings", whole(Some(n))),
            ]);
            for tool in 0..n_tools {
                told.extend(heat_cells(&format!("t{tool}"), summary.tools.get(tool).copied().flatten()));
            }
            told.extend(heat_cells("bed", summary.bed));
            rows.push(told);
        }
    }
    rows
}

fn heat_cells(name: &str, heat: Option<Heat>) -> Row {
    let celsius = |value: Option<CentiCelsius>| number(value.map(|value| value.celsius().get()));
    row([
        (&format!("{name}_min_c"), celsius(heat.map(|heat| heat.min))),
        (&format!("{name}_mean_c"), celsius(heat.map(|heat| heat.mean))),
        (&format!("{name}_max_c"), celsius(heat.map(|heat| heat.max))),
        (&format!("{name}_target_c"), celsius(heat.and_then(|heat| heat.target))),
    ])
}

fn heater_cells(name: &str, heater: Option<&Heater>) -> Row {
    let celsius = |value: Option<CentiCelsius>| number(value.map(|value| value.celsius().get()));
    row([
        (&format!("{name}_actual_c"), celsius(heater.and_then(|heater| heater.actual))),
        (&format!("{name}_target_c"), celsius(heater.and_then(|heater| heater.target))),
        (
            &format!("{name}_duty"),
            number(heater.and_then(|heater| heater.duty_thousandths).map(|n| f64::from(n) / 1e3)),
        ),
    ])
}
