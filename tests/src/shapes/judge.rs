//! Whether a proposed configuration understands a shape: each of its documents understood by the program itself, and
//! compared with the reading that the shape was made from. Must not: see how the proposal came about.

use super::{BASE, HeaterTold, HostShape, Moment, Progress, Window};
use dwellwatch::config::Config;
use dwellwatch::entry::{Heater, HotEnd, JobState, Reading};
use dwellwatch::host::understand;
use std::fmt;
use std::path::Path;

/// A field of the reading that a host may tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Field {
    /// The job's state.
    State,
    /// The job's name.
    Name,
    /// Progress.
    Fraction,
    /// Bytes read.
    Byte,
    /// The tool at work.
    ActiveTool,
    /// A tool's measured temperature.
    Actual(usize),
    /// A tool's set point.
    Target(usize),
    /// A tool's duty.
    Duty(usize),
    /// The bed's measured temperature.
    BedActual,
    /// The bed's set point.
    BedTarget,
}

/// How a proposal did in one window.
#[derive(Clone, Debug, Default)]
pub struct Judgement {
    /// Told by the shape, and understood at every moment.
    pub right: Vec<Field>,
    /// Told by the shape, and at some moment not understood.
    pub missing: Vec<Field>,
    /// Understood as something that is not so, or made up.
    pub wrong: Vec<Field>,
    /// Those of `wrong` that the proposal calls sure.
    pub wrong_and_sure: Vec<Field>,
    /// Why the configuration is none, or a word about the first wrong or missing value.
    pub remarks: Vec<String>,
}

/// What there is to understand of a field at a moment.
#[derive(Clone, Debug)]
enum Told {
    /// The shape does not tell it: anything is made up.
    Never,
    /// The host knows none now: nothing is to be read, or what means the same.
    None,
    /// Nothing, or this much.
    Perhaps(Seen),
    /// This, and to so much.
    Value(Seen, f64),
}

impl Told {
    /// Where the shape's host knows no job, it may still tell of the last one, or not.
    fn softened(self, shape: &HostShape, moment: &Moment, field: Field) -> Self {
        let is_of_job = matches!(field, Field::Name | Field::Fraction | Field::Byte | Field::ActiveTool);
        let no_job = (shape.truth.state)(moment.reading.job.state) == JobState::None;
        match self {
            Self::Value(seen, _) if is_of_job && no_job => Self::Perhaps(seen),
            told => told,
        }
    }
}

/// A value, understood.
#[derive(Clone, Debug, PartialEq)]
enum Seen {
    State(JobState),
    Text(String),
    Number(f64),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Verdict {
    Untold,
    Right,
    Missing,
    Wrong,
}

impl Judgement {
    /// How many fields the shape tells.
    #[must_use]
    pub fn n_told(&self) -> usize {
        let told_wrong = self.wrong.len();
        self.right.len() + self.missing.len() + told_wrong
    }

    /// Whether every told field is right and none is made up.
    #[must_use]
    pub fn is_right(&self) -> bool {
        self.missing.is_empty() && self.wrong.is_empty()
    }
}

/// Judges the printer's section `toml` on every moment of the window.
#[must_use]
pub fn judge(shape: &HostShape, window: &Window, toml: &str, sure: &dyn Fn(Field) -> bool) -> Judgement {
    let mut judgement = Judgement::default();
    let read = readings(shape, window, toml).unwrap_or_else(|why| {
        judgement.remarks.push(why);
        window.moments.iter().map(|_| Err("no configuration".to_owned())).collect()
    });
    if let Some(Err(why)) = read.iter().find(|reading| reading.is_err()) {
        judgement.remarks.push(why.clone());
    }
    for field in Field::all() {
        let ways: &[Progress] = if field == Field::Fraction { shape.truth.progress } else { &[] };
        let (verdict, why) = if ways.is_empty() {
            verdict(shape, window, &read, field, None)
        } else {
            let each = ways.iter().map(|way| verdict(shape, window, &read, field, Some(*way)));
            each.min_by_key(|(verdict, _)| *verdict).unwrap()
        };
        match verdict {
            Verdict::Untold => continue,
            Verdict::Right => judgement.right.push(field),
            Verdict::Missing => judgement.missing.push(field),
            Verdict::Wrong => judgement.wrong.push(field),
        }
        if verdict == Verdict::Wrong && sure(field) {
            judgement.wrong_and_sure.push(field);
        }
        judgement.remarks.extend(why.filter(|_| verdict > Verdict::Right));
    }
    judgement
}

/// Each moment as the proposed configuration understands it.
fn readings(shape: &HostShape, window: &Window, toml: &str) -> Result<Vec<Result<Reading, String>>, String> {
    let config = Config::parse(toml, Path::new("/nowhere/dwellwatch.toml")).map_err(|error| error.to_string())?;
    let [printer] = config.printers() else { return Err("not exactly one printer".to_owned()) };
    let understood = |moment: &Moment| {
        let told = (shape.documents)(moment);
        // By address: the proposal names, orders and leaves out documents as it likes.
        let body = |address: &str| told.iter().find(|(path, _)| address == format!("{BASE}{path}"));
        let wanted = printer.source.documents.iter();
        let bodies: Vec<_> =
            wanted.map(|document| body(document.address.as_str()).map(|(_, body)| body.clone())).collect();
        understand(&printer.map, &bodies, moment.reading.at, false).map_err(|error| error.to_string())
    };
    Ok(window.moments.iter().map(understood).collect())
}

/// The worst that a field comes to, and the first reason.
fn verdict(
    shape: &HostShape,
    window: &Window,
    read: &[Result<Reading, String>],
    field: Field,
    way: Option<Progress>,
) -> (Verdict, Option<String>) {
    let mut worst = (Verdict::Untold, None);
    for (moment, reading) in window.moments.iter().zip(read) {
        let told = told(shape, moment, field, way).softened(shape, moment, field);
        let seen = reading.as_ref().ok().and_then(|reading| seen(reading, field));
        let verdict = match (&told, &seen) {
            (Told::Never | Told::None | Told::Perhaps(_), None) => Verdict::Untold,
            (Told::Value(..), None) => Verdict::Missing,
            (Told::Never | Told::None, Some(_)) => Verdict::Wrong,
            (Told::Perhaps(right), Some(seen)) => close(right, seen, 0.01),
            (Told::Value(right, within), Some(seen)) => close(right, seen, *within),
        };
        if verdict > worst.0 {
            worst = (verdict, Some(format!("{field}: told {told:?}, understood {seen:?}")));
        }
    }
    worst
}

fn close(right: &Seen, seen: &Seen, within: f64) -> Verdict {
    let is_right = match (right, seen) {
        (Seen::Number(right), Seen::Number(seen)) => (right - seen).abs() <= within,
        (right, seen) => right == seen,
    };
    if is_right { Verdict::Right } else { Verdict::Wrong }
}

/// A number that is told to a step is true to half of it; a reading is cut to hundredths, and a share to millionths.
fn within(step: f64) -> f64 {
    step * 0.5 + if step >= 0.01 { 0.006 } else { 0.000_002 }
}

fn told(shape: &HostShape, moment: &Moment, field: Field, way: Option<Progress>) -> Told {
    let truth = &shape.truth;
    let reading = &moment.reading;
    let value = |seen: Option<Seen>, within: f64| seen.map_or(Told::None, |seen| Told::Value(seen, within));
    match field {
        Field::State => Told::Value(Seen::State((truth.state)(reading.job.state)), 0.0),
        Field::Name if truth.name => value(moment.name().map(|name| Seen::Text(name.to_owned())), 0.0),
        Field::Fraction => way.map_or(Told::Never, |way| progress(moment, way)),
        Field::Byte if truth.byte => value(number(reading.job.byte), 0.0),
        Field::ActiveTool if truth.active_tool => value(number(reading.active_tool), 0.0),
        Field::Actual(tool) | Field::Target(tool) | Field::Duty(tool) => tool_told(shape, moment, field, tool),
        Field::BedActual | Field::BedTarget => heater_told(truth.bed, moment.bed(), field),
        Field::Name | Field::Byte | Field::ActiveTool => Told::Never,
    }
}

/// A second tool at a shared hot end need not be there; if it is, it has the one heater's values.
fn tool_told(shape: &HostShape, moment: &Moment, field: Field, tool: usize) -> Told {
    if tool < shape.truth.n_tools {
        return heater_told(shape.truth.tool, moment.tool(tool), field);
    }
    if shape.hot_end == HotEnd::Separate || tool > 1 {
        return Told::Never;
    }
    match heater_told(shape.truth.tool, moment.tool(0), field) {
        Told::Value(seen, _) => Told::Perhaps(seen),
        other => other,
    }
}

fn heater_told(told: HeaterTold, heater: Heater, field: Field) -> Told {
    let of = |step: Option<f64>, value: Option<f64>| match (step, value) {
        (None, _) => Told::Never,
        (Some(_), None) => Told::None,
        (Some(step), Some(value)) => Told::Value(Seen::Number(value), within(step)),
    };
    match field {
        Field::Actual(_) | Field::BedActual => of(told.actual, heater.actual.map(|temp| temp.celsius().get())),
        Field::Target(_) | Field::BedTarget => {
            let target = heater.target.map(|temp| temp.celsius().get());
            match target {
                Some(degrees) if told.off_is_null && degrees <= 0.0 => Told::Perhaps(Seen::Number(0.0)),
                target => of(told.target, target),
            }
        }
        Field::Duty(_) => {
            let duty = heater.duty_thousandths.map(|thousandths| f64::from(thousandths) / 1000.0);
            of(told.duty, duty)
        }
        Field::State | Field::Name | Field::Fraction | Field::Byte | Field::ActiveTool => Told::Never,
    }
}

fn progress(moment: &Moment, way: Progress) -> Told {
    let (share, step) = match way {
        Progress::Share(step) => (moment.fraction(), step),
        Progress::Layers => (Some(f64::from(moment.layer) / f64::from(moment.layers)), 0.0),
        Progress::Time => (Some(f64::from(moment.elapsed_s) / f64::from(moment.expected_s)), 0.0),
    };
    let share = share.filter(|_| moment.reading.job.name.is_some());
    share.map_or(Told::None, |share| Told::Value(Seen::Number(share), step * 0.5 + 0.000_002))
}

fn seen(reading: &Reading, field: Field) -> Option<Seen> {
    let tool = |number: usize| reading.tools.get(number).copied().unwrap_or_default();
    let bed = reading.bed.unwrap_or_default();
    let degrees = |temp: Option<dwellwatch::entry::CentiCelsius>| temp.map(|temp| Seen::Number(temp.celsius().get()));
    match field {
        Field::State => Some(Seen::State(reading.job.state)),
        Field::Name => reading.job.name.as_deref().map(|name| Seen::Text(name.to_owned())),
        Field::Fraction => reading.job.fraction_millionths.map(|millionths| Seen::Number(f64::from(millionths) / 1e6)),
        Field::Byte => number(reading.job.byte),
        Field::ActiveTool => number(reading.active_tool),
        Field::Actual(number) => degrees(tool(number).actual),
        Field::Target(number) => degrees(tool(number).target),
        Field::Duty(number) => {
            let duty = tool(number).duty_thousandths;
            duty.map(|thousandths| Seen::Number(f64::from(thousandths) / 1000.0))
        }
        Field::BedActual => degrees(bed.actual),
        Field::BedTarget => degrees(bed.target),
    }
}

fn number<N: TryInto<u32>>(number: Option<N>) -> Option<Seen> {
    number.and_then(|number| number.try_into().ok()).map(|number: u32| Seen::Number(f64::from(number)))
}

impl Field {
    /// Every field, for as many tools as a proposal may come to name.
    fn all() -> impl Iterator<Item = Self> {
        let tool = |number| [Self::Actual(number), Self::Target(number), Self::Duty(number)];
        [Self::State, Self::Name, Self::Fraction, Self::Byte, Self::ActiveTool]
            .into_iter()
            .chain((0..4).flat_map(tool))
            .chain([Self::BedActual, Self::BedTarget])
    }
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::State => f.write_str("state"),
            Self::Name => f.write_str("name"),
            Self::Fraction => f.write_str("fraction"),
            Self::Byte => f.write_str("byte"),
            Self::ActiveTool => f.write_str("active tool"),
            Self::Actual(tool) => write!(f, "T{tool} actual"),
            Self::Target(tool) => write!(f, "T{tool} target"),
            Self::Duty(tool) => write!(f, "T{tool} duty"),
            Self::BedActual => f.write_str("bed actual"),
            Self::BedTarget => f.write_str("bed target"),
        }
    }
}
