//! The tracker with the job file of the print that is on: what passed between two readings, and which settings count.

use super::Tracker;
use crate::entry::{CentiCelsius, Heater, JobFile, JobState, Reading, ToolNumber};
use crate::tracker::effect::{Context, Effect, ToolSource};
use crate::tracker::job::{self, Print};
use crate::tracker::plan::{Plan, Stretch};
use crate::tracker::tool::{Interval, Tool, Turn};
use crate::tracker::work;
use dwell_analysis::time::Timestamp;

impl Tracker {
    /// Takes over the job file of the print that is on; the first one counts, and that of another print does not.
    pub fn plan(&mut self, file: &JobFile) {
        let Some(print) = self.print.as_mut().filter(|print| print.started == file.started && print.plan.is_none())
        else {
            return;
        };
        let mut plan = Plan::new(file);
        if let Some(last) = self.last {
            plan.move_to(last.byte, last.fraction_millionths);
        }
        print.plan = Some(plan);
        self.overlay();
    }

    /// The print that is on and has no job file yet, and its job's name.
    #[must_use]
    pub fn unplanned(&self) -> Option<(Timestamp, Option<&str>)> {
        let print = self.print.as_ref().filter(|print| print.plan.is_none())?;
        Some((print.started, print.name.as_deref()))
    }

    /// The newest reading that was taken in.
    #[must_use]
    pub fn newest(&self) -> Option<Timestamp> {
        self.last.map(|last| last.at)
    }

    /// The print whose job file counts.
    pub(super) fn planned(&self) -> Option<Timestamp> {
        let is_in_force = |print: &&Print| print.plan.as_ref().is_some_and(|plan| !plan.is_dropped);
        self.print.as_ref().filter(is_in_force).map(|print| print.started)
    }

    pub(super) fn overlay(&mut self) {
        for (idx, tool) in self.tools.iter_mut().enumerate() {
            let print = self.print.as_ref();
            tool.overlay(ToolNumber::new(idx).and_then(|number| print?.file_settings(number)));
        }
    }

    /// Moves on to the reading's place in the job file.
    pub(super) fn follow_plan(&mut self, reading: &Reading) -> Option<Stretch> {
        let last = self.last?;
        let print = self.print.as_mut()?;
        let plan = print.plan.as_mut()?;
        let stretch = plan.follow(&reading.job, last.at, reading.at);
        plan.regain(print.tool.filter(|_| !last.is_vague));
        stretch
    }

    /// The changes of tool that the job file has between the last reading and this one, and no reading tells: all of
    /// them where the host does not name its tool, else those on the way from its last word to this one.
    pub(super) fn changes_between(
        &mut self,
        reading: &Reading,
        stretch: Option<Stretch>,
        is_gap: bool,
    ) -> Vec<(Timestamp, ToolNumber)> {
        let (Some(last), Some(print)) = (self.last, self.print.as_mut()) else { return Vec::new() };
        let is_printing = last.state == JobState::Printing && reading.job.state == JobState::Printing;
        let is_same = job::turn(Some(print), &reading.job, is_gap) == job::Turn::Same;
        let told_lately = print.is_told_lately(reading.at);
        let (Some(plan), Some(at_work)) = (&mut print.plan, print.tool) else { return Vec::new() };
        if is_gap || last.is_vague || !is_printing || !is_same {
            return Vec::new();
        }
        let Some(stretch) = stretch else { return Vec::new() };
        let host = work::told(reading);
        if let Some(host) = host.filter(|host| *host != at_work) {
            plan.weigh(stretch, at_work, host);
        }
        let mut changes = plan.changes(stretch, at_work);
        match host {
            None if told_lately => Vec::new(),
            None => changes,
            Some(host) => {
                let arrives = changes.last().is_some_and(|(_, tool)| *tool == host);
                if !arrives || !plan.is_host_prompt() {
                    return Vec::new();
                }
                if host != at_work {
                    // The last one is the host's own, at its reading.
                    changes.pop();
                }
                plan.placed(stretch, &changes);
                changes
            }
        }
    }

    /// Lets the tools pass through changes between two readings, their temperatures on a straight line. What is left
    /// of the interval is what comes after the last one.
    pub(super) fn pass(
        &mut self,
        changes: &[(Timestamp, ToolNumber)],
        interval: &mut Interval,
        reading: &Reading,
        effects: &mut Vec<Effect>,
    ) {
        let Some(started) = self.print.as_ref().map(|print| print.started) else { return };
        let (began, whole) = (interval.from, interval.to - interval.from);
        let before: Vec<Heater> = self.tools.iter().map(Tool::heater).collect();
        for (at, to) in changes {
            let part = (*at - began).get() / whole.get();
            let mut began = Vec::new();
            for (idx, tool) in self.tools.iter_mut().enumerate() {
                let turn = match tool.was_heated() {
                    _ if to.idx() == idx => Turn::Working { print: started },
                    Some(true) => Turn::Waiting { context: Context::InPrint, print: Some(started) },
                    Some(false) => Turn::Cold,
                    None => Turn::Unknown,
                };
                let heater = between(before[idx], reading.tools[idx], part);
                let step = tool.advance(Some(Interval { to: *at, ..*interval }), heater, turn, *at);
                effects.extend(step.ended);
                began.extend(step.began);
            }
            if let Some(from) = self.print.as_mut().and_then(|print| print.tool.replace(*to)) {
                effects.push(Effect::ToolChanged { started, at: *at, from, to: *to, source: ToolSource::JobFile });
            }
            effects.append(&mut began);
            interval.from = *at;
        }
    }
}

/// A heater at a part of the time between two readings: its temperature on a straight line, its set point the earlier
/// one, as what holds between two readings is what the earlier one said.
fn between(before: Heater, after: Heater, part: f64) -> Heater {
    let actual = before.actual.zip(after.actual).and_then(|(before, after)| {
        let (before, after) = (before.celsius().get(), after.celsius().get());
        CentiCelsius::nearest(before + (after - before) * part)
    });
    Heater { actual, ..before }
}
