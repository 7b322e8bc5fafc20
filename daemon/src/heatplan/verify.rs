//! The checks of a planned text. Owns what a plan must keep to, and shares nothing with what made it but the mark.

use super::marked::{is_marked, raw_lines, strip};
use crate::entry::ToolNumber;
use crate::jobfile::{Act, Heated, JobOutline, Machine, Outliner, Patience, Reader, What};
use dwell_analysis::units::{Celsius, CelsiusDelta};

/// At its first push a tool is expected no more than this much colder than by the file itself: two of the kelvins within
/// which a wait for heat is content.
pub const TOLERANCE: CelsiusDelta = CelsiusDelta::new(2.0);
/// Every set point that is not told is off.
const OFF: Celsius = Celsius::new(0.0);

/// What is wrong with a plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Unsound {
    /// Stripping does not give the original.
    #[error("without its own lines it is not the original")]
    NotTheOriginal,
    /// An own line asks for something else than a tool's set point.
    #[error("line {line} of the plan asks for more than a set point")]
    NotHeat {
        /// Its number in the planned text.
        line: u64,
    },
    /// A line of the file asks for something else than before.
    #[error("line {line} of the file asks for something else than before")]
    OtherAct {
        /// Its number in the planned text.
        line: u64,
    },
    /// A set point above the file's.
    #[error("line {line} sets T{tool} to {} °C where the file has {} °C", planned.get(), file.get())]
    Above {
        /// Its number in the planned text.
        line: u64,
        /// The tool.
        tool: usize,
        /// What the plan sets.
        planned: Celsius,
        /// What the file has there.
        file: Celsius,
    },
    /// The turns are others.
    #[error("the turns of the tools are others than before")]
    OtherTurns,
    /// A turn would begin too cold.
    #[error("turn {turn} of T{tool} would begin at {:.0} °C, by the file at {:.0} °C", planned.get(), file.get())]
    Cold {
        /// Its place among that file's turns, from 1.
        turn: usize,
        /// The tool.
        tool: usize,
        /// What is expected with the plan.
        planned: Celsius,
        /// What is expected without.
        file: Celsius,
    },
}

/// Reads both texts line by line, side by side.
pub(super) fn same_but_cooler(original: &[u8], planned: &[u8]) -> Result<(), Unsound> {
    if strip(planned).0 != original {
        return Err(Unsound::NotTheOriginal);
    }
    let (mut by_file, mut by_plan) = (Reader::new(), Reader::new());
    let (mut old, mut new) = (Vec::new(), Vec::new());
    let mut file = [OFF; ToolNumber::COUNT_MAX];
    let mut file_lines = raw_lines(original);
    let mut last = (0, false);
    for (line, raw) in (1_u64..).zip(raw_lines(planned)) {
        let is_ours = is_marked(raw.line);
        let mut acts = Vec::new();
        by_plan.feed(raw.line, &mut |act| acts.push(act));
        by_plan.feed(raw.end, &mut |act| acts.push(act));
        if is_ours {
            added(&acts, &file, line, !raw.end.is_empty())?;
        } else {
            if let Some(same) = file_lines.next() {
                by_file.feed(same.line, &mut |act| old.push(act.what));
                by_file.feed(same.end, &mut |act| old.push(act.what));
            }
            follow(&acts, &mut file);
            new.extend(acts.iter().map(|act| act.what));
        }
        let n = old.len().min(new.len());
        if old.drain(..n).ne(new.drain(..n)) {
            return Err(Unsound::OtherAct { line });
        }
        last = (line, is_ours);
    }
    let (line, is_ours) = last;
    let mut acts = Vec::new();
    let plan_end = by_plan.finish(&mut |act| acts.push(act));
    let file_end = by_file.finish(&mut |act| old.push(act.what));
    if is_ours {
        added(&acts, &file, line, !acts.is_empty())?;
    } else {
        new.extend(acts.iter().map(|act| act.what));
    }
    if old == new && plan_end.unread.codes == file_end.unread.codes { Ok(()) } else { Err(Unsound::OtherAct { line }) }
}

/// What an own line may ask for: one tool's set point, without waiting, no higher than the file's.
fn added(acts: &[Act], file: &[Celsius], line: u64, is_whole: bool) -> Result<(), Unsound> {
    let (tool, planned) = match acts {
        [Act { what: What::Heat { heated: Heated::Tool(tool), target, patience: Patience::None }, .. }] => {
            (*tool, *target)
        }
        [] if !is_whole => return Ok(()),
        _ => return Err(Unsound::NotHeat { line }),
    };
    let file = file.get(tool.idx()).copied().unwrap_or(OFF);
    if planned > file { Err(Unsound::Above { line, tool: tool.idx(), planned, file }) } else { Ok(()) }
}

fn follow(acts: &[Act], file: &mut [Celsius]) {
    for act in acts {
        if let What::Heat { heated: Heated::Tool(tool), target, .. } = act.what
            && let Some(place) = file.get_mut(tool.idx())
        {
            *place = target;
        }
    }
}

/// Both texts on a machine's heaters.
pub(super) fn outlines(original: &[u8], planned: &[u8], machine: &Machine) -> [JobOutline; 2] {
    [original, planned].map(|text| {
        let mut outliner = Outliner::new(machine.clone());
        outliner.feed(text);
        outliner.finish()
    })
}

/// Whether every turn begins as hot as by the file.
pub(super) fn in_time([file, plan]: &[JobOutline; 2]) -> Result<(), Unsound> {
    if file.visits.len() != plan.visits.len() || file.visits_left_out > 0 {
        return Err(Unsound::OtherTurns);
    }
    for (turn, (old, new)) in (1..).zip(file.visits.iter().zip(&plan.visits)) {
        let same = old.tool == new.tool && old.restart.is_some() == new.restart.is_some();
        if !same {
            return Err(Unsound::OtherTurns);
        }
        let Some((old, new)) = old.restart.zip(new.restart) else { continue };
        if new.expected + TOLERANCE < old.expected {
            let tool = file.visits.get(turn - 1).map_or(0, |visit| visit.tool.idx());
            return Err(Unsound::Cold { turn, tool, planned: new.expected, file: old.expected });
        }
    }
    Ok(())
}
