//! Whether a print is on, and whether it is still the same one. Owns the print's phase; tools are followed elsewhere.

use super::SILENCE_MAX;
use super::effect::Effect;
use super::plan::{Plan, Stretch};
use super::work::SetPoints;
use crate::entry::{Job, JobState, PrintEnd, Reading, Settings, ToolNumber};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::sync::Arc;

/// How far a host's progress may fall back within one print, in millionths: it is often an estimate.
const FRACTION_SLACK: u32 = 10_000;

/// A job that vanishes within contact after this much progress has run to its end: some hosts tell no other end, and
/// the last poll before it rarely sees the last of the work.
const DONE: u32 = 995_000;

/// The print that is on.
#[derive(Clone, Debug)]
pub(super) struct Print {
    pub(super) started: Timestamp,
    pub(super) name: Option<Arc<str>>,
    pub(super) paused: bool,
    /// The tool last seen at work.
    pub(super) tool: Option<ToolNumber>,
    pub(super) set_points: SetPoints,
    /// The newest reading in which the host itself named the tool at work.
    pub(super) host_told: Option<Timestamp>,
    /// Its job file, once that is known.
    pub(super) plan: Option<Plan>,
    fraction_millionths: Option<u32>,
}

/// What a reading means for the print.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    /// None is on, and none begins.
    Without,
    /// The same print goes on.
    Same,
    /// A print begins; the one before, if any, was not seen to end.
    Begins,
    /// The host says how it ended.
    Ended(PrintEnd),
    /// It is gone, and nobody said how.
    Vanished,
}

impl Print {
    pub(super) fn new(started: Timestamp, job: &Job) -> Self {
        Self {
            started,
            name: job.name.clone(),
            paused: false,
            tool: None,
            set_points: SetPoints::default(),
            host_told: None,
            plan: None,
            fraction_millionths: job.fraction_millionths,
        }
    }

    /// Remembers what identifies the print from one reading to the next.
    pub(super) fn note(&mut self, job: &Job) {
        if self.name.is_none() {
            self.name.clone_from(&job.name);
        }
        if job.fraction_millionths.is_some() {
            self.fraction_millionths = job.fraction_millionths;
        }
    }

    /// Progress that was last told while it was on: some hosts tell none once it has ended, or begin anew.
    pub(super) fn fraction_millionths(&self) -> Option<u32> {
        self.fraction_millionths
    }

    /// What the job file asks of a tool, unless it turned out to be another print's.
    pub(super) fn file_settings(&self, tool: ToolNumber) -> Option<&Settings> {
        let plan = self.plan.as_ref().filter(|plan| !plan.is_dropped)?;
        plan.tools.iter().find(|own| own.tool == tool).map(|own| &own.settings)
    }

    /// Whether the host has named its tool a moment ago: one that leaves it out once has not fallen silent about it.
    pub(super) fn is_told_lately(&self, at: Timestamp) -> bool {
        self.host_told.is_some_and(|told| at - told <= SILENCE_MAX)
    }

    /// Looks whether the job file can be this print's, and whether the host agrees with it; `printed` is how long it
    /// has printed since the reading before.
    pub(super) fn weigh_plan(&mut self, reading: &Reading, n_tools: usize, printed: Seconds) -> Option<Effect> {
        let (started, at) = (self.started, reading.at);
        let plan = self.plan.as_mut().filter(|plan| !plan.is_dropped)?;
        if plan.is_foreign(reading.job.byte, n_tools) {
            plan.is_dropped = true;
            return Some(Effect::JobFileDropped { started, at });
        }
        if reading.job.state != JobState::Printing {
            return None;
        }
        let host = reading.active_tool.and_then(ToolNumber::new)?;
        plan.compare(host, printed).map(|file| Effect::ToolDisagreed { started, at, host, file })
    }

    /// The tool that stays at work although the host names another one: it tells late of a visit that was placed.
    pub(super) fn held_by_echo(&mut self, reading: &Reading, stretch: Option<Stretch>) -> Option<ToolNumber> {
        let (stretch, at_work) = (stretch?, self.tool?);
        let plan = self.plan.as_mut()?;
        let host = reading.active_tool.and_then(ToolNumber::new).filter(|host| *host != at_work)?;
        let stays = plan.at_work() == Some(at_work) && !plan.has(stretch, host);
        (stays && plan.is_echo(host, reading.at)).then_some(at_work)
    }

    fn is(&self, job: &Job, after_gap: bool) -> bool {
        let same_name = match (&self.name, &job.name) {
            (Some(mine), Some(theirs)) => mine == theirs,
            (None, _) | (_, None) => true,
        };
        // Within contact a print can't be started anew unseen; across a gap, lost progress tells of it.
        let went_on = match (self.fraction_millionths, job.fraction_millionths) {
            (Some(before), Some(now)) if after_gap => now.saturating_add(FRACTION_SLACK) >= before,
            (Some(_) | None, _) => true,
        };
        same_name && went_on
    }

    fn was_done(&self) -> bool {
        self.fraction_millionths.is_some_and(|fraction| fraction >= DONE)
    }
}

/// Judges one reading's job against the print that is on.
pub(super) fn turn(print: Option<&Print>, job: &Job, after_gap: bool) -> Turn {
    let Some(print) = print else {
        return match job.state {
            JobState::Printing => Turn::Begins,
            JobState::None
            | JobState::Heating
            | JobState::Paused
            | JobState::Completed
            | JobState::Cancelled
            | JobState::Failed => Turn::Without,
        };
    };
    let same = print.is(job, after_gap);
    match job.state {
        JobState::Printing | JobState::Heating | JobState::Paused if same => Turn::Same,
        JobState::Printing => Turn::Begins,
        JobState::Completed if same => Turn::Ended(PrintEnd::Completed),
        JobState::Cancelled if same => Turn::Ended(PrintEnd::Cancelled),
        JobState::Failed if same => Turn::Ended(PrintEnd::Failed),
        JobState::None if !after_gap && print.was_done() => Turn::Ended(PrintEnd::Completed),
        JobState::Heating
        | JobState::Paused
        | JobState::Completed
        | JobState::Cancelled
        | JobState::Failed
        | JobState::None => Turn::Vanished,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn job(state: JobState, fraction: Option<u32>) -> Job {
        Job { state, name: Some(Arc::from("lantern.gcode")), fraction_millionths: fraction, byte: None }
    }

    fn vanished(fraction: Option<u32>, after_gap: bool) -> Turn {
        let mut print = Print::new(Timestamp::from_ms(0), &job(JobState::Printing, Some(0)));
        print.note(&job(JobState::Printing, fraction));
        let gone = Job { name: None, ..job(JobState::None, None) };
        turn(Some(&print), &gone, after_gap)
    }

    #[test]
    fn a_job_that_vanishes_has_run_to_its_end_only_if_it_was_all_but_done_and_in_sight() {
        assert_eq!(vanished(Some(997_000), false), Turn::Ended(PrintEnd::Completed));
        assert_eq!(vanished(Some(994_000), false), Turn::Vanished);
        assert_eq!(vanished(Some(997_000), true), Turn::Vanished);
        assert_eq!(vanished(None, false), Turn::Vanished);
    }
}
