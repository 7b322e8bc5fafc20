//! The weekly report as JSON: every number that the HTML shows. Absent means unknown.

use super::{alarm_figures, known};
use crate::stamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Probability, Seconds};
use dwell_dashboards::view::{
    AlarmView, DayCounts, DayRecord, LearnedRow, ModeRow, ReportView, Setting, SpanRow, ToolSettings, ToolWeek,
};
use serde_json::{Value, json};

/// The whole report as one document.
pub(crate) fn write(view: &ReportView) -> serde_json::Result<String> {
    serde_json::to_string(&json!({
        "week": view.week.to_string(),
        "from": stamp::write(view.from),
        "to": stamp::write(view.to),
        "as_of": stamp::write(view.as_of),
        "first_reading": view.first_reading.map(stamp::write),
        "rehearsal": view.rehearsal,
        "days": view.week.day_labels().iter().zip(&view.days).map(|(label, day)| self::day(label, *day)).collect::<Vec<_>>(),
        "modes": view.modes.iter().map(mode).collect::<Vec<_>>(),
        "idle": view.idle.iter().map(tool).collect::<Vec<_>>(),
        "worst_spans": view.worst.iter().map(span).collect::<Vec<_>>(),
        "settings": view.settings.iter().map(settings).collect::<Vec<_>>(),
        "tool_disagreements": view.disagreements,
        "alarms": view.alarms.iter().map(alarm).collect::<Vec<_>>(),
        "quiet_alarms": view.n_quiet_alarms,
        "alarm_figures": view.alarm_figures.as_ref().map(alarm_figures),
        "gaps": {"n": view.gaps.n, "total_s": view.gaps.total.get()},
        "refused": view.refused.iter().map(|row| json!({"reason": row.reason, "n": row.n})).collect::<Vec<_>>(),
        "unreported": view.unreported.iter().map(|print| known(json!({
            "print": print.id, "printer": print.printer, "name": print.name, "started": stamp::write(print.started),
        }))).collect::<Vec<_>>(),
        "learned": view.learned.iter().map(learned).collect::<Vec<_>>(),
    }))
}

fn day(label: &str, day: DayRecord) -> Value {
    match day {
        DayRecord::NotYet => json!({"day": label, "record": "not_yet"}),
        DayRecord::NoRecord => json!({"day": label, "record": "none"}),
        DayRecord::Counted(counts) => {
            let DayCounts { completed, cancelled, failed, unknown, running, with_failure, unreported } = counts;
            json!({
                "day": label, "record": "counted", "prints": counts.all(), "completed": completed,
                "cancelled": cancelled, "failed": failed, "unknown": unknown, "running": running,
                "with_failure": with_failure, "unreported": unreported,
            })
        }
    }
}

fn mode(row: &ModeRow) -> Value {
    let rate = row.rate.as_ref().ok().map(|rate| {
        let [low, mean, high] = [rate.low, rate.value, rate.high].map(Probability::get);
        json!({"mean": mean, "low": low, "high": high})
    });
    known(json!({
        "mode": row.mode, "events": row.events, "n": row.n, "rate": rate, "no_rate": row.rate.as_ref().err(),
    }))
}

fn tool(row: &ToolWeek) -> Value {
    let minutes = row.days.map(|day| day.map(Seconds::as_minutes));
    json!({"printer": row.printer, "tool": row.tool, "idle_hot_min": minutes})
}

fn span(row: &SpanRow) -> Value {
    known(json!({
        "printer": row.printer, "print": row.print, "tool": row.tool, "context": row.context,
        "began": stamp::write(row.began), "ended": row.ended.map(stamp::write), "idle_s": row.idle.get(),
        "gap_s": row.gap.get(), "mean_c": row.mean.map(Celsius::get), "max_c": row.max.map(Celsius::get),
        "target_c": row.target.map(Celsius::get), "dose_min": row.dose.map(DoseMinutes::get),
        "limit_min": row.limit.get(), "ooze_mm3": row.ooze.map(CubicMm::get),
    }))
}

fn settings(row: &ToolSettings) -> Value {
    let told = &row.settings;
    known(json!({
        "printer": row.printer, "tool": row.tool, "print": row.print, "name": row.name, "prints": row.n,
        "job_files": row.n_files, "material": told.material, "print_c": setting(told.print, Celsius::get),
        "standby_c": setting(told.standby, Celsius::get), "retract_mm": setting(told.retract, Millimetres::get),
        "retract_mm_s": setting(told.retract_mm_s, |speed| speed), "prime_mm3": setting(told.prime, CubicMm::get),
        "ooze_shield": told.ooze_shield, "dried": told.dried,
    }))
}

fn setting<T: Copy>(told: Option<Setting<T>>, number: impl Fn(T) -> f64) -> Option<Value> {
    told.map(|told| match told {
        Setting::Typed(value) => json!({"value": number(value), "from": "typed"}),
        Setting::JobFile { value, typed } => {
            known(json!({"value": number(value), "from": "job_file", "typed": typed.map(&number)}))
        }
    })
}

fn alarm(row: &AlarmView) -> Value {
    known(json!({
        "printer": row.printer, "tool": row.tool, "rule": row.rule, "priority": row.priority, "state": row.state,
        "raised": stamp::write(row.raised), "returned": row.returned.map(stamp::write),
        "acknowledged": row.acknowledged.map(stamp::write), "right": row.is_right, "cause": row.cause, "consequence": row.consequence,
        "action": row.action,
    }))
}

fn learned(row: &LearnedRow) -> Value {
    json!({"mode": row.mode, "state": row.state, "n": row.n, "events": row.events})
}
