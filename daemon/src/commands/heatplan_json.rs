//! A heat plan as one JSON document: every figure that the text tells, with its unit in its name, to a thousandth.

use crate::json::known;
use dwell_analysis::units::{DoseMinutes, Seconds};
use dwell_dashboards::view::{HeatPlanTool, HeatPlanView};
use serde_json::{Map, Value, json};

pub(super) fn document(view: &HeatPlanView) -> Value {
    known(json!({
        "file": view.file,
        "out": view.out,
        "printer": view.printer,
        "certainty": view.certainty,
        "lasts_s": thousandth(view.lasts.get()),
        "longer_s": thousandth(view.longer.get()),
        "longer_at_worst_s": thousandth(view.longer_at_worst.get()),
        "turns_checked": view.turns,
        "pace_prints": view.pace_prints,
        "tools": view.tools.iter().map(tool).collect::<Vec<_>>(),
    }))
}

fn tool(tool: &HeatPlanTool) -> Value {
    let alone: Map<String, Value> = tool.alone.iter().map(|(why, n)| ((*why).to_owned(), json!(n))).collect();
    let both = |[before, after]: [f64; 2]| json!({"before": thousandth(before), "after": thousandth(after)});
    known(json!({
        "tool": tool.number,
        "material": tool.material,
        "standby_c": tool.standby.get(),
        "standby_from": tool.standby_from,
        "waits": tool.waits,
        "drops": tool.drops,
        "left_alone": alone,
        "heated_later": tool.is_heated_later,
        "off_after_last_use": tool.is_off_after,
        "hot_s": both(tool.hot.map(Seconds::get)),
        "dose_min": both(tool.dose.map(DoseMinutes::get)),
        "lines": tool.lines,
        "heater": if tool.fitted.is_some() { "fitted" } else { "typical" },
        "cooldowns": tool.fitted.map(|[down, _]| down),
        "heatups": tool.fitted.map(|[_, up]| up),
    }))
}

fn thousandth(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}
