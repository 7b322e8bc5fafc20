//! A tool's lane in letters: solid where it works, hatched where it waits hot, blank where it is cold.

use crate::chart::{Slice, SlicePart, slices};
use crate::format;
use crate::view::{JOB_BEGINS, LaneKind, PreflightView, ToolAhead};
use dwell_analysis::units::{Celsius, Seconds};

/// Letters of a lane.
const LETTERS: u32 = 60;
/// Marks of its axis: four parts.
const PARTS: u32 = 4;

/// Over this a waiting melt is drawn darker.
const HOTTER: Celsius = Celsius::new(150.0);

/// What the letters mean.
pub(super) const KEY: &str = "█ works, ▓ works for less than half of it, ▒ waits from 150 °C up, ░ waits under 150 °C, \
                              blank not heated, ? not held one by one";

/// The tool's lane; `None` without filament.
pub(super) fn lane(tool: &ToolAhead, view: &PreflightView) -> Option<String> {
    let begins = view.begins.filter(|begins| *begins < view.ends)?;
    Some(slices(&tool.lane, JOB_BEGINS + begins, JOB_BEGINS + view.ends, LETTERS).iter().map(letter).collect())
}

fn letter(slice: &Slice) -> char {
    let part = |kind| slice.parts.iter().find(|part| part.kind == kind);
    let time = |kind| part(kind).map_or(0.0, |part| part.lasts.get());
    let all: f64 = slice.parts.iter().map(|part| part.lasts.get()).sum();
    let (working, waiting) = (time(LaneKind::Working), time(LaneKind::Waiting));
    let unknown = time(LaneKind::Unknown) + time(LaneKind::Gap);
    if working > 0.0 {
        return if working * 2.0 >= all { '█' } else { '▓' };
    }
    if unknown > waiting && unknown * 2.0 >= all {
        return '?';
    }
    if waiting <= time(LaneKind::Cold) {
        return ' ';
    }
    let mean = part(LaneKind::Waiting).and_then(SlicePart::mean);
    if mean.is_some_and(|mean| mean >= HOTTER) { '▒' } else { '░' }
}

/// The axis under the lanes: marks, and times since the file's beginning.
pub(super) fn axis(view: &PreflightView) -> Option<[String; 2]> {
    let begins = view.begins.filter(|begins| *begins < view.ends)?;
    let part = usize::try_from(LETTERS / PARTS).ok()?;
    let marks = (0..PARTS).map(|at| format!("{}{}", if at == 0 { "├" } else { "┼" }, "─".repeat(part - 1)));
    let marks = marks.collect::<Vec<_>>().concat() + "┤";
    let time = |at: u32| {
        let along = f64::from(at) / f64::from(PARTS);
        format::job_time_short(Seconds::new(begins.get() + along * (view.ends - begins).get()))
    };
    let labels: Vec<_> = (0..=PARTS).map(|at| format!("{:<part$}", time(at))).collect();
    Some([marks, labels.concat()])
}
