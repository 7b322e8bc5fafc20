//! Invented hosts, each a way to tell one reading, with the places where the fields truly are.

use super::super::Kind;
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

pub(super) const HOSTS: [Host; 14] = [
    Host { name: "keyed, camel case", hot_end: HotEnd::Separate, tell: keyed, truth: keyed_truth },
    Host { name: "parallel lists in K", hot_end: HotEnd::Separate, tell: parallel, truth: parallel_truth },
    Host { name: "texts with units", hot_end: HotEnd::Separate, tell: texts, truth: texts_truth },
    Host { name: "list of named values", hot_end: HotEnd::Separate, tell: named, truth: named_truth },
    Host { name: "truth values", hot_end: HotEnd::Separate, tell: truths, truth: truths_truth },
    Host { name: "shared", hot_end: HotEnd::Shared, tell: shared, truth: shared_truth },
    Host { name: "flat, whole °F", hot_end: HotEnd::Separate, tell: flat, truth: flat_truth },
    Host { name: "lists of two, tenths", hot_end: HotEnd::Separate, tell: twos, truth: twos_truth },
    Host { name: "a word of each tool", hot_end: HotEnd::Separate, tell: each, truth: each_truth },
    Host { name: "far apart, tenths of K", hot_end: HotEnd::Separate, tell: apart, truth: apart_truth },
    Host { name: "told twice", hot_end: HotEnd::Separate, tell: twice, truth: twice_truth },
    Host { name: "words of no trade", hot_end: HotEnd::Separate, tell: odd, truth: odd_truth },
    Host { name: "rehearsal's hearths", hot_end: HotEnd::Separate, tell: hearths, truth: hearths_truth },
    Host { name: "rehearsal's panel", hot_end: HotEnd::Separate, tell: panel, truth: panel_truth },
];

fn c(temp: Option<CentiCelsius>) -> f64 {
    temp.map_or(0.0, |temp| temp.celsius().get())
}

fn tenth(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

fn share(reading: &Reading) -> f64 {
    f64::from(reading.job.fraction_millionths.unwrap_or(0)) / 1e6
}

fn has_job(reading: &Reading) -> bool {
    reading.job.state != JobState::None
}

fn heater(reading: &Reading, tool: usize) -> Heater {
    reading.tools.get(tool).copied().unwrap_or_default()
}

fn bed(reading: &Reading) -> Heater {
    reading.bed.unwrap_or_default()
}

fn duty(heater: &Heater) -> f64 {
    f64::from(heater.duty_thousandths.unwrap_or(0)) / 1000.0
}

fn seconds(reading: &Reading) -> i64 {
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

fn flat(reading: &Reading) -> Vec<(&'static str, Value)> {
    let fahrenheit = |temp: Option<CentiCelsius>| (c(temp) * 1.8 + 32.0).round();
    let set = |temp: Option<CentiCelsius>| (c(temp) > 0.0).then(|| fahrenheit(temp));
    let (left, right, bed) = (heater(reading, 0), heater(reading, 1), bed(reading));
    let work = match reading.job.state {
        JobState::None => "READY",
        JobState::Heating => "WARMUP",
        JobState::Printing => "RUN",
        JobState::Paused => "HOLD",
        JobState::Completed => "DONE",
        JobState::Cancelled => "ABORTED",
        JobState::Failed => "FAULT",
    };
    vec![(
        "values",
        json!({"unit": "F", "left_nozzle_actual": fahrenheit(left.actual), "left_nozzle_target": set(left.target),
            "right_nozzle_actual": fahrenheit(right.actual), "right_nozzle_target": set(right.target),
            "bed_actual": fahrenheit(bed.actual), "bed_target": set(bed.target), "left_fan_percent": 40,
            "machine_state": work, "print_file": reading.job.name, "print_percent": (share(reading) * 100.0).floor(),
            "active_nozzle": reading.active_tool.map(|tool| ["L", "R"][tool]), "layers_done": 12, "layers_total": 90}),
    )]
}

fn flat_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/machine_state")]),
        (Kind::Name, vec![(0, "/print_file")]),
        (Kind::Fraction, vec![(0, "/print_percent"), (0, "/layers_done")]),
        (Kind::ActiveTool, vec![(0, "/active_nozzle")]),
        (Kind::ToolActual(0), vec![(0, "/left_nozzle_actual")]),
        (Kind::ToolTarget(0), vec![(0, "/left_nozzle_target")]),
        (Kind::ToolActual(1), vec![(0, "/right_nozzle_actual")]),
        (Kind::ToolTarget(1), vec![(0, "/right_nozzle_target")]),
        (Kind::BedActual, vec![(0, "/bed_actual")]),
        (Kind::BedTarget, vec![(0, "/bed_target")]),
    ]
}

fn twos(reading: &Reading) -> Vec<(&'static str, Value)> {
    let two = |heater: Heater| json!([(c(heater.actual) * 10.0).round(), (c(heater.target) * 10.0).round()]);
    let state = if has_job(reading) {
        json!({"what": "printing", "file": reading.job.name, "thousandths": (share(reading) * 1000.0).round()})
    } else {
        Value::Null
    };
    vec![(
        "board",
        json!({"work": state, "warmth": {"nozzles": [two(heater(reading, 0)), two(heater(reading, 1))], "slab": two(bed(reading))},
            "nozzle": reading.active_tool, "fans": [40, 55], "axes": {"x": 101.2, "y": 88.1}}),
    )]
}

fn twos_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/work/what"), (0, "/work")]),
        (Kind::Name, vec![(0, "/work/file")]),
        (Kind::Fraction, vec![(0, "/work/thousandths")]),
        (Kind::ActiveTool, vec![(0, "/nozzle")]),
        (Kind::ToolActual(0), vec![(0, "/warmth/nozzles/0/0")]),
        (Kind::ToolTarget(0), vec![(0, "/warmth/nozzles/0/1")]),
        (Kind::ToolActual(1), vec![(0, "/warmth/nozzles/1/0")]),
        (Kind::ToolTarget(1), vec![(0, "/warmth/nozzles/1/1")]),
        (Kind::BedActual, vec![(0, "/warmth/slab/0")]),
        (Kind::BedTarget, vec![(0, "/warmth/slab/1")]),
    ]
}

fn each(reading: &Reading) -> Vec<(&'static str, Value)> {
    let state = match reading.job.state {
        JobState::None => "Idle",
        JobState::Heating => "Heating",
        JobState::Printing => "Printing",
        JobState::Paused => "Paused",
        JobState::Completed => "Complete",
        JobState::Cancelled => "Cancelled",
        JobState::Failed => "Failed",
    };
    let tool = |number: usize| {
        let heater = heater(reading, number);
        let status = match (reading.active_tool == Some(number), c(heater.target) > 0.0) {
            (true, _) => "working",
            (false, true) => "standby",
            (false, false) => "off",
        };
        json!({"status": status, "material": (["PLA", "PETG"][number]), "temperature": {"is": tenth(c(heater.actual)), "should_be": c(heater.target), "max": 290}})
    };
    let bed = bed(reading);
    vec![(
        "machine",
        json!({"tools": {"T0": tool(0), "T1": tool(1)}, "heated_bed": {"temperature": {"is": tenth(c(bed.actual)), "should_be": c(bed.target)}},
            "job": {"status": state, "document": reading.job.name, "seconds_elapsed": 50 + seconds(reading) % 3000, "seconds_total": 9000},
            "update": {"status": "none"}, "age_ms": 12}),
    )]
}

fn each_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/job/status")]),
        (Kind::Name, vec![(0, "/job/document")]),
        (Kind::Fraction, vec![(0, "/job/seconds_elapsed")]),
        (Kind::ActiveTool, vec![(0, "/tools/T0/status")]),
        (Kind::ToolActual(0), vec![(0, "/tools/T0/temperature/is")]),
        (Kind::ToolTarget(0), vec![(0, "/tools/T0/temperature/should_be")]),
        (Kind::ToolActual(1), vec![(0, "/tools/T1/temperature/is")]),
        (Kind::ToolTarget(1), vec![(0, "/tools/T1/temperature/should_be")]),
        (Kind::BedActual, vec![(0, "/heated_bed/temperature/is")]),
        (Kind::BedTarget, vec![(0, "/heated_bed/temperature/should_be")]),
    ]
}

fn apart(reading: &Reading) -> Vec<(&'static str, Value)> {
    let kelvin = |temp: Option<CentiCelsius>| ((c(temp) + 273.15) * 10.0).round();
    let all = |pick: fn(&Heater) -> Option<CentiCelsius>| json!({"head 1": kelvin(pick(&heater(reading, 0))), "head 2": kelvin(pick(&heater(reading, 1))), "platform": kelvin(pick(&bed(reading)))});
    let stage = match reading.job.state {
        JobState::None => "nothing to do",
        JobState::Heating => "getting ready",
        JobState::Printing => "in progress",
        JobState::Paused => "paused",
        JobState::Completed => "finished",
        JobState::Cancelled => "stopped",
        JobState::Failed => "failed",
    };
    vec![
        ("sensors", json!({"readings": all(|heater| heater.actual), "cpu": 3190})),
        ("wishes", json!({"setpoints": all(|heater| heater.target)})),
        (
            "order",
            json!({"stage": stage, "head": reading.active_tool.map_or(0, |tool| tool + 1), "item": reading.job.name.as_deref().unwrap_or(""),
                "ratio": share(reading), "read_bytes": reading.job.byte.unwrap_or(0)}),
        ),
    ]
}

fn apart_truth() -> Truth {
    vec![
        (Kind::State, vec![(2, "/stage")]),
        (Kind::Name, vec![(2, "/item")]),
        (Kind::Fraction, vec![(2, "/ratio")]),
        (Kind::Byte, vec![(2, "/read_bytes")]),
        (Kind::ActiveTool, vec![(2, "/head")]),
        (Kind::ToolActual(0), vec![(0, "/readings/head 1")]),
        (Kind::ToolTarget(0), vec![(1, "/setpoints/head 1")]),
        (Kind::ToolActual(1), vec![(0, "/readings/head 2")]),
        (Kind::ToolTarget(1), vec![(1, "/setpoints/head 2")]),
        (Kind::BedActual, vec![(0, "/readings/platform")]),
        (Kind::BedTarget, vec![(1, "/setpoints/platform")]),
    ]
}

fn twice(reading: &Reading) -> Vec<(&'static str, Value)> {
    let (left, right, bed) = (heater(reading, 0), heater(reading, 1), bed(reading));
    let one = |id: u32, kind: &str, heater: Heater| json!({"id": id, "kind": kind, "temp": c(heater.actual).round(), "goal": c(heater.target), "pwm": (duty(&heater) * 255.0).round()});
    vec![
        (
            "overview",
            json!({"temps": {"nozzle1": c(left.actual).round(), "nozzle2": c(right.actual).round(), "bed": c(bed.actual).round()}, "status": "ok"}),
        ),
        ("heaters", json!({"items": [one(7, "nozzle", left), one(8, "nozzle", right), one(3, "bed", bed)]})),
        (
            "job",
            json!({"state": {"text": match reading.job.state {
                JobState::None => "none", JobState::Heating => "preparing", JobState::Printing => "running", JobState::Paused => "suspended",
                JobState::Completed => "completed", JobState::Cancelled => "aborted", JobState::Failed => "error"}},
                "file": {"name": reading.job.name, "size": 150_000, "position": reading.job.byte}, "working_nozzle": reading.active_tool.map(|tool| tool + 7)}),
        ),
    ]
}

fn twice_truth() -> Truth {
    vec![
        (Kind::State, vec![(2, "/state/text")]),
        (Kind::Name, vec![(2, "/file/name")]),
        (Kind::Fraction, vec![(2, "/file/position")]),
        (Kind::Byte, vec![(2, "/file/position")]),
        (Kind::ActiveTool, vec![(2, "/working_nozzle")]),
        (Kind::ToolActual(0), vec![(1, "$.items[?@.id==7].temp"), (0, "/temps/nozzle1")]),
        (Kind::ToolTarget(0), vec![(1, "$.items[?@.id==7].goal")]),
        (Kind::ToolActual(1), vec![(1, "$.items[?@.id==8].temp"), (0, "/temps/nozzle2")]),
        (Kind::ToolTarget(1), vec![(1, "$.items[?@.id==8].goal")]),
        (Kind::BedActual, vec![(1, "$.items[?@.id==3].temp"), (0, "/temps/bed")]),
        (Kind::BedTarget, vec![(1, "$.items[?@.id==3].goal")]),
    ]
}

fn odd(reading: &Reading) -> Vec<(&'static str, Value)> {
    let glow = |heater: Heater| json!({"p": tenth(c(heater.actual)), "q": c(heater.target)});
    let gait = match reading.job.state {
        JobState::None => "lull",
        JobState::Heating => "kindling",
        JobState::Printing => "striding",
        JobState::Paused => "pausing",
        JobState::Completed => "arrived",
        JobState::Cancelled => "turned back",
        JobState::Failed => "fallen",
    };
    vec![(
        "ship",
        json!({"glow": {"port": glow(heater(reading, 0)), "starboard": glow(heater(reading, 1)), "deck": glow(bed(reading))},
            "gait": gait, "tally": share(reading), "cargo": reading.job.name, "oar": reading.active_tool.map(|tool| ["port", "starboard"][tool]),
            "wind": {"p": 12.1, "q": 14.0}, "depth": 31.5}),
    )]
}

fn odd_truth() -> Truth {
    vec![
        (Kind::Name, vec![(0, "/cargo")]),
        (Kind::ToolActual(0), vec![(0, "/glow/port/p")]),
        (Kind::ToolTarget(0), vec![(0, "/glow/port/q")]),
        (Kind::ToolActual(1), vec![(0, "/glow/starboard/p")]),
        (Kind::ToolTarget(1), vec![(0, "/glow/starboard/q")]),
        (Kind::BedActual, vec![(0, "/glow/deck/p")]),
        (Kind::BedTarget, vec![(0, "/glow/deck/q")]),
    ]
}
