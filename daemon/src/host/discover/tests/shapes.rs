//! Invented hosts, each a way to tell one reading, with the places where the fields truly are.

use super::super::Kind;
use super::{forms, traps};
use crate::entry::{CentiCelsius, Heater, HotEnd, JobState, Reading};
use crate::rehearsal::shape;
use serde_json::{Value, json};

/// Each field's places, by document and path, any of which is right.
pub(super) type Truth = Vec<(Kind, Vec<(usize, &'static str)>)>;

/// One host.
pub(super) struct Host {
    pub(super) name: &'static str,
    pub(super) hot_end: HotEnd,
    /// Its documents at a reading.
    pub(super) tell: fn(&Reading) -> Vec<(&'static str, Value)>,
    /// Where its fields are.
    pub(super) truth: fn() -> Truth,
}

pub(super) const HOSTS: [Host; 18] = [
    Host { name: "keyed, camel case", hot_end: HotEnd::Separate, tell: keyed, truth: keyed_truth },
    Host { name: "parallel lists in K", hot_end: HotEnd::Separate, tell: parallel, truth: parallel_truth },
    Host { name: "texts with units", hot_end: HotEnd::Separate, tell: texts, truth: texts_truth },
    Host { name: "list of named values", hot_end: HotEnd::Separate, tell: named, truth: named_truth },
    Host { name: "truth values", hot_end: HotEnd::Separate, tell: truths, truth: truths_truth },
    Host { name: "shared", hot_end: HotEnd::Shared, tell: shared, truth: shared_truth },
    Host { name: "flat, whole °F", hot_end: HotEnd::Separate, tell: forms::flat, truth: forms::flat_truth },
    Host { name: "lists of two, tenths", hot_end: HotEnd::Separate, tell: forms::twos, truth: forms::twos_truth },
    Host { name: "a word of each tool", hot_end: HotEnd::Separate, tell: forms::each, truth: forms::each_truth },
    Host { name: "far apart, tenths of K", hot_end: HotEnd::Separate, tell: forms::apart, truth: forms::apart_truth },
    Host { name: "told twice", hot_end: HotEnd::Separate, tell: forms::twice, truth: forms::twice_truth },
    Host { name: "words of no trade", hot_end: HotEnd::Separate, tell: forms::odd, truth: forms::odd_truth },
    Host { name: "near misses", hot_end: HotEnd::Separate, tell: traps::near, truth: traps::near_truth },
    Host { name: "an item a number", hot_end: HotEnd::Separate, tell: traps::items, truth: traps::items_truth },
    Host { name: "one nozzle", hot_end: HotEnd::Shared, tell: traps::single, truth: traps::single_truth },
    Host { name: "yesterday beside today", hot_end: HotEnd::Separate, tell: traps::past, truth: traps::past_truth },
    Host { name: "rehearsal's hearths", hot_end: HotEnd::Separate, tell: hearths, truth: hearths_truth },
    Host { name: "rehearsal's panel", hot_end: HotEnd::Separate, tell: panel, truth: panel_truth },
];

pub(super) fn c(temp: Option<CentiCelsius>) -> f64 {
    temp.map_or(0.0, |temp| temp.celsius().get())
}

pub(super) fn tenth(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

pub(super) fn share(reading: &Reading) -> f64 {
    f64::from(reading.job.fraction_millionths.unwrap_or(0)) / 1e6
}

pub(super) fn has_job(reading: &Reading) -> bool {
    reading.job.state != JobState::None
}

pub(super) fn heater(reading: &Reading, tool: usize) -> Heater {
    reading.tools.get(tool).copied().unwrap_or_default()
}

pub(super) fn bed(reading: &Reading) -> Heater {
    reading.bed.unwrap_or_default()
}

pub(super) fn duty(heater: &Heater) -> f64 {
    f64::from(heater.duty_thousandths.unwrap_or(0)) / 1000.0
}

pub(super) fn seconds(reading: &Reading) -> i64 {
    reading.at.as_ms() / 1000
}

fn keyed(reading: &Reading) -> Vec<(&'static str, Value)> {
    let state = match reading.job.state {
        JobState::None => "idle",
        JobState::Heating => "preheating",
        JobState::Printing => "printing",
        JobState::Paused => "paused",
        JobState::Completed => "finished",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "error",
    };
    let tool = |tool: usize| {
        let heater = heater(reading, tool);
        json!({"tempActual": tenth(c(heater.actual)), "tempTarget": c(heater.target), "maxTemp": 300, "fanSpeed": 40 + tool,
            "dutyPercent": (duty(&heater) * 100.0).round()})
    };
    let bed = bed(reading);
    vec![(
        "status",
        json!({"firmwareVersion": "3.1.7", "uptimeSeconds": 86_400 + seconds(reading), "printState": state,
        "network": {"state": "connected", "signalPercent": 71},
        "job": {"fileName": reading.job.name, "progressPercent": tenth(share(reading) * 100.0),
            "filePosition": reading.job.byte, "fileSize": 200_000, "currentLayer": 12, "totalLayers": 90},
        "activeTool": reading.active_tool, "tools": [tool(0), tool(1)],
        "chamberTemp": 31.2, "partFan": {"actual": 3010, "target": 3000},
        "bed": {"tempActual": tenth(c(bed.actual)), "tempTarget": c(bed.target)}}),
    )]
}

fn keyed_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/printState")]),
        (Kind::Name, vec![(0, "/job/fileName")]),
        (Kind::Fraction, vec![(0, "/job/progressPercent"), (0, "/job/filePosition")]),
        (Kind::Byte, vec![(0, "/job/filePosition")]),
        (Kind::ActiveTool, vec![(0, "/activeTool")]),
        (Kind::ToolActual(0), vec![(0, "/tools/0/tempActual")]),
        (Kind::ToolTarget(0), vec![(0, "/tools/0/tempTarget")]),
        (Kind::ToolDuty(0), vec![(0, "/tools/0/dutyPercent")]),
        (Kind::ToolActual(1), vec![(0, "/tools/1/tempActual")]),
        (Kind::ToolTarget(1), vec![(0, "/tools/1/tempTarget")]),
        (Kind::ToolDuty(1), vec![(0, "/tools/1/dutyPercent")]),
        (Kind::BedActual, vec![(0, "/bed/tempActual")]),
        (Kind::BedTarget, vec![(0, "/bed/tempTarget")]),
    ]
}

fn parallel(reading: &Reading) -> Vec<(&'static str, Value)> {
    let kelvin = |temp: Option<CentiCelsius>| ((c(temp) + 273.15) * 100.0).round() / 100.0;
    let heaters = [heater(reading, 0), heater(reading, 1), bed(reading)];
    let code = match reading.job.state {
        JobState::None => 0,
        JobState::Heating => 1,
        JobState::Printing => 2,
        JobState::Paused => 3,
        JobState::Completed => 4,
        JobState::Cancelled => 5,
        JobState::Failed => 6,
    };
    vec![(
        "all",
        json!({"machine": {"status": code, "tool_in_use": reading.active_tool.map(|tool| tool + 1)},
            "kelvin": {"measured": heaters.map(|heater| kelvin(heater.actual)),
                "set": heaters.map(|heater| if c(heater.target) > 0.0 { kelvin(heater.target) } else { 0.0 })},
            "task": {"fraction_done": share(reading), "octets_read": reading.job.byte,
                "document": reading.job.name.as_deref().unwrap_or("-")}}),
    )]
}

fn parallel_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/machine/status")]),
        (Kind::Name, vec![(0, "/task/document")]),
        (Kind::Fraction, vec![(0, "/task/fraction_done")]),
        (Kind::Byte, vec![(0, "/task/octets_read")]),
        (Kind::ActiveTool, vec![(0, "/machine/tool_in_use")]),
        (Kind::ToolActual(0), vec![(0, "/kelvin/measured/0")]),
        (Kind::ToolTarget(0), vec![(0, "/kelvin/set/0")]),
        (Kind::ToolActual(1), vec![(0, "/kelvin/measured/1")]),
        (Kind::ToolTarget(1), vec![(0, "/kelvin/set/1")]),
        (Kind::BedActual, vec![(0, "/kelvin/measured/2")]),
        (Kind::BedTarget, vec![(0, "/kelvin/set/2")]),
    ]
}

fn texts(reading: &Reading) -> Vec<(&'static str, Value)> {
    let doing = match reading.job.state {
        JobState::None => "resting",
        JobState::Heating => "warming up",
        JobState::Printing => "busy",
        JobState::Paused => "on hold",
        JobState::Completed => "all done",
        JobState::Cancelled => "called off",
        JobState::Failed => "broken",
    };
    let told = |heater: Heater| {
        let wanted = c(heater.target);
        json!({"reading": format!("{:.1} °C", c(heater.actual)),
            "wanted": if wanted > 0.0 { format!("{wanted:.0} °C") } else { "off".to_owned() }})
    };
    let side = reading.active_tool.map(|tool| ["left", "right"][tool]);
    let stamp = jiff::Timestamp::from_millisecond(1_780_000_000_000 + reading.at.as_ms()).unwrap();
    vec![
        (
            "machine",
            json!({"doing": doing, "carriage_in_use": side, "stamp": stamp.to_string(), "serial": "b-17",
                "light": "on", "door": {"state": "closed"}}),
        ),
        (
            "heat",
            json!({"nozzles": {"left": told(heater(reading, 0)), "right": told(heater(reading, 1))},
                "table": told(bed(reading)), "room": {"reading": "22.4 °C"}}),
        ),
        (
            "task",
            json!({"title": reading.job.name, "progress": format!("{:.0} %", share(reading) * 100.0),
                "layer": {"now": 3 + reading.job.byte.unwrap_or(0) / 20_000, "of": 14}}),
        ),
    ]
}

fn texts_truth() -> Truth {
    vec![
        (Kind::Time, vec![(0, "/stamp")]),
        (Kind::State, vec![(0, "/doing")]),
        (Kind::Name, vec![(2, "/title")]),
        (Kind::Fraction, vec![(2, "/progress"), (2, "/layer/now")]),
        (Kind::ActiveTool, vec![(0, "/carriage_in_use")]),
        (Kind::ToolActual(0), vec![(1, "/nozzles/left/reading")]),
        (Kind::ToolTarget(0), vec![(1, "/nozzles/left/wanted")]),
        (Kind::ToolActual(1), vec![(1, "/nozzles/right/reading")]),
        (Kind::ToolTarget(1), vec![(1, "/nozzles/right/wanted")]),
        (Kind::BedActual, vec![(1, "/table/reading")]),
        (Kind::BedTarget, vec![(1, "/table/wanted")]),
    ]
}

fn named(reading: &Reading) -> Vec<(&'static str, Value)> {
    let one = |name: &str, value: Option<CentiCelsius>| json!({"n": name, "u": "Cel", "v": tenth(c(value))});
    let (left, right, bed) = (heater(reading, 0), heater(reading, 1), bed(reading));
    let job = has_job(reading).then(|| {
        json!({"name": reading.job.name, "layer": 1 + reading.job.byte.unwrap_or(0) / 9000, "layers_total": 40,
            "elapsed_s": 100 + seconds(reading) % 50_000})
    });
    vec![
        (
            "values",
            json!([one("bed target", bed.target), one("bed actual", bed.actual), one("nozzle.1/target", left.target),
                one("nozzle.1/actual", left.actual), one("nozzle.2/actual", right.actual),
                one("nozzle.2/target", right.target), {"n": "fan", "u": "/min", "v": 2950}]),
        ),
        ("work", json!({"job": job, "nozzle": reading.active_tool.map(|tool| format!("nozzle.{}", tool + 1))})),
    ]
}

fn named_truth() -> Truth {
    vec![
        (Kind::State, vec![(1, "/job"), (1, "/job/name")]),
        (Kind::Name, vec![(1, "/job/name")]),
        (Kind::Fraction, vec![(1, "/job/layer")]),
        (Kind::ActiveTool, vec![(1, "/nozzle")]),
        (Kind::ToolActual(0), vec![(0, "$[?@.n=='nozzle.1/actual'].v")]),
        (Kind::ToolTarget(0), vec![(0, "$[?@.n=='nozzle.1/target'].v")]),
        (Kind::ToolActual(1), vec![(0, "$[?@.n=='nozzle.2/actual'].v")]),
        (Kind::ToolTarget(1), vec![(0, "$[?@.n=='nozzle.2/target'].v")]),
        (Kind::BedActual, vec![(0, "$[?@.n=='bed actual'].v")]),
        (Kind::BedTarget, vec![(0, "$[?@.n=='bed target'].v")]),
    ]
}

fn truths(reading: &Reading) -> Vec<(&'static str, Value)> {
    let head = |name: &str, tool: usize| {
        let heater = heater(reading, tool);
        json!({"name": name, "in_use": reading.active_tool == Some(tool), "temperature": tenth(c(heater.actual)),
            "goal": c(heater.target), "power": (duty(&heater) * 255.0).round(), "state": if c(heater.target) > 0.0 { "hot" } else { "cold" }})
    };
    let bed = bed(reading);
    let state = reading.job.state;
    vec![(
        "machine",
        json!({"flags": {"printing": state == JobState::Printing, "paused": state == JobState::Paused,
                "heating": state == JobState::Heating, "finished": state == JobState::Completed},
            "clock": 1_780_000_000 + seconds(reading), "heads": [head("front", 0), head("rear", 1)],
            "plate": {"temperature": tenth(c(bed.actual)), "goal": c(bed.target)},
            "board_temperature": 41.0, "print_file": reading.job.name,
            "bytes": {"read": reading.job.byte, "total": 180_000}}),
    )]
}

fn truths_truth() -> Truth {
    vec![
        (Kind::Time, vec![(0, "/clock")]),
        (Kind::State, vec![(0, "/flags/paused")]),
        (Kind::Name, vec![(0, "/print_file")]),
        (Kind::Fraction, vec![(0, "/bytes/read")]),
        (Kind::Byte, vec![(0, "/bytes/read")]),
        (Kind::ActiveTool, vec![(0, "$.heads[?@.name=='front'].in_use")]),
        (Kind::ToolActual(0), vec![(0, "$.heads[?@.name=='front'].temperature")]),
        (Kind::ToolTarget(0), vec![(0, "$.heads[?@.name=='front'].goal")]),
        (Kind::ToolDuty(0), vec![(0, "$.heads[?@.name=='front'].power")]),
        (Kind::ToolActual(1), vec![(0, "$.heads[?@.name=='rear'].temperature")]),
        (Kind::ToolTarget(1), vec![(0, "$.heads[?@.name=='rear'].goal")]),
        (Kind::ToolDuty(1), vec![(0, "$.heads[?@.name=='rear'].power")]),
        (Kind::BedActual, vec![(0, "/plate/temperature")]),
        (Kind::BedTarget, vec![(0, "/plate/goal")]),
    ]
}

fn shared(reading: &Reading) -> Vec<(&'static str, Value)> {
    let (hot_end, bed) = (heater(reading, 0), bed(reading));
    let phase = match reading.job.state {
        JobState::None => "ready",
        JobState::Heating => "warming",
        JobState::Printing => "working",
        JobState::Paused => "suspended",
        JobState::Completed => "ended",
        JobState::Cancelled => "stopped",
        JobState::Failed => "faulty",
    };
    vec![(
        "state",
        json!({"phase": phase, "hot_end": {"current": tenth(c(hot_end.actual)), "set_point": c(hot_end.target), "output": duty(&hot_end)},
            "bed": {"current": tenth(c(bed.actual)), "set_point": c(bed.target)},
            "filaments": [{"material": "PLA", "active": reading.active_tool == Some(0)},
                {"material": "PETG", "active": reading.active_tool == Some(1)}],
            "selected_filament": reading.active_tool,
            "job": {"file": reading.job.name, "complete": share(reading)}}),
    )]
}

fn shared_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/phase")]),
        (Kind::Name, vec![(0, "/job/file")]),
        (Kind::Fraction, vec![(0, "/job/complete")]),
        (Kind::ActiveTool, vec![(0, "/selected_filament"), (0, "/filaments/0/active")]),
        (Kind::ToolActual(0), vec![(0, "/hot_end/current")]),
        (Kind::ToolTarget(0), vec![(0, "/hot_end/set_point")]),
        (Kind::ToolDuty(0), vec![(0, "/hot_end/output")]),
        (Kind::BedActual, vec![(0, "/bed/current")]),
        (Kind::BedTarget, vec![(0, "/bed/set_point")]),
    ]
}

fn hearths(reading: &Reading) -> Vec<(&'static str, Value)> {
    vec![("state", shape::hearths(reading, HotEnd::Separate))]
}

fn hearths_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/work/mood")]),
        (Kind::Name, vec![(0, "/work/sheet")]),
        (Kind::Fraction, vec![(0, "/work/share")]),
        (Kind::Byte, vec![(0, "/work/swallowed")]),
        (Kind::ActiveTool, vec![(0, "/hand")]),
        (Kind::ToolActual(0), vec![(0, "$.warmth[?@.seat=='left'].felt")]),
        (Kind::ToolTarget(0), vec![(0, "$.warmth[?@.seat=='left'].asked")]),
        (Kind::ToolDuty(0), vec![(0, "$.warmth[?@.seat=='left'].push")]),
        (Kind::ToolActual(1), vec![(0, "$.warmth[?@.seat=='right'].felt")]),
        (Kind::ToolTarget(1), vec![(0, "$.warmth[?@.seat=='right'].asked")]),
        (Kind::ToolDuty(1), vec![(0, "$.warmth[?@.seat=='right'].push")]),
        (Kind::BedActual, vec![(0, "$.warmth[?@.seat=='plate'].felt")]),
        (Kind::BedTarget, vec![(0, "$.warmth[?@.seat=='plate'].asked")]),
    ]
}

fn panel(reading: &Reading) -> Vec<(&'static str, Value)> {
    vec![("heat", shape::panel_heat(reading, HotEnd::Separate)), ("task", shape::panel_task(reading))]
}

fn panel_truth() -> Truth {
    vec![
        (Kind::State, vec![(1, "/phase")]),
        (Kind::Name, vec![(1, "/title")]),
        (Kind::Fraction, vec![(1, "/percent")]),
        (Kind::Byte, vec![(1, "/bytes fed")]),
        (Kind::ActiveTool, vec![(1, "/tip")]),
        (Kind::ToolActual(0), vec![(0, "/tip a/fahrenheit/now")]),
        (Kind::ToolTarget(0), vec![(0, "/tip a/fahrenheit/wish")]),
        (Kind::ToolDuty(0), vec![(0, "/tip a/effort")]),
        (Kind::ToolActual(1), vec![(0, "/tip b/fahrenheit/now")]),
        (Kind::ToolTarget(1), vec![(0, "/tip b/fahrenheit/wish")]),
        (Kind::ToolDuty(1), vec![(0, "/tip b/effort")]),
        (Kind::BedActual, vec![(0, "/slab/fahrenheit/now")]),
        (Kind::BedTarget, vec![(0, "/slab/fahrenheit/wish")]),
    ]
}
