//! What the days came to, in sentences that all forms of the report share.

use crate::format;
use crate::page;
use crate::view::{DayCounts, ReportView, ToolSettings};

/// How far the record covers the period.
pub(super) fn coverage(view: &ReportView) -> String {
    let (stamp, noun) = (|at| format::moment(at, &view.zone), view.period.noun());
    match view.first_reading {
        None => "There is no reading in the record yet.".to_owned(),
        Some(first) if first >= view.to => format!("The record begins after this {noun}, on {}.", stamp(first)),
        Some(first) if first > view.from => {
            format!(
                "The record begins in this {noun}, on {}; what was before is not known. {}",
                stamp(first),
                until(view)
            )
        }
        Some(_) => until(view),
    }
}

fn until(view: &ReportView) -> String {
    let read = format::moment(view.as_of, &view.zone);
    let learned = format::moment(view.learned_at, &view.zone);
    let learned = if learned == read { String::new() } else { format!(" What was learned is as of {learned}.") };
    if view.as_of < view.from {
        format!("This {} has not begun: it is {read}.", view.period.noun())
    } else if view.as_of < view.to {
        format!("The {} is not over: this is as of {read}.{learned}", view.period.noun())
    } else {
        format!("Read {read}.{learned}")
    }
}

/// How many began, and how they ended.
pub(super) fn prints(total: DayCounts) -> String {
    let parts = [
        (total.completed, "completed"),
        (total.cancelled, "cancelled"),
        (total.failed, "failed"),
        (total.unknown, "with an end that nobody saw"),
        (total.running, "still running"),
    ];
    let parts: Vec<_> = parts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{n} {what}")).collect();
    match total.all() {
        0 => "No print began.".to_owned(),
        n => format!("{} began: {}.", format::counted(n, "print"), parts.join(", ")),
    }
}

/// Which print a tool's settings are of, and how many of the period's job files were read.
pub(super) fn files(tool: &ToolSettings) -> String {
    let print = page::name(tool.name.as_deref());
    format!(
        "print {}: {print}; job file read for {} of its {}",
        tool.print,
        tool.n_files,
        format::counted(tool.n, "print")
    )
}

/// That the host named another tool than the job file.
pub(super) fn disagreed(view: &ReportView) -> Option<String> {
    let times = format::counted(view.disagreements, "time");
    (view.disagreements > 0)
        .then(|| format!("The host named another tool than the job file has at work {times}; the host's word counts."))
}
