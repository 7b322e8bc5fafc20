//! The parts that follow the first page, as sentences and tables. Owns what is told of each; nothing is told of what is
//! not there.

use super::brief::{reason, trial_line, verdict_line};
use super::modes::without_tool;
use super::section::Section;
use super::summary::disagreed;
use crate::learn::words::{capital, chance, counted, group, state_word};
use crate::view::{
    AlarmView, BothReadings, ContactRow, DayRecord, LearnedRow, PartView, ReadingView, ReportView, ToolIdle,
};
use crate::{chart, format, page, parts};
use dwell_analysis::risk::State;
use dwell_analysis::units::Seconds;
use jiff::tz::TimeZone;

/// Prints a part of the period, for whoever draws no chart.
pub(super) fn prints(view: &ReportView) -> Section {
    let rows = view.period.parts().into_iter().zip(&view.days).map(|(part, day)| match day {
        DayRecord::Counted(counts) => {
            vec![part.label, counts.all().to_string(), counts.with_failure.to_string(), counts.unreported.to_string()]
        }
        DayRecord::NotYet => vec![part.label, "not yet".to_owned(), String::new(), String::new()],
        DayRecord::NoRecord => vec![part.label, "no record".to_owned(), String::new(), String::new()],
    });
    Section::tabled("Prints", Vec::new(), &["Begun", "Prints", "Failure reported", "No outcome"], rows.collect())
}

/// What waiting came to, a tool a row.
pub(super) fn heat(view: &ReportView) -> Section {
    const HEADING: &str = "Idle heat per tool";
    if view.idle.is_empty() {
        return Section::said(HEADING, vec!["No tool was seen.".to_owned()]);
    }
    let row = |tool: &ToolIdle| {
        let waited = tool.days.iter().flatten().copied().reduce(|a, b| a + b);
        vec![
            format!("{} {}", tool.printer, format::tool(tool.tool)),
            waited.map_or_else(|| format::NOT_MEASURED.to_owned(), format::duration),
            tool.dose.map_or_else(|| format::NOT_MEASURED.to_owned(), format::dose),
            tool.spans.to_string(),
            tool.over.to_string(),
        ]
    };
    let head = ["Tool", "Waited hot", "Dose, all spans", "Idle spans", "Over the limit"];
    Section::tabled(HEADING, Vec::new(), &head, view.idle.iter().map(row).collect())
}

/// The worst spans, for whoever draws no chart.
pub(super) fn worst(view: &ReportView) -> Section {
    const HEADING: &str = "Most cooked idle spans";
    let lines: Vec<String> = view.worst.iter().map(|span| chart::words(span, &view.zone)).collect();
    if lines.is_empty() {
        Section::said(HEADING, vec!["No idle span was measured.".to_owned()])
    } else {
        Section::said(HEADING, lines)
    }
}

/// Trials that were open in the period.
pub(super) fn trials(view: &ReportView) -> Section {
    const HEADING: &str = "Trials";
    if view.trials.is_empty() {
        return Section::said(HEADING, vec![format!("None was open in this {}.", view.period.noun())]);
    }
    let rows = view.trials.iter().map(|trial| {
        let seen = |seen: usize, n: usize| if n == 0 { "none yet".to_owned() } else { format!("{seen} of {n}") };
        let figures = trial.figures.map_or_else(
            || [seen(0, 0), format::NOT_MEASURED.to_owned(), seen(0, 0)],
            |of| {
                let expected = format!("{:.1} ({:.1} to {:.1})", of.expected.value, of.expected.low, of.expected.high);
                [seen(of.seen, of.n_changed), expected, seen(of.seen_as_before, of.n_as_before)]
            },
        );
        let [changed, expected, before] = figures;
        vec![
            format!("{}: {}", crate::trials::whose(trial), crate::trials::change(&trial.change)),
            changed,
            expected,
            before,
        ]
    });
    let rows: Vec<Vec<String>> = rows.collect();
    let lines = view.trials.iter().map(|trial| verdict_line(trial).unwrap_or_else(|| trial_line(trial))).collect();
    Section::tabled(HEADING, lines, &["Trial", "Failed with it", "Expected without (90 %)", "Failed as before"], rows)
}

/// Parts in use: what they went through, and by when to replace them.
pub(super) fn parts_in_use(view: &ReportView) -> Section {
    const HEADING: &str = "Parts";
    if view.parts.is_empty() {
        return Section::said(HEADING, vec!["No part change is on record, so the wear of none is known.".to_owned()]);
    }
    let line = |part: &PartView| match &part.expected {
        Ok(expected) => format!("{} {} {}", parts::used(part), parts::left(expected), parts::replace(part, expected)),
        Err(reason) => format!("{} Nothing is expected of it: {reason}.", parts::used(part)),
    };
    Section::said(HEADING, view.parts.iter().map(line).collect())
}

/// A line for all alarms of one kind.
pub(super) fn alarms_by_kind(alarms: &[&AlarmView], zone: &TimeZone) -> Vec<String> {
    let mut groups: Vec<(String, Vec<&AlarmView>)> = Vec::new();
    for alarm in alarms {
        let about = format::about(alarm.printer.as_deref(), alarm.tool, alarm.rule);
        let about = format!("{about} ({})", alarm.priority);
        match groups.iter_mut().find(|(of, _)| *of == about) {
            Some((_, mine)) => mine.push(alarm),
            None => groups.push((about, vec![alarm])),
        }
    }
    groups.iter().map(|(about, mine)| format!("{about}: {}", course(mine, zone))).collect()
}

/// How often alarms of one kind were raised and when, and how many of them still stand.
fn course(alarms: &[&AlarmView], zone: &TimeZone) -> String {
    let raised = || alarms.iter().map(|alarm| alarm.raised);
    let (Some(first), Some(last)) = (raised().min(), raised().max()) else { return String::new() };
    let when = |at| format::moment_short(at, zone);
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

/// How much of the period each printer was watched.
pub(super) fn contact(view: &ReportView) -> Section {
    let mut lines = Vec::new();
    if view.contact.is_empty() {
        lines.push("Nothing was recorded.".to_owned());
    }
    if !view.refused.is_empty() {
        lines.push(format!("{}.", capital(&page::refused(&view.refused))));
    }
    lines.extend(disagreed(view));
    let row = |row: &ContactRow| {
        let watched = row.span.get().max(0.0) - row.gap.get();
        let share = if row.span > Seconds::ZERO {
            format::percent_down(watched / row.span.get())
        } else {
            format::NOT_MEASURED.to_owned()
        };
        let gaps = match row.n {
            0 => "none".to_owned(),
            n => format!("{}, {} in all", format::counted(n, "gap"), format::duration(row.gap)),
        };
        vec![row.printer.clone(), share, gaps]
    };
    let rows = view.contact.iter().map(row).collect();
    Section::tabled("Data gaps", lines, &["Printer", "In contact", "Without contact"], rows)
}

/// Prints that nobody told the outcome of, one a line.
pub(super) fn unreported(view: &ReportView) -> Section {
    let line = |print: &crate::view::UnreportedPrint| {
        let began = format::moment_short(print.started, &view.zone);
        format!("Print {}: {}, {}, {began}", print.id, page::name(print.name.as_deref()), print.printer)
    };
    let lines: Vec<String> = view.unreported.iter().map(line).collect();
    let none = || vec!["No ended print lacks one.".to_owned()];
    Section::said("Outcomes nobody reported", if lines.is_empty() { none() } else { lines })
}

/// What would change if what is not known were otherwise.
pub(super) fn sensitivity(view: &ReportView) -> Section {
    let mut lines = Vec::new();
    if let Some(silent) = &view.if_silent {
        let n = counted(usize::try_from(silent.n).unwrap_or(usize::MAX), "print");
        lines.push(format!(
            "{} of this {} had no word on the outcome. Had all of them been clean, {} of prints would have failed; had all failed, {}.",
            capital(&n),
            view.period.noun(),
            format::interval(silent.clean),
            format::interval(silent.failed),
        ));
    } else if view.prints.n > 0 {
        lines.push(format!(
            "Every ended print of this {} has an outcome: nothing hides in silence.",
            view.period.noun()
        ));
    }
    lines.extend(silence(view));
    for row in view.learned.iter().filter(|row| row.state != State::TooLittle && row.groups.len() > 1) {
        let named: Vec<String> =
            row.groups.iter().map(|(of, probability)| format!("{} {}", group(*of), chance(*probability))).collect();
        let all: f64 = row.groups.iter().map(|(_, probability)| probability).sum();
        lines.push(format!(
            "{}: {}; together {}, nothing recorded {}.",
            capital(&format::word(row.mode)),
            named.join(", "),
            chance(all),
            chance(row.nothing),
        ));
    }
    if lines.is_empty() {
        lines.push("There is nothing yet that could turn out otherwise.".to_owned());
    }
    Section::said("How sure this is", lines)
}

/// What reading silence the other way would change in what was learned.
fn silence(view: &ReportView) -> Vec<String> {
    let silence = &view.silence;
    if silence.prints == 0 {
        return Vec::new();
    }
    let means = |clean: bool| if clean { "clean" } else { "unknown" };
    let (shown, other) = (means(silence.means_clean), means(!silence.means_clean));
    let n = counted(silence.prints, "print");
    let differing: Vec<&BothReadings> = silence.readings.iter().filter(|both| both.differ()).collect();
    if differing.is_empty() {
        return vec![format!(
            "Silence on {n} of the whole record counts as {shown}; as {other} it would change nothing that was learned."
        )];
    }
    let head =
        format!("Silence on {n} of the whole record counts as {shown}. It matters: as {other}, this would differ.");
    let each = differing.into_iter().map(|both| {
        format!(
            "{}: {shown}: {}; {other}: {}.",
            capital(&format::word(both.mode)),
            reading(&both.shown),
            reading(&both.other)
        )
    });
    std::iter::once(head).chain(each).collect()
}

fn reading(of: &ReadingView) -> String {
    let rate = match &of.rate {
        Ok(rate) => format!("{} of {}, {}", of.events, of.n, crate::learn::words::interval(rate)),
        Err(refusal) => format!("no rate ({refusal})"),
    };
    format!("{rate}, {}", state_word(of.state))
}

/// What the whole record says of each mode that ever happened.
pub(super) fn learned(view: &ReportView) -> Section {
    const HEADING: &str = "What the whole record says";
    let (told, never): (Vec<&LearnedRow>, Vec<_>) = view.learned.iter().partition(|row| row.events > 0);
    let mut lines: Vec<String> =
        told.iter().map(|row| format!("{}: {}.", capital(&format::word(row.mode)), reason(row))).collect();
    let (unplaced, never): (Vec<&LearnedRow>, Vec<_>) = never.into_iter().partition(|row| row.unplaced > 0);
    lines.extend(unplaced.iter().map(|row| format!("{}.", capital(&without_tool(row.mode, row.unplaced)))));
    if !never.is_empty() && !lines.is_empty() {
        let names: Vec<String> = never.iter().map(|row| format::word(row.mode)).collect();
        lines.push(format!("Never reported: {}.", names.join(", ")));
    }
    if lines.is_empty() {
        lines.push("Nothing yet.".to_owned());
    } else {
        lines.push("What goes together is not yet a cause: what was not recorded may lie behind both.".to_owned());
    }
    Section::said(HEADING, lines)
}
