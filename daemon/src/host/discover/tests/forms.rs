//! Invented hosts that write the same values in other forms: units, lists, words and places of their own.

use super::super::Kind;
use super::shapes::{Truth, bed, c, duty, has_job, heater, seconds, share, tenth};
use crate::entry::{CentiCelsius, Heater, JobState, Reading};
use serde_json::{Value, json};

pub(super) fn flat(reading: &Reading) -> Vec<(&'static str, Value)> {
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

pub(super) fn flat_truth() -> Truth {
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

pub(super) fn twos(reading: &Reading) -> Vec<(&'static str, Value)> {
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

pub(super) fn twos_truth() -> Truth {
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

pub(super) fn each(reading: &Reading) -> Vec<(&'static str, Value)> {
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
            "job": {"status": state, "document": reading.job.name, "seconds_elapsed": if reading.job.state == JobState::Printing { 50 + seconds(reading) % 3000 } else { 50 }, "seconds_total": 9000},
            "update": {"status": "none"}, "age_ms": 12}),
    )]
}

pub(super) fn each_truth() -> Truth {
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

pub(super) fn apart(reading: &Reading) -> Vec<(&'static str, Value)> {
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

pub(super) fn apart_truth() -> Truth {
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

pub(super) fn twice(reading: &Reading) -> Vec<(&'static str, Value)> {
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

pub(super) fn twice_truth() -> Truth {
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

pub(super) fn odd(reading: &Reading) -> Vec<(&'static str, Value)> {
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

pub(super) fn odd_truth() -> Truth {
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
