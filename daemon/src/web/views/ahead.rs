//! What is expected of a printer's tools next: by the job file where one was read, placed by where the host is in it;
//! else what waits goes on waiting, as far as its limit. Owns that nothing else is expected, and says why.

use super::ViewError;
use crate::entry::{FileTool, JobFile, JobState, PrinterName, Settings, ToolNumber};
use crate::store::{JobFileRow, Latest, Reader};
use crate::study;
use crate::tracker::{Doing, ToolNow};
use crate::web::Site;
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::{Ahead, LaneKind, LanePiece, PacedEnd, Setting};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

/// How far the lanes look ahead at most.
const LOOK_AHEAD: Seconds = Seconds::minutes(75.0);

/// Each printer's pace as of the print that is on: it moves only when prints end.
#[derive(Debug, Default)]
pub(in crate::web) struct Paces {
    held: Mutex<HashMap<PrinterName, (i64, Option<Estimate>)>>,
}

impl Paces {
    fn of(&self, reader: &Reader, printer: &PrinterName, print: i64) -> Result<Option<Estimate>, ViewError> {
        let held = |paces: &HashMap<PrinterName, (i64, Option<Estimate>)>| paces.get(printer).copied();
        let known = held(&self.held.lock().unwrap_or_else(PoisonError::into_inner));
        if let Some((_, pace)) = known.filter(|(of, _)| *of == print) {
            return Ok(pace);
        }
        let pace = study::pace(reader, printer, |print| print.expected)?.ok();
        self.held.lock().unwrap_or_else(PoisonError::into_inner).insert(printer.clone(), (print, pace));
        Ok(pace)
    }
}

/// What is known of a printer's time to come.
pub(super) struct Expected {
    pub(super) ahead: Ahead,
    newest: Timestamp,
    plan: Option<Plan>,
}

/// A job file from where the host is in it.
struct Plan {
    ends: Timestamp,
    /// Turns to come, in order, and the tool at work now first.
    turns: Vec<(ToolNumber, Timestamp)>,
    tools: Vec<FileTool>,
}

/// What is expected of one tool.
#[derive(Default)]
pub(super) struct NextOf {
    pub(super) pieces: Vec<LanePiece>,
    /// Its next turn.
    pub(super) works: Option<Timestamp>,
}

/// What is expected of a printer that has just told `latest`.
pub(super) fn expected(
    site: &Site,
    reader: &Reader,
    printer: &PrinterName,
    latest: &Latest,
    is_silent: bool,
) -> Result<Expected, ViewError> {
    let newest = latest.reading.at;
    let why = |ahead| Ok(Expected { ahead, newest, plan: None });
    let Some((print, _)) = reader.running_print(printer)?.filter(|_| !is_silent) else {
        return why(if is_silent { Ahead::Silent } else { Ahead::NoPrint });
    };
    let job = &latest.reading.job;
    if job.state == JobState::Paused {
        return why(Ahead::Paused);
    }
    let file = match reader.job_file(print)? {
        None => return why(Ahead::NoFile),
        Some(JobFileRow { dropped: Some(_), .. }) => return why(Ahead::ForeignFile),
        Some(JobFileRow { file, .. }) => file,
    };
    let Some(place) = file.place(job.byte, job.fraction_millionths) else { return why(Ahead::NoPlace) };
    let speed = site.paces.of(reader, printer, print)?;
    let here = file.expected_at(place);
    let at = |time: Seconds, pace: f64| newest + Seconds::new((time - here).get().max(0.0) * pace);
    let scale = speed.map_or(1.0, |speed| speed.value);
    let ends = at(file.expected, scale);
    let paced = speed.map(|pace| PacedEnd {
        early: at(file.expected, pace.low),
        late: at(file.expected, pace.high),
        n: pace.n,
    });
    let turns = turns(&file, place, |time| at(time, scale));
    let plan = Plan { ends, turns, tools: file.tools };
    Ok(Expected { ahead: Ahead::JobFile { ends, pace: paced }, newest, plan: Some(plan) })
}

/// The turn that is on and those to come, as far as a lane shows and one further of each tool.
fn turns(file: &JobFile, place: u64, at: impl Fn(Seconds) -> Timestamp) -> Vec<(ToolNumber, Timestamp)> {
    let next = file.turns.partition_point(|turn| turn.byte < place);
    let on = next.checked_sub(1).and_then(|on| file.turns.get(on));
    let to_come = file.turns.get(next..).unwrap_or_default();
    on.into_iter().chain(to_come).map(|turn| (turn.tool, at(turn.at))).collect()
}

impl Expected {
    /// What is expected of a tool that is as `now` says. `typed` are its settings as typed in.
    pub(super) fn of(&self, idx: usize, now: &ToolNow, typed: &Settings, left: Option<Seconds>) -> NextOf {
        let Some(number) = ToolNumber::new(idx) else { return NextOf::default() };
        if self.ahead == Ahead::Silent {
            return NextOf::default();
        }
        let holds = holds(now, left, self.newest);
        match &self.plan {
            Some(plan) => plan.of(number, now, typed, holds, self.newest),
            None => NextOf { pieces: holds.into_iter().collect(), works: None },
        }
    }

    /// What the job file asks of a tool.
    pub(super) fn asked(&self, idx: usize) -> Option<&Settings> {
        let tools = &self.plan.as_ref()?.tools;
        tools.iter().find(|asked| asked.tool.idx() == idx).map(|asked| &asked.settings)
    }
}

/// Who waits goes on waiting until its limit. Over it nothing is as it should go on, and without a temperature the limit
/// is not known.
fn holds(now: &ToolNow, left: Option<Seconds>, newest: Timestamp) -> Option<LanePiece> {
    let Doing::Waiting { .. } = now.doing else { return None };
    let mean = now.actual.filter(|_| now.dose < now.limit)?;
    let to = left.map_or(newest + LOOK_AHEAD, |left| (newest + left).min(newest + LOOK_AHEAD));
    Some(LanePiece { from: newest, to, kind: LaneKind::Waiting, mean: Some(mean) })
}

impl Plan {
    fn of(
        &self,
        number: ToolNumber,
        now: &ToolNow,
        typed: &Settings,
        holds: Option<LanePiece>,
        newest: Timestamp,
    ) -> NextOf {
        let until = newest + LOOK_AHEAD;
        let heat = self.heat(number, now, typed);
        let (mut pieces, mut works, mut reached) = (Vec::new(), None, newest);
        for (nth, (_, begins)) in self.turns.iter().enumerate().filter(|(_, (tool, _))| *tool == number) {
            let ends = self.turns.get(nth + 1).map_or(self.ends, |(_, next)| *next);
            let begins = if nth == 0 { newest } else { *begins };
            if nth > 0 {
                works = works.or(Some(begins));
            }
            // Before its first turn a tool that is cold may still be for long: when it is heated is not told.
            let waits = nth > 0 && begins > reached && (reached > newest || !matches!(now.doing, Doing::Cold));
            if waits {
                let mean = if reached > newest { heat.waiting } else { heat.now.or(heat.waiting) };
                pieces.push(LanePiece { from: reached, to: begins, kind: LaneKind::Waiting, mean });
            }
            if begins < ends {
                pieces.push(LanePiece { from: begins, to: ends, kind: LaneKind::Working, mean: heat.working });
            }
            reached = ends.max(reached);
            if reached > until && works.is_some() {
                break;
            }
        }
        if pieces.is_empty() {
            // The file has no turn of it any more, so what holds goes on.
            pieces.extend(holds);
        }
        NextOf { pieces: pieces.into_iter().filter(|piece| piece.from < until).map(in_minutes).collect(), works }
    }

    fn heat(&self, number: ToolNumber, now: &ToolNow, typed: &Settings) -> Heat {
        let asked = self.tools.iter().find(|asked| asked.tool == number);
        let set = now.target.filter(|target| target.get() > 0.0);
        let settings = study::settings_view(typed, asked.map(|asked| &asked.settings));
        let working = settings.print.map(value).or(set.filter(|_| matches!(now.doing, Doing::Working { .. })));
        // Left for another tool without a lower set point more often than with one.
        let is_left_hot = asked.is_some_and(|asked| asked.left_hot * 2 > asked.left);
        let waiting = if is_left_hot { working } else { settings.standby.map(value) };
        Heat { working, waiting, now: now.actual.filter(|_| matches!(now.doing, Doing::Waiting { .. })) }
    }
}

/// Temperatures of a tool to come; `None` is not told.
struct Heat {
    working: Option<Celsius>,
    waiting: Option<Celsius>,
    /// What it waits at now.
    now: Option<Celsius>,
}

/// What counts of a setting.
pub(super) const fn value(setting: Setting<Celsius>) -> Celsius {
    match setting {
        Setting::Typed(value) | Setting::JobFile { value, .. } => value,
    }
}

/// A forecast is good to the minute at best; the newest reading's instant stays.
fn in_minutes(piece: LanePiece) -> LanePiece {
    LanePiece {
        to: Timestamp::from_ms((piece.to.as_ms() + 30_000).div_euclid(60_000) * 60_000).max(piece.from),
        ..piece
    }
}
