//! The report as JSON: every number that the HTML shows. Absent means unknown.

use super::learned::SilenceJson;
use super::part::PartInUse;
use super::trials::TrialJson;
use super::{SuggestionJson, alarm_figures, known};
use crate::stamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Probability, Seconds};
use dwell_dashboards::format;
use dwell_dashboards::view::{
    AlarmView, Before, ContactRow, DayCounts, DayRecord, Failures, IfSilent, LearnedRow, ModeRow, RateInterval,
    ReportView, Setting, SpanRow, ToolIdle, ToolSettings,
};
use serde_json::{Value, json};

/// The whole report as one document.
pub(crate) fn write(view: &ReportView) -> serde_json::Result<String> {
    let counted = json!({
        "week": view.period.week().map(|week| week.to_string()),
        "period": view.period.to_string(),
        "part": view.period.part_name(),
        "zone": format::zone_name(&view.zone),
        "from": stamp::write(view.from),
        "to": stamp::write(view.to),
        "as_of": stamp::write(view.as_of),
        "first_reading": view.first_reading.map(stamp::write),
        "rehearsal": view.rehearsal,
        "days": view.period.parts().iter().zip(&view.days).map(|(part, day)| self::day(&part.label, *day)).collect::<Vec<_>>(),
        "prints": failures(&view.prints),
        "tool_runs": failures(&view.runs),
        "before": view.before.as_ref().map(before),
        "modes": modes(view),
        "idle": view.idle.iter().map(tool).collect::<Vec<_>>(),
        "worst_spans": view.worst.iter().map(span).collect::<Vec<_>>(),
        "settings": view.settings.iter().map(settings).collect::<Vec<_>>(),
        "tool_disagreements": view.disagreements,
        "alarms": view.alarms.iter().map(alarm).collect::<Vec<_>>(),
        "quiet_alarms": view.n_quiet_alarms,
        "alarm_figures": view.alarm_figures.as_ref().map(alarm_figures),
        "standing": view.standing.iter().map(alarm).collect::<Vec<_>>(),
        "gaps": {"n": view.gaps.n, "total_s": view.gaps.total.get()},
        "contact": view.contact.iter().map(contact).collect::<Vec<_>>(),
        "refused": view.refused.iter().map(|row| json!({"reason": row.reason, "n": row.n})).collect::<Vec<_>>(),
        "total": view.total().map(|total| counts(&total)),
        "unreported": view.unreported.iter().map(|print| known(json!({
            "print": print.id, "printer": print.printer, "name": print.name, "started": stamp::write(print.started),
        }))).collect::<Vec<_>>(),
        "if_silent": view.if_silent.as_ref().map(if_silent),
    });
    serde_json::to_string(&merged(counted, worked(view)))
}

/// What was worked out of the whole record.
fn worked(view: &ReportView) -> Value {
    json!({
        "learned_at": stamp::write(view.learned_at),
        "recorded": {
            "prints": view.recorded.prints, "reported": view.recorded.reported,
            "unreported": view.recorded.prints.saturating_sub(view.recorded.reported),
        },
        "learned": view.learned.iter().map(learned).collect::<Vec<_>>(),
        "suggestion": view.suggestion.as_ref().map(SuggestionJson::from),
        "trials": view.trials.iter().map(TrialJson::from).collect::<Vec<_>>(),
        "open_trials": view.open_trials.iter().map(TrialJson::from).collect::<Vec<_>>(),
        "parts": view.parts.iter().map(PartInUse::from).collect::<Vec<_>>(),
        "silence": SilenceJson::from(&view.silence),
    })
}

fn merged(mut one: Value, other: Value) -> Value {
    if let (Value::Object(fields), Value::Object(more)) = (&mut one, other) {
        fields.extend(more);
    }
    one
}

fn rate(of: &RateInterval) -> Value {
    let [low, mean, high] = [of.low, of.value, of.high].map(Probability::get);
    json!({"mean": mean, "low": low, "high": high})
}

fn failures(of: &Failures) -> Value {
    known(json!({
        "events": of.events, "n": of.n, "rate": of.rate.as_ref().ok().map(rate), "no_rate": of.rate.as_ref().err(),
    }))
}

fn before(of: &Before) -> Value {
    json!({"period": of.period.to_string(), "prints": failures(&of.prints), "tool_runs": failures(&of.runs)})
}

fn if_silent(of: &IfSilent) -> Value {
    json!({"n": of.n, "clean": rate(&of.clean), "failed": rate(&of.failed)})
}

fn contact(row: &ContactRow) -> Value {
    let watched = (row.span.get() - row.gap.get()) / row.span.get();
    known(json!({
        "printer": row.printer, "span_s": row.span.get(), "gap_s": row.gap.get(), "gaps": row.n,
        "in_contact": Some(watched).filter(|share| share.is_finite()),
    }))
}

fn day(label: &str, day: DayRecord) -> Value {
    match day {
        DayRecord::NotYet => json!({"day": label, "record": "not_yet"}),
        DayRecord::NoRecord => json!({"day": label, "record": "none"}),
        DayRecord::Counted(counts) => merged(json!({"day": label, "record": "counted"}), self::counts(&counts)),
    }
}

fn counts(of: &DayCounts) -> Value {
    let DayCounts { completed, cancelled, failed, unknown, running, with_failure, unreported } = *of;
    json!({
        "prints": of.all(), "completed": completed, "cancelled": cancelled, "failed": failed, "unknown": unknown,
        "running": running, "with_failure": with_failure, "unreported": unreported,
    })
}

/// With the share of all failures that each mode and those before it make up.
fn modes(view: &ReportView) -> Vec<Value> {
    let with_share = |(row, share): (&ModeRow, Option<f64>)| merged(mode(row), known(json!({"share_so_far": share})));
    view.modes.iter().zip(view.shares_so_far()).map(with_share).collect()
}

fn mode(row: &ModeRow) -> Value {
    known(json!({
        "mode": row.mode, "events": row.events, "tool_not_told": row.unplaced, "n": row.n, "rate": row.rate.as_ref().ok().map(rate),
        "no_rate": row.rate.as_ref().err(),
    }))
}

fn tool(row: &ToolIdle) -> Value {
    let minutes: Vec<_> = row.days.iter().map(|day| day.map(Seconds::as_minutes)).collect();
    let total = row.days.iter().flatten().copied().reduce(|a, b| a + b).map(Seconds::as_minutes);
    let dose = row.dose.map(DoseMinutes::get);
    json!({
        "printer": row.printer, "tool": row.tool, "idle_hot_min": minutes, "idle_hot_total_min": total,
        "dose_min": dose, "spans": row.spans,
        "over_limit": row.over,
    })
}

fn span(row: &SpanRow) -> Value {
    let of_limit = row.dose.filter(|_| row.limit.get() > 0.0).map(|dose| dose.get() / row.limit.get());
    known(json!({
        "printer": row.printer, "print": row.print, "tool": row.tool, "context": row.context,
        "began": stamp::write(row.began), "ended": row.ended.map(stamp::write), "idle_s": row.idle.get(),
        "gap_s": row.gap.get(), "mean_c": row.mean.map(Celsius::get), "max_c": row.max.map(Celsius::get),
        "target_c": row.target.map(Celsius::get), "dose_min": row.dose.map(DoseMinutes::get),
        "limit_min": row.limit.get(), "of_limit": of_limit, "ooze_mm3": row.ooze.map(CubicMm::get),
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
    let together: f64 = row.groups.iter().map(|(_, probability)| probability).sum();
    let groups = row.groups.iter().map(|(of, probability)| json!({"group": of.name(), "probability": probability}));
    known(json!({
        "mode": row.mode, "state": row.state.name(), "n": row.n, "events": row.events,
        "tool_not_told": row.unplaced, "groups": groups.collect::<Vec<_>>(), "together": together, "nothing": row.nothing, "more_prints": row.more_prints,
    }))
}
