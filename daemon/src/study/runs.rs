//! Tool-runs: one tool in one print that has ended, with what is known of it. In the order of the prints.

pub(super) mod age;
pub(super) mod course;
mod melt;
mod waits;

use super::Learning;
use super::kept::SILENT_AFTER;
use super::outcomes::{happened, is_unplaced};
use crate::entry::{Mode, PrintEnd, PrinterName, Settings, Severity, ToolNumber};
use crate::store::{EndedPrint, OutcomeRow, PrinterRow, Reader, StoreError, in_force_at};
use age::Age;
use course::{InPrint, Stand, follow};
use dwell_analysis::advice::Course;
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{Features, ToolRun};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::DoseMinutes;
use std::collections::HashMap;
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
    /// When it ended.
    ended: Timestamp,
    /// The tool.
    pub tool: ToolNumber,
    /// What the learner takes.
    pub run: ToolRun,
    /// Tools of the print.
    tools: Arc<[ToolNumber]>,
    /// Whether a person's word on the print stands.
    pub(super) is_reported: bool,
    /// Words on the print: those that stood after each, and after each that was taken back, oldest first.
    words: Arc<[Words]>,
}

/// The words on a print that were in force from an instant on.
#[derive(Clone, Debug)]
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

    /// How bad a failure mode was on it, if that was told.
    pub(super) fn severity(&self, mode: Mode) -> Option<Severity> {
        let held = self.words.last().map_or(&[][..], |words| &words.held);
        let of = |tool: Option<ToolNumber>| held.iter().find(|row| row.mode == mode && row.tool == tool);
        of(Some(self.tool)).or_else(|| of(None))?.severity
    }

    /// Whether a failure mode was told of its print without a tool that took part, so that nobody knows whose it was.
    pub(super) fn is_unplaced(&self, mode: Mode) -> bool {
        let held = self.words.last().map_or(&[][..], |words| &words.held);
        self.happened(mode).is_none() && is_unplaced(held, mode, &self.tools)
    }

    /// The same with the words alone that had been said by an instant.
    pub(super) fn known_by(&self, at: Timestamp) -> Self {
        let words = self.words.iter().filter(|words| words.from <= at).cloned().collect();
        Self { words, ..self.clone() }
    }

    /// Takes it as clean from a day after its print's end on, for as long as no word stands, if that day had passed `as_of`.
    fn take_silence_as_clean(&mut self, as_of: Timestamp) {
        let from = self.ended + SILENT_AFTER;
        let next = |idx: usize| self.words.get(idx).map(|words| words.from);
        let silent = |from: Timestamp| {
            let (tool, severity, note, undone) = (None, None, None, None);
            Words { from, held: vec![OutcomeRow { at: from, tool, mode: Mode::Clean, severity, note, undone }] }
        };
        let mut told = Vec::with_capacity(self.words.len() + 1);
        if from <= as_of && next(0).is_none_or(|first| first > from) {
            told.push(silent(from));
        }
        for (idx, words) in self.words.iter().enumerate() {
            let again = words.from.max(from);
            told.push(words.clone());
            // All of it was taken back.
            if words.held.is_empty() && again <= as_of && next(idx + 1).is_none_or(|next| next > again) {
                told.push(silent(again));
            }
        }
        self.words = told.into();
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
    for printer in reader.printers()? {
        runs.extend(runs_of(reader, &printer, materials)?);
    }
    runs.sort_by_key(|run: &Run| (run.started, run.print, run.tool));
    let prints = runs.chunk_by_mut(|a, b| a.print == b.print);
    prints.enumerate().for_each(|(idx, print)| print.iter_mut().for_each(|run| run.run.print = idx));
    Ok(runs)
}

/// The same, where silence is a word if the settings say so.
pub(super) fn runs_as(reader: &Reader, materials: &Materials, learning: Learning) -> Result<Vec<Run>, StoreError> {
    let mut runs = runs(reader, materials)?;
    if let Some(as_of) = reader.newest()?.filter(|_| learning.silence_means_clean) {
        for run in &mut runs {
            run.take_silence_as_clean(as_of);
        }
    }
    Ok(runs)
}

/// A printer's tool-runs, in no order.
fn runs_of(reader: &Reader, printer: &PrinterRow, materials: &Materials) -> Result<Vec<Run>, StoreError> {
    let prints = reader.ended_prints(&printer.name)?;
    let mut found: Vec<Vec<(ToolNumber, Features)>> = vec![Vec::new(); prints.len()];
    for tool in (0..printer.n_tools).filter_map(ToolNumber::new) {
        for within in follow(reader, printer, tool, &prints, materials, false)?.0 {
            let (Some(print), Some(found)) = (prints.get(within.print), found.get_mut(within.print)) else { continue };
            found.push((tool, features(print, tool, &within, materials)));
        }
    }
    let mut runs = Vec::new();
    for (print, found) in prints.iter().zip(found) {
        let tools: Arc<[ToolNumber]> = found.iter().map(|(tool, _)| *tool).collect();
        let words: Arc<[Words]> = words(print).into();
        runs.extend(found.into_iter().map(|(tool, features)| Run {
            print: print.id,
            printer: printer.name.clone(),
            started: print.started,
            ended: print.ended,
            tool,
            // Its number among all prints comes when they are all there.
            run: ToolRun { print: 0, features },
            tools: Arc::clone(&tools),
            is_reported: words.last().is_some_and(|words| !words.held.is_empty()),
            words: Arc::clone(&words),
        }));
    }
    Ok(runs)
}

/// What the record knows of a tool as it stands that no job file tells.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Standing {
    pub(super) liner_hours: Option<f64>,
    pub(super) liner_wear: Option<f64>,
    pub(super) liner_cycles: Option<f64>,
    pub(super) nozzle_hours: Option<f64>,
    pub(super) stagnant: Option<DoseMinutes>,
    pub(super) dried: Option<bool>,
    pub(super) ooze_shield: Option<bool>,
}

impl Standing {
    fn of(stand: &Stand) -> Self {
        Self {
            liner_hours: stand.liner.map(|liner| liner.hours()),
            liner_wear: stand.liner.and_then(|liner| liner.wear),
            liner_cycles: stand.liner.map(|liner| liner.cycles),
            nozzle_hours: stand.nozzle.map(|nozzle: Age| nozzle.hours()),
            stagnant: stand.melt.stagnant(),
            dried: stand.settings.dried,
            ooze_shield: stand.settings.ooze_shield,
        }
    }
}

/// Each of a printer's tools as it stands after everything recorded.
pub(super) fn standing(
    reader: &Reader,
    materials: &Materials,
    printer: &PrinterName,
) -> Result<impl Fn(ToolNumber) -> Standing + use<>, StoreError> {
    let mut tools = HashMap::new();
    if let Some(known) = reader.printers()?.into_iter().find(|row| row.name == *printer) {
        for tool in (0..known.n_tools).filter_map(ToolNumber::new) {
            tools.insert(tool, Standing::of(&follow(reader, &known, tool, &[], materials, false)?.1));
        }
    }
    Ok(move |tool| tools.get(&tool).copied().unwrap_or_default())
}

/// A tool's runs in these prints of its printer, each with its single waits, oldest first, and the tool as it stands
/// after everything recorded.
pub(super) fn courses(
    reader: &Reader,
    printer: &PrinterRow,
    tool: ToolNumber,
    prints: &[EndedPrint],
    materials: &Materials,
) -> Result<(Vec<Course>, Standing), StoreError> {
    let (found, stand) = follow(reader, printer, tool, prints, materials, true)?;
    let course = |within: &InPrint| {
        let features = features(prints.get(within.print)?, tool, within, materials);
        Some(Course { features, waits: within.waits.each() })
    };
    Ok((found.iter().filter_map(course).collect(), Standing::of(&stand)))
}

fn words(print: &EndedPrint) -> Vec<Words> {
    let mut moments: Vec<Timestamp> =
        print.outcomes.iter().flat_map(|row| [Some(row.at), row.undone]).flatten().collect();
    moments.sort_unstable();
    moments.dedup();
    let stood = |at: Timestamp| Words { from: print.ended.max(at), held: in_force_at(&print.outcomes, at) };
    moments.into_iter().map(stood).collect()
}

fn features(print: &EndedPrint, tool: ToolNumber, within: &InPrint, materials: &Materials) -> Features {
    let InPrint { stand, waits, stagnant, .. } = within;
    // What its job file asks for counts over what was typed in.
    let mut settings: Settings = stand.settings.clone();
    if let Some((_, asked)) = print.asked.iter().find(|(of, _)| *of == tool) {
        settings.update(asked);
    }
    let parts = Standing::of(stand);
    let material = settings.facts(materials).kind;
    Features {
        dose_max: waits.dose_max,
        dose_sum: waits.dose_sum,
        idle_hot: waits.idle(),
        idle_mean: waits.mean(),
        idle_max: waits.max,
        restarts: waits.restarts(),
        wait_longest: waits.longest(),
        stagnant: *stagnant,
        restart_deficit: waits.restart_deficit(settings.print),
        ooze: waits.ooze,
        standby: settings.standby,
        retract: settings.retract,
        retract_mm_s: settings.retract_mm_s,
        print_temperature: settings.print,
        prime: settings.prime,
        tool_changes: Some(print.tool_changes),
        print_length: Some((print.ended - print.started) - waits.paused),
        liner_hours: parts.liner_hours,
        liner_wear: parts.liner_wear,
        liner_cycles: parts.liner_cycles,
        nozzle_hours: parts.nozzle_hours,
        dried: settings.dried,
        ooze_shield: settings.ooze_shield,
        done: match print.end {
            PrintEnd::Completed => Some(1.0),
            PrintEnd::Cancelled | PrintEnd::Failed | PrintEnd::Unknown => print.fraction,
        },
        ..Features::of(material)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
