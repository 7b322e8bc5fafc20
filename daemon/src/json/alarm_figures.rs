//! How the alarms did.

use super::{MeanJson, known};
use crate::stamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{AlarmFigures, PriorityShare, StaleAlarm, SubjectCount};
use serde_json::{Value, json};

/// Every number that people see; absent means unknown.
pub(crate) fn document(figures: &AlarmFigures) -> Value {
    let quiet = figures.quiet;
    let (times, marked) = (&figures.acknowledged, &figures.marked);
    let seconds = |time: &Result<Seconds, String>| time.as_ref().ok().map(|time| time.get());
    known(json!({
        "from": stamp::write(figures.from),
        "to": stamp::write(figures.to),
        "n": figures.n_alarms,
        "n_suppressed_by_design": quiet.n_suppressed,
        "n_shelved": quiet.n_shelved,
        "n_out_of_service": quiet.n_out_of_service,
        "a_day": figures.a_day.as_ref().ok().map(MeanJson::from),
        "days": figures.days,
        "most_in_10_min": figures.most_in_ten_minutes,
        "share_of_10_min_over_10": figures.busy_ten_minutes,
        "share_of_hours_over_30": figures.busy_hours,
        "in_flood_s": figures.in_flood.get(),
        "share_in_flood": figures.flood_share,
        "priorities": figures.priorities.iter().map(priority).collect::<Vec<_>>(),
        "most_frequent": figures.most_frequent.iter().map(subject).collect::<Vec<_>>(),
        "most_frequent_share": figures.most_frequent_share,
        "chattering": figures.chattering.iter().map(subject).collect::<Vec<_>>(),
        "standing_over_24_h": figures.stale.iter().map(stale).collect::<Vec<_>>(),
        "acknowledged": known(json!({
            "n_asked": times.n_asked,
            "n_never": times.n_never,
            "n_superseded": times.n_superseded,
            "median_s": seconds(&times.median),
            "nine_in_ten_s": seconds(&times.nine_in_ten),
        })),
        "marked": known(json!({
            "n_right": marked.n_right,
            "n_false": marked.n_false,
            "n_unmarked": marked.n_unmarked,
            "false_share": marked.false_share.as_ref().ok().map(MeanJson::from),
        })),
    }))
}

fn priority(of: &PriorityShare) -> Value {
    let share = of.share.as_ref().ok().map(MeanJson::from);
    known(json!({"priority": of.priority, "n": of.n, "share": share, "wanted": of.benchmark}))
}

fn subject(of: &SubjectCount) -> Value {
    known(json!({"printer": of.printer, "tool": of.tool, "rule": of.rule, "n": of.n}))
}

fn stale(of: &StaleAlarm) -> Value {
    let (raised, stood) = (stamp::write(of.raised), of.stood.get());
    known(json!({"printer": of.printer, "tool": of.tool, "rule": of.rule, "raised": raised, "stood_s": stood}))
}
