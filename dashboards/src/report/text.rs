//! The report as plain text in 78 columns, for a mail or a terminal.

use super::brief::blocks;
use super::modes;
use super::section::Section;
use super::sections;
use super::summary::{coverage, files};
use crate::alarm_figures::{figure_rows, looked_at, rests_on};
use crate::plain::Lines;
use crate::view::{AlarmView, DayRecord, ReportView};
use crate::{SAFETY_WORDS, format, page};
use dwell_analysis::units::Seconds;

const COLUMNS: usize = 78;
/// Columns of a chart's longest bar.
const BAR: f64 = 40.0;
/// Columns of a table's first cell.
const LABEL: usize = 22;

/// The whole report.
#[must_use]
pub fn render_report_text(view: &ReportView) -> String {
    let mut out = Lines::new(COLUMNS);
    out.line(&view.period.title().to_uppercase());
    if view.rehearsal {
        out.wrapped("", "Rehearsal: the printer is simulated and its history is invented.");
    }
    out.wrapped("", &format!("{}, on the clock of {}.", view.period.dates(), format::zone_name(&view.zone)));
    out.wrapped("", &coverage(view));
    for block in blocks(view) {
        out.heading(block.heading);
        out.wrapped("  ", &block.lead);
        block.points.iter().for_each(|point| out.wrapped("  - ", point));
    }
    details(view, &mut out);
    out.line("");
    out.wrapped("", SAFETY_WORDS);
    out.into_text()
}

fn details(view: &ReportView, out: &mut Lines) {
    if view.total().is_some() {
        section(&modes::failures(view), out);
        prints(view, out);
        section(&sections::heat(view), out);
        idle(view, out);
        section(&sections::worst(view), out);
        settings(view, out);
        alarms(view, out);
        section(&sections::trials(view), out);
    }
    section(&sections::parts_in_use(view), out);
    if view.total().is_some() {
        section(&sections::contact(view), out);
        section(&sections::unreported(view), out);
    }
    section(&sections::sensitivity(view), out);
    section(&sections::learned(view), out);
}

fn section(section: &Section, out: &mut Lines) {
    out.heading(section.heading);
    section.lines.iter().for_each(|line| out.wrapped("  - ", line));
    let Some(table) = &section.table else { return };
    let width = table.head.len().checked_sub(1).map_or(0, |cells| (COLUMNS - LABEL) / cells.max(1));
    for row in std::iter::once(&table.head).chain(&table.rows) {
        if let [label, cells @ ..] = row.as_slice() {
            out.row((label, LABEL), cells, width);
        }
    }
}

fn bar(out: &mut Lines, label: &str, value: f64, top: f64, told: &str) {
    let length = if top > 0.0 { (value / top * BAR).round() } else { 0.0 };
    let bar: String =
        std::iter::successors(Some(1.0), |n| Some(n + 1.0)).take_while(|n| *n <= length).map(|_| '#').collect();
    let gap = if bar.is_empty() { "" } else { " " };
    out.line(&format!("  {label:<9}{bar}{gap}{told}"));
}

fn none(day: DayRecord) -> &'static str {
    if day == DayRecord::NotYet { "not yet" } else { "no record" }
}

fn prints(view: &ReportView, out: &mut Lines) {
    out.heading(&format!("Prints a {} (number; reported failures)", view.period.part_name()));
    let counts = view.days.iter().map(|day| match day {
        DayRecord::Counted(counts) => f64::from(counts.all()),
        DayRecord::NotYet | DayRecord::NoRecord => 0.0,
    });
    let top = counts.fold(0.0, f64::max);
    for (part, day) in view.period.parts().iter().zip(&view.days) {
        match day {
            DayRecord::Counted(counts) => {
                let told = format!("{} ({})", counts.all(), counts.with_failure);
                bar(out, &part.label, f64::from(counts.all()), top.max(BAR / 4.0), &told);
            }
            DayRecord::NotYet | DayRecord::NoRecord => bar(out, &part.label, 0.0, top, none(*day)),
        }
    }
}

fn idle(view: &ReportView, out: &mut Lines) {
    if view.idle.is_empty() {
        return;
    }
    out.heading(&format!("Waited hot a {} (minutes, in contact)", view.period.part_name()));
    let all = view.idle.iter().flat_map(|tool| tool.days.iter().flatten());
    let top = all.map(|idle| idle.as_minutes()).fold(0.0, f64::max);
    for tool in &view.idle {
        out.wrapped("  ", &format!("{} {}", tool.printer, format::tool(tool.tool)));
        for ((part, idle), day) in view.period.parts().iter().zip(&tool.days).zip(&view.days) {
            let told = idle.map_or_else(|| none(*day).to_owned(), format::minutes);
            bar(out, &part.label, idle.map_or(0.0, Seconds::as_minutes), top, &told);
        }
    }
}

fn settings(view: &ReportView, out: &mut Lines) {
    out.heading("Settings in force, as of each tool's newest print");
    if view.settings.is_empty() {
        out.line("  No print ran.");
    }
    for tool in &view.settings {
        let told = page::settings_rows(&tool.settings).into_iter();
        let told = told.filter_map(|(key, value)| value.map(|value| format!("{}: {value}", key.to_lowercase())));
        let told: Vec<String> = told.collect();
        let whose = format!("{} {} ({})", tool.printer, format::tool(tool.tool), files(tool));
        let told = if told.is_empty() { format::NOT_TOLD.to_owned() } else { told.join("; ") };
        out.wrapped("  - ", &format!("{whose}. {told}"));
    }
}

fn alarms(view: &ReportView, out: &mut Lines) {
    out.heading("Alarms");
    if view.alarms.is_empty() {
        out.wrapped("  ", format::NO_CALL);
    }
    let (high, rest): (Vec<&AlarmView>, Vec<_>) = view.alarms.iter().partition(|alarm| alarm.priority == "high");
    for alarm in high {
        whole(alarm, view, out);
    }
    for line in &sections::alarms_by_kind(&rest, &view.zone) {
        out.wrapped("  - ", line);
    }
    if let Some(words) = format::recorded_quietly(view.n_quiet_alarms) {
        out.wrapped("  ", &words);
    }
    figures(view, out);
}

/// A high alarm in all its words.
fn whole(alarm: &AlarmView, view: &ReportView, out: &mut Lines) {
    let gone = alarm
        .returned
        .map_or_else(|| "still standing".to_owned(), |at| format!("gone {}", format::moment_short(at, &view.zone)));
    let raised = format::moment_short(alarm.raised, &view.zone);
    let about = format::about(alarm.printer.as_deref(), alarm.tool, alarm.rule);
    out.wrapped("  - ", &format!("{about} ({} priority, {}), raised {raised}, {gone}", alarm.priority, alarm.state));
    let [cause, consequence, action] =
        [&alarm.cause, &alarm.consequence, &alarm.action].map(|told| format::sentence(told));
    out.wrapped("    ", &format!("{cause} {consequence} Do: {action}"));
}

fn figures(view: &ReportView, out: &mut Lines) {
    out.heading("How the alarms did");
    let Some(figures) = &view.alarm_figures else {
        out.line("  Nothing was recorded, so there is nothing to count.");
        return;
    };
    out.wrapped("  ", &looked_at(figures, &view.zone));
    for row in figure_rows(figures, &view.zone) {
        out.wrapped("  - ", &format!("{}: {} (EEMUA 191: {})", row.what, row.here, row.wanted));
    }
    out.wrapped("  ", &rests_on(figures));
}
