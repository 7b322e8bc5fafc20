//! A heat plan as one JSON document: every figure that the text tells, with its unit in its name.

use dwell_dashboards::view::{HeatPlanTool, HeatPlanView};
use serde_json::{Map, Value, json};

pub(super) fn document(view: &HeatPlanView) -> Value {
    let mut document = json!({
        "file": view.file,
        "out": view.out,
        "printer": view.printer,
        "certainty": view.certainty,
        "lasts_s": view.lasts.get(),
        "longer_s": view.longer.get(),
        "longer_at_worst_s": view.longer_at_worst.get(),
        "turns_checked": view.turns,
        "tools": view.tools.iter().map(tool).collect::<Vec<_>>(),
    });
    if let (Some(n), Some(fields)) = (view.pace_prints, document.as_object_mut()) {
        fields.insert("pace_prints".to_owned(), json!(n));
    }
    document
}

fn tool(tool: &HeatPlanTool) -> Value {
    let alone: Map<String, Value> = tool.alone.iter().map(|(why, n)| ((*why).to_owned(), json!(n))).collect();
    let both = |[before, after]: [f64; 2]| json!({"before": before, "after": after});
    let mut document = json!({
        "tool": tool.number,
        "standby_c": tool.standby.get(),
        "standby_from": tool.standby_from,
        "waits": tool.waits,
        "drops": tool.drops,
        "left_alone": alone,
        "heated_later": tool.is_heated_later,
        "off_after_last_use": tool.is_off_after,
        "hot_s": both(tool.hot.map(dwell_analysis::units::Seconds::get)),
        "dose_min": both(tool.dose.map(dwell_analysis::units::DoseMinutes::get)),
        "lines": tool.lines,
        "heater": if tool.fitted.is_some() { "fitted" } else { "typical" },
    });
    if let Some(fields) = document.as_object_mut() {
        if let Some(material) = &tool.material {
            fields.insert("material".to_owned(), json!(material));
        }
        if let Some([down, up]) = tool.fitted {
            fields.insert("cooldowns".to_owned(), json!(down));
            fields.insert("heatups".to_owned(), json!(up));
        }
    }
    document
}
