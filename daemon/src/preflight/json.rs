//! A preflight as JSON: every number that page and text show. Absent means unknown.

use crate::json::known;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres, Probability, Seconds};
use dwell_dashboards::view::{
    FindingView, PreflightView, PurgeSpot, RetractionsAhead, RiskAhead, SpreadView, ToolAhead, UnreadView, VisitAhead,
};
use serde_json::{Value, json};

/// The whole preflight as one document.
#[must_use]
pub fn document(view: &PreflightView) -> Value {
    let pace = view.pace.as_ref().ok();
    let document = known(json!({
        "file": view.file,
        "printer": view.printer,
        "bytes": view.bytes,
        "lines": view.lines,
        "layers": view.layers,
        "begins_s": view.begins.map(Seconds::get),
        "ends_s": view.ends.get(),
        "expected_s": view.expected().map(Seconds::get),
        "expected_by_file_s": view.expected_by_file().map(Seconds::get),
        "pace": pace.map(|pace| json!({"mean": pace.value, "low": pace.low, "high": pace.high, "n": pace.n})),
        "no_pace": view.pace.as_ref().err(),
        "heating_s": view.heating.get(),
        "tools": view.tools.iter().map(tool).collect::<Vec<_>>(),
        "risks": view.risks.iter().map(risk).collect::<Vec<_>>(),
        "findings": view.findings.iter().map(finding).collect::<Vec<_>>(),
        "unread": unread(&view.unread),
        "visits": view.visits.iter().map(visit).collect::<Vec<_>>(),
        "visits_left_out": view.visits_left_out,
    }));
    rounded("", document)
}

fn tool(tool: &ToolAhead) -> Value {
    let waits = tool.waits;
    let limit = tool.limit.get();
    known(json!({
        "tool": tool.number,
        "material": tool.material,
        "heater": if tool.heater_fitted.is_some() { "fitted" } else { "typical" },
        "heater_n": tool.heater_fitted,
        "visits": tool.visits,
        "layers": tool.layers,
        "filament_mm": tool.filament.get(),
        "print_c": tool.print.map(Celsius::get),
        "target_max_c": tool.target_max.map(Celsius::get),
        "standby_c": tool.standby.mode,
        "standby": spread(&tool.standby),
        "switched_off": tool.switched_off,
        "left": tool.left,
        "left_hot": tool.left_hot,
        "waits": known(json!({
            "count": waits.n,
            "total_s": waits.total.get(),
            "longest_s": waits.longest.get(),
            "longest_at_s": waits.longest_at.map(Seconds::get),
            "mean_c": waits.mean.map(Celsius::get),
            "max_c": waits.max.map(Celsius::get),
        })),
        "dose_min": tool.dose_max.get(),
        "limit_min": limit,
        "dose_share": (limit > 0.0).then(|| tool.dose_max.get() / limit),
        "ooze_mm3": tool.ooze.get(),
        "retractions": retractions(&tool.retractions),
        "purge_mm3": tool.purge.mode,
        "purge": spread(&tool.purge),
        "purge_place": tool.purge_place.map(purge_place),
        "restarts": spread(&tool.restart),
    }))
}

fn retractions(of: &RetractionsAhead) -> Value {
    known(json!({
        "n": of.n,
        "length_mm": of.length.mode,
        "length": spread(&of.length),
        "speed_mm_s": of.speed.mode,
        "speed": spread(&of.speed),
        "extra": spread(&of.extra),
        "untold": of.untold,
        "per_metre": of.per_metre,
        "on_one_spot": of.on_one_spot,
    }))
}

fn spread(of: &SpreadView) -> Value {
    known(json!({
        "n": of.n, "min": of.min, "mode": of.mode, "max": of.max, "mode_share": of.mode_share, "mean": of.mean,
    }))
}

fn risk(risk: &RiskAhead) -> Value {
    let probability = risk.probability.as_ref().ok().map(|found| {
        let [low, mean, high] = [found.low, found.value, found.high].map(Probability::get);
        json!({"mean": mean, "low": low, "high": high})
    });
    known(json!({
        "tool": risk.tool, "mode": risk.mode, "state": risk.state, "n": risk.n, "events": risk.events,
        "probability": probability, "refused": risk.probability.as_ref().err(),
    }))
}

fn finding(found: &FindingView) -> Value {
    known(json!({
        "id": found.id, "gravity": found.gravity, "tool": found.tool,
        "text": format!("{} {} {}", found.cause, found.consequence, found.action),
        "cause": found.cause, "consequence": found.consequence, "action": found.action,
        "n": found.n, "of": found.of, "at_s": found.at.map(Seconds::get), "byte": found.byte,
    }))
}

fn unread(of: &UnreadView) -> Value {
    let named = |all: &[(String, u64)]| all.iter().map(|(name, n)| json!({"name": name, "n": n})).collect::<Vec<_>>();
    let fault = |(fault, n, line): &(String, u64, u64)| json!({"fault": fault, "n": n, "first_line": line});
    json!({
        "codes": named(&of.codes),
        "macros": named(&of.macros),
        "faults": of.faults.iter().map(fault).collect::<Vec<_>>(),
        "other": of.other,
        "tool_out_of_range": of.tool_out_of_range,
    })
}

/// A box is taken for a purge by its place alone.
fn purge_place(place: PurgeSpot) -> Value {
    match place {
        PurgeSpot::Spot([x, y]) => json!({"at": "spot", "x_mm": x, "y_mm": y}),
        PurgeSpot::Box([least, most]) => json!({"at": "box", "least_mm": least, "most_mm": most}),
    }
}

/// What no file tells to a finer digit: temperatures to a hundredth, all other figures to a thousandth, shares
/// and factors as they are.
fn rounded(name: &str, value: Value) -> Value {
    match value {
        Value::Number(number) => match (number.is_f64(), number.as_f64(), digits(name)) {
            (true, Some(exact), Some(scale)) => json!((exact * scale).round() / scale),
            _ => Value::Number(number),
        },
        Value::Array(items) => items.into_iter().map(|item| rounded(name, item)).collect(),
        Value::Object(fields) => fields
            .into_iter()
            .map(|(own, value)| {
                let value = rounded(if is_part(&own) { name } else { &own }, value);
                (own, value)
            })
            .collect(),
        other => other,
    }
}

/// A figure of a spread, which is of the spread's kind.
fn is_part(name: &str) -> bool {
    matches!(name, "min" | "mode" | "max" | "mean" | "low" | "high")
}

fn digits(name: &str) -> Option<f64> {
    match name {
        "pace" | "probability" | "dose_share" | "mode_share" => None,
        name if name.ends_with("_c") || matches!(name, "standby" | "restarts") => Some(100.0),
        _ => Some(1000.0),
    }
}

fn visit(of: &VisitAhead) -> Value {
    let restart = of.restart.map(|restart| {
        known(json!({
            "at_s": restart.at.get(), "target_c": restart.target.map(Celsius::get),
            "expected_c": restart.expected.get(), "waited_s": restart.waited.get(),
        }))
    });
    known(json!({
        "tool": of.tool, "byte": of.byte, "began_s": of.began.get(), "ended_s": of.ended.get(),
        "extruded_mm3": CubicMm::get(of.extruded), "purge_mm3": of.purge.get(),
        "purge_place": of.purge_place.map(purge_place), "n_retractions": of.n_retractions,
        "retract_mm": of.retract.map(Millimetres::get), "restart": restart,
        "standby_c": of.standby.map(Celsius::get),
    }))
}
