//! What a plan saves and costs. Owns the counting; times and doses are expectations on the machine's heaters.

use super::decide::{Alone, Decided};
use super::margin::{Rests, StandbyFrom};
use super::waits::Kind;
use crate::entry::ToolNumber;
use crate::jobfile::{JobOutline, ToolOutline};
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use std::collections::BTreeMap;

/// A plan in numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Counted {
    /// One a tool that the file heats.
    pub tools: Vec<ToolSum>,
    /// How much longer the job is expected to take.
    pub longer: Seconds,
    /// The same with heaters as slow as they may be at the certainty asked for.
    pub longer_at_worst: Seconds,
    /// The whole job by the file.
    pub lasts: Seconds,
    /// Turns that were checked to begin as hot as by the file.
    pub turns: usize,
}

/// One tool of it.
#[derive(Clone, Debug, PartialEq)]
pub struct ToolSum {
    /// Which.
    pub tool: ToolNumber,
    /// What it cools to in its waits; 0 °C is off.
    pub standby: Celsius,
    /// Where that is from.
    pub from: StandbyFrom,
    /// Waits between two turns.
    pub waits: u32,
    /// Of these, in which it cools.
    pub drops: u32,
    /// The others, by reason.
    pub alone: BTreeMap<Alone, u32>,
    /// Whether it is heated later than by the file at first.
    pub is_heated_later: bool,
    /// Whether it is switched off after its last use by the plan.
    pub is_off_after: bool,
    /// Time of its waits over the lowest usual print temperature of its material, by the file and by the plan.
    pub hot: [Seconds; 2],
    /// Dose of its waits, by the file and by the plan.
    pub dose: [DoseMinutes; 2],
    /// Lines added for it.
    pub lines: u32,
}

impl Counted {
    /// Whether anything is added at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.tools.iter().all(|tool| tool.lines == 0)
    }
}

/// One tool's waits.
pub(super) fn tool(tool: ToolNumber, rests: &Rests, waits: &[Decided]) -> ToolSum {
    let mut sum = ToolSum {
        tool,
        standby: rests.standby,
        from: rests.from,
        waits: 0,
        drops: 0,
        alone: BTreeMap::new(),
        is_heated_later: false,
        is_off_after: false,
        hot: [Seconds::ZERO; 2],
        dose: [DoseMinutes::ZERO; 2],
        lines: 0,
    };
    for wait in waits {
        let is_planned = wait.outcome.is_ok();
        match wait.kind {
            Kind::Between => {
                sum.waits += 1;
                match wait.outcome {
                    Ok(()) => sum.drops += 1,
                    Err(why) => *sum.alone.entry(why).or_insert(0) += 1,
                }
            }
            Kind::First => sum.is_heated_later |= is_planned,
            Kind::Last => sum.is_off_after |= is_planned,
        }
        sum.lines += u32::try_from(wait.added.len()).unwrap_or(u32::MAX);
        for (sum, hot) in sum.hot.iter_mut().zip(wait.hot) {
            *sum += hot;
        }
    }
    sum
}

/// The whole plan.
pub(super) fn counted(mut tools: Vec<ToolSum>, usual: &[JobOutline; 2], slow: &[JobOutline; 2]) -> Counted {
    for sum in &mut tools {
        let of = |outline: &JobOutline| {
            let is_it = |one: &&ToolOutline| one.tool == sum.tool;
            outline.tools.iter().find(is_it).map_or(DoseMinutes::ZERO, |one| one.dose_sum)
        };
        sum.dose = usual.each_ref().map(of);
    }
    let [file, plan] = usual;
    let [slow_file, slow_plan] = slow;
    Counted {
        tools,
        longer: plan.ends - file.ends,
        longer_at_worst: slow_plan.ends - slow_file.ends,
        lasts: file.ends,
        turns: file.visits.len(),
    }
}
