//! The tracker itself: one reading after the other, for one printer. What a job file adds is `planned`'s.

mod planned;

use super::effect::{Context, Effect, RefusalReason};
use super::job::{self, Print};
use super::plan::{Plan, Stretch};
use super::tool::{Interval, Tool, Turn};
use super::{SILENCE_MAX, work};
use crate::entry::{Heater, HotEnd, JobState, PrintEnd, Reading, Settings, SettingsChange, ToolNumber};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::sync::Arc;

/// Follows one printer. Feed it every reading in order, and tell it of silence.
#[derive(Clone, Debug)]
pub struct Tracker {
    hot_end: HotEnd,
    materials: Arc<Materials>,
    settings: Vec<Settings>,
    tools: Vec<Tool>,
    print: Option<Print>,
    last: Option<Last>,
}

#[derive(Clone, Copy, Debug)]
struct Last {
    at: Timestamp,
    /// The newest reading that told which tool was at work.
    told_tool_at: Timestamp,
    /// It did not tell, and the tool before is taken to be still at work.
    is_vague: bool,
    state: JobState,
    byte: Option<u64>,
    fraction_millionths: Option<u32>,
    lost: bool,
}

impl Tracker {
    /// A tracker that has seen nothing, with the settings in force, T0 first, and the built-in materials.
    #[must_use]
    pub fn new(hot_end: HotEnd, settings: Vec<Settings>) -> Self {
        Self::knowing(Arc::default(), hot_end, settings)
    }

    /// The same with the materials that are in force.
    #[must_use]
    pub fn knowing(materials: Arc<Materials>, hot_end: HotEnd, settings: Vec<Settings>) -> Self {
        let mut tracker = Self { hot_end, materials, settings: Vec::new(), tools: Vec::new(), print: None, last: None };
        for (idx, settings) in settings.into_iter().enumerate() {
            tracker.add_tool(idx, settings);
        }
        tracker
    }

    /// When the silence becomes a gap if nothing is heard; `None` before the first reading and in a gap.
    #[must_use]
    pub fn gap_at(&self) -> Option<Timestamp> {
        self.last.filter(|last| !last.lost).map(|last| last.at + SILENCE_MAX)
    }

    /// Takes over changed settings.
    pub fn set(&mut self, change: &SettingsChange) {
        let idx = change.tool.idx();
        self.make_room(idx + 1);
        self.settings[idx].update(&change.settings);
        let of_file = self.print.as_ref().and_then(|print| print.file_settings(change.tool));
        self.tools[idx].set(&change.settings, of_file);
    }

    /// The settings in force, T0 first: those typed in, and over them those of the job file while its print is on.
    pub fn in_force(&self) -> impl Iterator<Item = &Settings> {
        self.tools.iter().map(Tool::settings)
    }

    /// Nothing has been heard up to `now`: says so once, when the silence is too long.
    pub fn silence(&mut self, now: Timestamp) -> Option<Effect> {
        let last = self.last.as_mut()?;
        if last.lost || now - last.at <= SILENCE_MAX {
            return None;
        }
        last.lost = true;
        Some(Effect::ContactLost { since: last.at })
    }

    /// Takes one reading in and says what it means.
    pub fn read(&mut self, mut reading: Reading) -> Vec<Effect> {
        if let Some(reason) = self.refusal(&reading) {
            return vec![Effect::Refused { at: reading.at, reason }];
        }
        reading.at = self.after_silence(reading.at);
        self.make_room(reading.tools.len());
        reading.tools.resize(self.tools.len(), Heater::default());
        if self.hot_end == HotEnd::Shared {
            share_heater(&mut reading.tools);
        }
        let mut effects = Vec::with_capacity(1);
        let is_gap = self.regain(&reading, &mut effects);
        let vague_since = self.last.map(|last| last.told_tool_at);
        let mut interval = self.last.map(|last| Interval {
            from: last.at,
            to: reading.at,
            is_gap,
            is_vague: last.is_vague,
            is_heating: last.state == JobState::Heating,
        });
        let stretch = self.follow_plan(&reading);
        let changes = self.changes_between(&reading, stretch, is_gap);
        if let Some(interval) = &mut interval {
            self.pass(&changes, interval, &reading, &mut effects);
        }

        let mut after = Vec::new();
        let planned = self.planned();
        let before = self.follow_print(&reading, is_gap, &mut after);
        let tool = self.follow_work(&reading, vague_since, stretch, is_gap, &mut after);
        for (idx, heater) in reading.tools.iter().enumerate() {
            let heated = self.tools[idx].heated(heater);
            let turn = self.turn_of(idx, heated, &reading, tool.number);
            let step = self.tools[idx].advance(interval, *heater, turn, reading.at);
            effects.extend(step.ended);
            after.extend(step.began);
        }
        effects.extend(before);
        effects.append(&mut after);
        let told_tool_at = if tool.is_vague { vague_since } else { None }.unwrap_or(reading.at);
        if planned != self.planned() {
            // Once its spans are measured: the file's settings end with its print.
            self.overlay();
        }
        self.last = Some(Last {
            at: reading.at,
            told_tool_at,
            is_vague: tool.is_vague,
            state: reading.job.state,
            byte: reading.job.byte,
            fraction_millionths: reading.job.fraction_millionths,
            lost: false,
        });
        effects.push(Effect::Sample { tools: self.tools.iter().map(Tool::now).collect(), reading });
        effects
    }

    fn refusal(&self, reading: &Reading) -> Option<RefusalReason> {
        if self.last.is_some_and(|last| reading.at <= last.at) {
            return Some(RefusalReason::OutOfOrder);
        }
        let n_tools = reading.tools.len().max(self.settings.len());
        let fits = reading.active_tool.is_none_or(|tool| tool < n_tools) && n_tools <= ToolNumber::COUNT_MAX;
        (!fits).then_some(RefusalReason::ToolOutOfRange)
    }

    fn make_room(&mut self, n_tools: usize) {
        for idx in self.tools.len()..n_tools {
            self.add_tool(idx, Settings::default());
        }
    }

    fn add_tool(&mut self, idx: usize, settings: Settings) {
        let materials = Arc::clone(&self.materials);
        self.tools.extend(ToolNumber::new(idx).map(|number| Tool::new(number, settings.clone(), materials)));
        self.settings.push(settings);
    }

    /// A silence that was told is a gap, whatever the host's own clock says of the reading that ends it: it is placed
    /// right after, by less than a poll takes, so that the readings alone tell of the same gap.
    fn after_silence(&self, at: Timestamp) -> Timestamp {
        match self.last.filter(|last| last.lost) {
            Some(last) => at.max(last.at + SILENCE_MAX + Seconds::new(0.001)),
            None => at,
        }
    }

    /// Whether a gap ends with this reading; books it.
    fn regain(&self, reading: &Reading, effects: &mut Vec<Effect>) -> bool {
        let Some(last) = self.last else { return false };
        let is_gap = reading.after_gap || reading.at - last.at > SILENCE_MAX;
        if is_gap {
            if !last.lost {
                effects.push(Effect::ContactLost { since: last.at });
            }
            effects.push(Effect::ContactRegained { since: last.at, at: reading.at });
        }
        is_gap
    }

    /// Moves the print on. Returns the end of the one before; what begins goes into `after`.
    fn follow_print(&mut self, reading: &Reading, is_gap: bool, after: &mut Vec<Effect>) -> Option<Effect> {
        let at = reading.at;
        // An end that nobody told is placed where the print was last seen, or where it was found gone.
        let unseen_end = match self.last {
            Some(last) if is_gap => last.at,
            Some(_) | None => at,
        };
        let ended = |print: Print, at, end| {
            let (started, fraction_millionths) = (print.started, print.fraction_millionths());
            Effect::PrintEnded { started, at, end, fraction_millionths }
        };
        match job::turn(self.print.as_ref(), &reading.job, is_gap) {
            job::Turn::Without => None,
            job::Turn::Same => {
                let print = self.print.as_mut()?;
                print.note(&reading.job);
                let paused = reading.job.state == JobState::Paused;
                if paused != print.paused {
                    print.paused = paused;
                    let started = print.started;
                    after.push(if paused {
                        Effect::PrintPaused { started, at }
                    } else {
                        Effect::PrintResumed { started, at }
                    });
                }
                None
            }
            job::Turn::Begins => {
                let before = self.print.replace(Print::new(at, &reading.job));
                after.push(Effect::PrintStarted { started: at, name: reading.job.name.clone() });
                before.map(|print| ended(print, unseen_end, PrintEnd::Unknown))
            }
            job::Turn::Ended(end) => self.print.take().map(|print| ended(print, at, end)),
            job::Turn::Vanished => self.print.take().map(|print| ended(print, unseen_end, PrintEnd::Unknown)),
        }
    }

    /// Finds the tool at work and notes a tool change.
    fn follow_work(
        &mut self,
        reading: &Reading,
        told_at: Option<Timestamp>,
        stretch: Option<Stretch>,
        is_gap: bool,
        after: &mut Vec<Effect>,
    ) -> AtWork {
        let last = self.last;
        let n_tools = self.tools.len();
        let Some(print) = self.print.as_mut().filter(|_| reading.job.state != JobState::Paused) else {
            return AtWork { number: None, is_vague: false };
        };
        let printed = last.filter(|last| !is_gap && last.state == JobState::Printing).map(|last| reading.at - last.at);
        after.extend(print.weigh_plan(reading, n_tools, printed.unwrap_or(Seconds::ZERO)));
        let told_lately = !is_gap && print.is_told_lately(reading.at);
        let by_file = print.plan.as_ref().and_then(Plan::tells).filter(|_| !told_lately);
        if reading.active_tool.is_some() {
            print.host_told = Some(reading.at);
        }
        if let Some(held) = print.held_by_echo(reading, stretch.filter(|_| !is_gap)) {
            return AtWork { number: Some(held), is_vague: false };
        }
        let Some((tool, source)) = work::at_work(reading, self.hot_end, by_file, &mut print.set_points) else {
            // A host that left the field out for a moment has not changed tools; one that is silent about it has
            // told nothing.
            let brief = !is_gap && told_at.is_some_and(|told| reading.at - told <= SILENCE_MAX);
            return AtWork { number: print.tool.filter(|_| brief), is_vague: true };
        };
        if let Some(from) = print.tool.replace(tool).filter(|from| *from != tool) {
            after.push(Effect::ToolChanged { started: print.started, at: reading.at, from, to: tool, source });
        }
        AtWork { number: Some(tool), is_vague: false }
    }

    fn turn_of(&self, idx: usize, heated: Option<bool>, reading: &Reading, at_work: Option<ToolNumber>) -> Turn {
        let waiting = |context, print| match heated {
            Some(true) => Turn::Waiting { context, print },
            Some(false) => Turn::Cold,
            None => Turn::Unknown,
        };
        let Some(print) = &self.print else {
            return waiting(Context::NoPrint, None);
        };
        if reading.job.state == JobState::Paused {
            return waiting(Context::Paused, Some(print.started));
        }
        match at_work {
            Some(tool) if tool.idx() == idx => Turn::Working { print: print.started },
            Some(_) => waiting(Context::InPrint, Some(print.started)),
            None if heated == Some(false) => Turn::Cold,
            None => Turn::Unknown,
        }
    }
}

/// What a reading says of the tool at work.
struct AtWork {
    number: Option<ToolNumber>,
    is_vague: bool,
}

/// With a shared hot end every tool's filament sits in the one heater's heat.
fn share_heater(tools: &mut [Heater]) {
    let Some(common) = tools.iter().find(|heater| heater.actual.is_some() || heater.target.is_some()).copied() else {
        return;
    };
    for heater in tools {
        if heater.actual.is_none() && heater.target.is_none() {
            *heater = common;
        }
    }
}
