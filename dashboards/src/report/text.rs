//! The report as plain text in 78 columns, for a mail or a terminal.

use super::summary::{coverage, disagreed, files, sentences, state};
use crate::alarm_figures::{figure_rows, looked_at, rests_on};
use crate::plain::Lines;
use crate::view::{AlarmView, DayRecord, ReportView};
use crate::{SAFETY_WORDS, chart, format, page};
use dwell_analysis::units::Seconds;

const COLUMNS: usize = 78;
/// Columns of a chart's longest bar.
const BAR: f64 = 40.0;

/// The whole report.
#[must_use]
pub fn render_report_text(view: &ReportView) -> String {
    let mut out = Lines::new(COLUMNS);
    out.line(&format!("WEEK {}", view.week));
    if view.rehearsal {
        out.wrapped("", "Rehearsal: the printer is simulated and its history is invented.");
    }
    out.wrapped("", &format!("{}, on the clock of {}.", view.week.dates(), format::zone_name(&view.zone)));
    out.wrapped("", &coverage(view));
    out.line("");
    for sentence in sentences(view) {
        out.wrapped("- ", &sentence);
    }
    rates(view, &mut out);
    prints(view, &mut out);
    idle(view, &mut out);
    worst(view, &mut out);
    settings(view, &mut out);
    alarms(view, &mut out);
    rest(view, &mut out);
    out.line("");
    out.wrapped("", SAFETY_WORDS);
    out.into_text()
}

fn bar(out: &mut Lines, label: &str, value: f64, top: f64, told: &str) {
    let length = if top > 0.0 { (value / top * BAR).round() } else { 0.0 };
    let bar: String =
        std::iter::successors(Some(1.0), |n| Some(n + 1.0)).take_while(|n| *n <= length).map(|_| '#').collect();
    let gap = if bar.is_empty() { "" } else { " " };
    out.line(&format!("  {label:<7}{bar}{gap}{told}"));
}

fn rates(view: &ReportView, out: &mut Lines) {
    out.heading("Failures this week, of tool-runs with a reported outcome");
    if view.modes.is_empty() {
        out.line("  No failure mode has a tool-run to count.");
    }
    for row in &view.modes {
        out.wrapped("  ", &format!("{}: {}", format::word(row.mode), format::rate(row.events, row.n, &row.rate)));
    }
}

fn none(day: DayRecord) -> &'static str {
    if day == DayRecord::NotYet { "not yet" } else { "no record" }
}

fn prints(view: &ReportView, out: &mut Lines) {
    out.heading("Prints a day (number; reported failures)");
    let counts = view.days.iter().map(|day| match day {
        DayRecord::Counted(counts) => f64::from(counts.all()),
        DayRecord::NotYet | DayRecord::NoRecord => 0.0,
    });
    let top = counts.fold(0.0, f64::max);
    for (label, day) in view.week.day_labels().iter().zip(view.days) {
        match day {
            DayRecord::Counted(counts) => {
                let told = format!("{} ({})", counts.all(), counts.with_failure);
                bar(out, label, f64::from(counts.all()), top.max(BAR / 4.0), &told);
            }
            DayRecord::NotYet | DayRecord::NoRecord => bar(out, label, 0.0, top, none(day)),
        }
    }
}

fn idle(view: &ReportView, out: &mut Lines) {
    out.heading("Waited hot a day (minutes, in contact)");
    if view.idle.is_empty() {
        out.line("  No tool was seen this week.");
    }
    let all = view.idle.iter().flat_map(|tool| tool.days.iter().flatten());
    let top = all.map(|idle| idle.as_minutes()).fold(0.0, f64::max);
    for tool in &view.idle {
        out.wrapped("  ", &format!("{} {}", tool.printer, format::tool(tool.tool)));
        for ((label, idle), day) in view.week.day_labels().iter().zip(tool.days).zip(view.days) {
            let told = idle.map_or_else(|| none(day).to_owned(), format::minutes);
            bar(out, label, idle.map_or(0.0, Seconds::as_minutes), top, &told);
        }
    }
}

fn worst(view: &ReportView, out: &mut Lines) {
    out.heading("Most cooked idle spans");
    if view.worst.is_empty() {
        out.line("  No idle span was measured this week.");
    }
    for span in &view.worst {
        out.wrapped("  - ", &chart::words(span, &view.zone));
    }
}

fn settings(view: &ReportView, out: &mut Lines) {
    out.heading("Settings in force, as of each tool's newest print of the week");
    if view.settings.is_empty() {
        out.line("  No print ran this week.");
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
    let mut groups: Vec<(String, Vec<&AlarmView>)> = Vec::new();
    for alarm in rest {
        let about = format::about(alarm.printer.as_deref(), alarm.tool, alarm.rule);
        let about = format!("{about} ({})", alarm.priority);
        match groups.iter_mut().find(|(of, _)| *of == about) {
            Some((_, mine)) => mine.push(alarm),
            None => groups.push((about, vec![alarm])),
        }
    }
    for (about, mine) in &groups {
        out.wrapped("  - ", &format!("{about}: {}", course(mine, view)));
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

/// How often alarms of one kind were raised and when, and how many of them still stand.
fn course(alarms: &[&AlarmView], view: &ReportView) -> String {
    let raised = || alarms.iter().map(|alarm| alarm.raised);
    let (Some(first), Some(last)) = (raised().min(), raised().max()) else { return String::new() };
    let when = |at| format::moment_short(at, &view.zone);
    let stand = match alarms.iter().filter(|alarm| alarm.returned.is_none()).count() {
        0 => "gone".to_owned(),
        n if n == alarms.len() => "still standing".to_owned(),
        n => format!("{n} still standing"),
    };
    match alarms.len() {
        1 => format!("raised {}, {stand}", when(first)),
        n => format!("raised {n} times, {} to {}, {stand}", when(first), when(last)),
    }
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

fn rest(view: &ReportView, out: &mut Lines) {
    let disagreed = disagreed(view);
    if !view.refused.is_empty() || disagreed.is_some() {
        out.heading("Contact");
    }
    if !view.refused.is_empty() {
        out.wrapped("  ", &page::refused(&view.refused));
    }
    if let Some(disagreed) = disagreed {
        out.wrapped("  ", &disagreed);
    }
    out.heading("Outcomes nobody reported");
    if view.unreported.is_empty() {
        out.line("  No ended print lacks one.");
    }
    for print in &view.unreported {
        let (name, began) = (page::name(print.name.as_deref()), format::moment_short(print.started, &view.zone));
        out.wrapped("  - ", &format!("print {}: {name}, {}, {began}", print.id, print.printer));
    }
    out.heading("What the whole record says");
    if view.learned.is_empty() {
        out.line("  Nothing yet.");
    }
    for row in &view.learned {
        let count = format::of(row.events, row.n);
        out.wrapped("  ", &format!("{}: {count} tool-runs, {}", format::word(row.mode), state(row.state)));
    }
}
