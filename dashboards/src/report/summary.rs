//! What the week came to, in sentences that HTML and text share. The page that is read in two minutes.

use crate::chart;
use crate::format;
use crate::page;
use crate::view::{DayCounts, DayRecord, ReportView, ToolSettings};
use dwell_analysis::units::Seconds;

/// Sums of the days that were counted; `None` if none was.
pub(super) fn total(view: &ReportView) -> Option<DayCounts> {
    let counted = view.days.iter().filter_map(|day| match day {
        DayRecord::Counted(counts) => Some(*counts),
        DayRecord::NotYet | DayRecord::NoRecord => None,
    });
    counted.reduce(|a, b| DayCounts {
        completed: a.completed + b.completed,
        cancelled: a.cancelled + b.cancelled,
        failed: a.failed + b.failed,
        unknown: a.unknown + b.unknown,
        running: a.running + b.running,
        with_failure: a.with_failure + b.with_failure,
        unreported: a.unreported + b.unreported,
    })
}

/// How far the record covers the week.
pub(super) fn coverage(view: &ReportView) -> String {
    let stamp = |at| format::moment(at, &view.zone);
    match view.first_reading {
        None => "There is no reading in the record yet.".to_owned(),
        Some(first) if first >= view.to => format!("The record begins after this week, on {}.", stamp(first)),
        Some(first) if first > view.from => {
            format!(
                "The record begins in this week, on {}; what was before is not known. {}",
                stamp(first),
                until(view)
            )
        }
        Some(_) => until(view),
    }
}

fn until(view: &ReportView) -> String {
    let read = format::moment(view.as_of, &view.zone);
    if view.as_of < view.to { format!("The week is not over: this is as of {read}.") } else { format!("Read {read}.") }
}

/// The week in a few sentences.
pub(super) fn sentences(view: &ReportView) -> Vec<String> {
    let Some(total) = total(view) else {
        return vec!["No day of this week has a reading, so nothing can be said of it.".to_owned()];
    };
    [
        Some(prints(total)),
        Some(failures(view, total)),
        Some(waiting(view)),
        worst(view),
        Some(alarms(view)),
        Some(contact(view)),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn prints(total: DayCounts) -> String {
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

fn failures(view: &ReportView, total: DayCounts) -> String {
    if total.all() == 0 {
        return "So there is no outcome to tell.".to_owned();
    }
    let modes = view.modes.iter().filter(|row| row.events > 0);
    let modes: Vec<_> = modes.map(|row| format!("{} {}", format::word(row.mode), row.events)).collect();
    let unreported = match total.unreported {
        0 => "every ended print has an outcome".to_owned(),
        1 => "1 print has no outcome, so whether it was clean is unknown".to_owned(),
        n => format!("{n} prints have no outcome, so whether they were clean is unknown"),
    };
    match total.with_failure {
        0 => format!("No failure was reported; {unreported}."),
        1 => format!("1 print had a reported failure ({}); {unreported}.", modes.join(", ")),
        n => format!("{n} prints had a reported failure ({}); {unreported}.", modes.join(", ")),
    }
}

fn waiting(view: &ReportView) -> String {
    let tools = view.idle.iter().filter_map(|tool| {
        let days = tool.days.iter().flatten().copied().reduce(|a, b| a + b)?;
        Some(format!("{} {} {}", tool.printer, format::tool(tool.tool), format::duration(days)))
    });
    let tools: Vec<_> = tools.collect();
    if tools.is_empty() { "No waiting was measured.".to_owned() } else { format!("Waited hot: {}.", tools.join("; ")) }
}

fn worst(view: &ReportView) -> Option<String> {
    view.worst.first().map(|span| format!("Most cooked: {}.", chart::words(span, &view.zone)))
}

fn alarms(view: &ReportView) -> String {
    let standing = view.alarms.iter().filter(|alarm| alarm.returned.is_none()).count();
    match (view.alarms.len(), standing) {
        (0, _) => format::NO_CALL.to_owned(),
        (1, 0) => "1 alarm called and has gone.".to_owned(),
        (1, _) => "1 alarm called and still stands.".to_owned(),
        (n, 0) => format!("{n} alarms called and have gone."),
        (n, standing) => {
            format!("{n} alarms called; {standing} still {}.", if standing == 1 { "stands" } else { "stand" })
        }
    }
}

fn contact(view: &ReportView) -> String {
    let refused: u32 = view.refused.iter().map(|refused| refused.n).sum();
    let left_out = match refused {
        0 => String::new(),
        n => format!(" {} left out.", if n == 1 { "1 reading was".to_owned() } else { format!("{n} readings were") }),
    };
    if view.gaps.n == 0 || view.gaps.total <= Seconds::ZERO {
        return format!("Contact was never lost.{left_out}");
    }
    let gaps = format::counted(view.gaps.n, "gap");
    format!("Contact was lost: {gaps}, {} in all, which count as unknown.{left_out}", format::duration(view.gaps.total))
}

/// What a mode's state means for advice.
pub(super) fn state(word: &str) -> &'static str {
    match word {
        "learned" => "learned: predicts better than the running rate",
        "leaning" => "leaning: worth a trial, not yet sure",
        _ => "too little to say",
    }
}

/// Which print a tool's settings are of, and how many of the week's job files were read.
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
