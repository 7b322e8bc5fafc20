//! Tool-runs: one tool in one print that has ended, with what is known of it. In the order of the prints.

use super::outcomes::{happened, in_force};
use crate::entry::{JobFile, Mode, Part, PartEvent, PrinterName, Settings, ToolNumber};
use crate::store::{OutcomeRow, PrintFilter, PrintRow, PrintTool, Reader, SpanFilter, StoreError};
use dwell_analysis::polymer::{Material, Materials};
use dwell_analysis::risk::{Features, ToolRun};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use std::sync::Arc;

/// One tool in one print.
#[derive(Clone, Debug)]
pub struct Run {
    /// The print.
    pub print: i64,
    /// The printer.
    pub printer: PrinterName,
    /// When the print began.
    pub started: Timestamp,
    /// The tool.
    pub tool: ToolNumber,
    /// What the learner takes.
    pub run: ToolRun,
    /// Tools of the print.
    tools: Vec<ToolNumber>,
    /// Words on the print: those in force after each, oldest first.
    words: Arc<[Words]>,
}

/// The words on a print that were in force from an instant on.
#[derive(Debug)]
struct Words {
    from: Timestamp,
    held: Vec<OutcomeRow>,
}

impl Run {
    /// Whether a failure mode happened on it; `None` if nobody said.
    #[must_use]
    pub fn happened(&self, mode: Mode) -> Option<bool> {
        self.words.last().and_then(|words| happened(&words.held, mode, self.tool, &self.tools))
    }

    /// The same, as each word changed it, with the instant from which on it was known: never before the print's end.
    pub(super) fn tellings(&self, mode: Mode) -> impl Iterator<Item = (Timestamp, Option<bool>)> {
        self.words.iter().map(move |words| (words.from, happened(&words.held, mode, self.tool, &self.tools)))
    }
}

/// Every tool-run of the record, oldest print first.
///
/// # Errors
/// If the record can't be read.
pub fn runs(reader: &Reader, materials: &Materials) -> Result<Vec<Run>, StoreError> {
    let mut runs = Vec::new();
    let mut prints = reader.prints(&PrintFilter::default())?;
    prints.retain(|print| print.ended.is_some());
    prints.reverse();
    let mut histories = Vec::new();
    for row in reader.printers()? {
        histories.push(History::of(reader, &row.name)?);
    }
    for (idx, print) in prints.iter().enumerate() {
        let Some(history) = histories.iter_mut().find(|history| history.printer == print.printer) else { continue };
        history.advance(print.started);
        let tools: Vec<ToolNumber> = print.tools.iter().map(|tool| tool.tool).collect();
        let words: Arc<[Words]> = words(print).into();
        let file = job_file(reader, print)?;
        for tool in &print.tools {
            let settings = settings(history, file.as_ref(), tool.tool);
            let material = settings.facts(materials).kind;
            runs.push(Run {
                print: print.id,
                printer: print.printer.clone(),
                started: print.started,
                tool: tool.tool,
                run: ToolRun { print: idx, features: features(print, tool, &settings, material, history) },
                tools: tools.clone(),
                words: Arc::clone(&words),
            });
        }
    }
    Ok(runs)
}

/// What the record knows of a tool as it stands that no job file tells.
#[derive(Clone, Copy, Debug)]
pub(super) struct Standing {
    pub(super) liner_hours: Option<f64>,
    pub(super) dried: Option<bool>,
    pub(super) ooze_shield: Option<bool>,
}

/// Each of a printer's tools as it stands after everything recorded.
pub(super) fn standing(reader: &Reader, printer: &PrinterName) -> Result<impl Fn(ToolNumber) -> Standing, StoreError> {
    let mut history = History::of(reader, printer)?;
    history.advance(Timestamp::from_ms(i64::MAX));
    Ok(move |tool| {
        let Settings { dried, ooze_shield, .. } = history.settings(tool);
        Standing { liner_hours: history.liner_hours(tool), dried, ooze_shield }
    })
}

fn words(print: &PrintRow) -> Vec<Words> {
    let each = print.outcomes.iter().enumerate();
    let from = |at: Timestamp| print.ended.map_or(at, |ended| ended.max(at));
    each.map(|(idx, row)| Words { from: from(row.at), held: in_force(&print.outcomes[..=idx]) }).collect()
}

/// Most prints have none: these are not asked for it. One that turned out to be another print's says nothing.
fn job_file(reader: &Reader, print: &PrintRow) -> Result<Option<JobFile>, StoreError> {
    if print.job_file.is_none() {
        return Ok(None);
    }
    Ok(reader.job_file(print.id)?.filter(|row| row.dropped.is_none()).map(|row| row.file))
}

/// What a tool was set to: what its job file asks for counts over what was typed in.
fn settings(history: &History, file: Option<&JobFile>, tool: ToolNumber) -> Settings {
    let mut settings = history.settings(tool);
    if let Some(asked) = file.and_then(|file| file.settings(tool)) {
        settings.update(asked);
    }
    settings
}

fn features(
    print: &PrintRow,
    tool: &PrintTool,
    settings: &Settings,
    material: Material,
    history: &History,
) -> Features {
    Features {
        dose_max: tool.dose_max,
        dose_sum: tool.dose_sum,
        idle_hot: tool.idle,
        idle_mean: tool.mean_c.map(Celsius::new),
        idle_max: tool.max_c.map(Celsius::new),
        ooze: tool.ooze,
        standby: settings.standby,
        retract: settings.retract,
        retract_mm_s: settings.retract_mm_s,
        print_temperature: settings.print,
        prime: settings.prime,
        tool_changes: usize::try_from(print.tool_changes).ok(),
        print_length: print.ended.map(|ended| ended - print.started),
        liner_hours: history.liner_hours(tool.tool),
        dried: settings.dried,
        ooze_shield: settings.ooze_shield,
        ..Features::of(material)
    }
}

/// What had been set, fitted and heated on a printer up to an instant. Moves forwards only.
struct History {
    printer: PrinterName,
    /// What is still to come, in time order.
    ahead: std::vec::IntoIter<(Timestamp, ToolNumber, Event)>,
    next: Option<(Timestamp, ToolNumber, Event)>,
    tools: Vec<State>,
}

enum Event {
    Set(Box<Settings>),
    LinerFitted,
    Heated(Seconds),
}

#[derive(Clone, Default)]
struct State {
    settings: Settings,
    /// Hot time since the liner was fitted; `None` if its fitting was never recorded.
    liner: Option<Seconds>,
}

impl History {
    fn of(reader: &Reader, printer: &PrinterName) -> Result<Self, StoreError> {
        let mut events = Vec::new();
        for row in reader.settings_changes(printer)? {
            events.push((row.change.at, row.change.tool, Event::Set(Box::new(row.change.settings))));
        }
        for row in reader.parts(Some(printer))? {
            let is_liner = matches!(row.change.part, Part::Liner | Part::HotEnd);
            if is_liner && row.change.event == PartEvent::Fitted {
                events.push((row.change.at, row.change.tool, Event::LinerFitted));
            }
        }
        let spans = SpanFilter { printer: Some(printer.clone()), ..SpanFilter::default() };
        for span in reader.spans(&spans)? {
            if let Some((ended, idle)) = span.ended.zip(span.idle) {
                events.push((ended, span.tool, Event::Heated(idle)));
            }
        }
        let (from, to) = (Timestamp::from_ms(i64::MIN), Timestamp::from_ms(i64::MAX));
        for visit in reader.visits_between(printer, from, to)? {
            if let Some(ended) = visit.ended {
                events.push((ended, visit.tool, Event::Heated(ended - visit.began - visit.gap)));
            }
        }
        events.sort_by_key(|(at, _, _)| *at);
        let mut ahead = events.into_iter();
        let next = ahead.next();
        Ok(Self { printer: printer.clone(), ahead, next, tools: vec![State::default(); ToolNumber::COUNT_MAX] })
    }

    fn advance(&mut self, to: Timestamp) {
        while let Some((_, tool, event)) = self.next.take_if(|(at, _, _)| *at <= to) {
            self.next = self.ahead.next();
            let Some(state) = self.tools.get_mut(tool.idx()) else { continue };
            match event {
                Event::Set(settings) => state.settings.update(&settings),
                Event::LinerFitted => state.liner = Some(Seconds::ZERO),
                Event::Heated(lasted) => state.liner = state.liner.map(|hot| hot + lasted),
            }
        }
    }

    fn settings(&self, tool: ToolNumber) -> Settings {
        self.tools.get(tool.idx()).map(|state| state.settings.clone()).unwrap_or_default()
    }

    fn liner_hours(&self, tool: ToolNumber) -> Option<f64> {
        self.tools.get(tool.idx())?.liner.map(|hot| hot.as_minutes() / 60.0)
    }
}
