//! Invented hosts with values beside the right ones that look like them.

use super::super::Kind;
use super::shapes::{Truth, bed, c, duty, has_job, heater, seconds, share, tenth};
use crate::entry::{JobState, Reading};
use serde_json::{Value, json};

pub(super) fn near(reading: &Reading) -> Vec<(&'static str, Value)> {
    let head = |tool: usize| {
        let heater = heater(reading, tool);
        json!({"cur": tenth(c(heater.actual)), "tgt": c(heater.target), "standby_tgt": 170.0, "max": 300,
            "heat_break": {"cur": 41.3}, "fan": {"rpm": 4210, "tgt_rpm": 4200}, "z": {"cur": 12.4, "tgt": 12.4}})
    };
    let state = reading.job.state;
    let plate = bed(reading);
    let job = has_job(reading).then(|| {
        json!({"file": {"path": reading.job.name.as_ref().map(|name| format!("/jobs/{name}")), "owner": "bench"},
            "progress": {"done": reading.job.byte, "total": 190_000, "unit": "bytes"},
            "ready_at": 1_780_009_000 + seconds(reading)})
    });
    vec![(
        "machine",
        json!({"printer": {"name": "shed.local", "state": "operational", "build": "7.2b"}, "printing": state == JobState::Printing,
            "paused": state == JobState::Paused, "job": job, "heads": {"head0": head(0), "head1": head(1)}, "head_board_temp": 44.1,
            "plate": {"cur": tenth(c(plate.actual)), "tgt": c(plate.target)},
            "now_ms": 1_780_000_000_000_i64 + seconds(reading) * 1000,
            "next_head": 1, "current_head": reading.active_tool, "heads_total": 2, "load_percent": 31,
            "sent_bytes": 9_000 + seconds(reading) * 700}),
    )]
}

pub(super) fn near_truth() -> Truth {
    vec![
        (Kind::Time, vec![(0, "/now_ms")]),
        (Kind::State, vec![(0, "/paused")]),
        (Kind::Name, vec![(0, "/job/file/path")]),
        (Kind::Fraction, vec![(0, "/job/progress/done")]),
        (Kind::Byte, vec![(0, "/job/progress/done")]),
        (Kind::ActiveTool, vec![(0, "/current_head")]),
        (Kind::ToolActual(0), vec![(0, "/heads/head0/cur")]),
        (Kind::ToolTarget(0), vec![(0, "/heads/head0/tgt")]),
        (Kind::ToolActual(1), vec![(0, "/heads/head1/cur")]),
        (Kind::ToolTarget(1), vec![(0, "/heads/head1/tgt")]),
        (Kind::BedActual, vec![(0, "/plate/cur")]),
        (Kind::BedTarget, vec![(0, "/plate/tgt")]),
    ]
}

pub(super) fn items(reading: &Reading) -> Vec<(&'static str, Value)> {
    let heaters = [("nozzle 0", heater(reading, 0)), ("nozzle 1", heater(reading, 1)), ("bed", bed(reading))];
    let two = |(name, heater): (&str, crate::entry::Heater)| {
        [
            json!({"heater": name, "kind": "actual", "value": tenth(c(heater.actual))}),
            json!({"heater": name, "kind": "target", "value": c(heater.target)}),
        ]
    };
    let mut list: Vec<Value> = heaters.into_iter().flat_map(two).collect();
    list.push(json!({"heater": "room", "kind": "actual", "value": 23.1}));
    let status = match reading.job.state {
        JobState::None => "free",
        JobState::Heating => "warming",
        JobState::Printing => "printing",
        JobState::Paused => "held",
        JobState::Completed => "finished",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "failed",
    };
    vec![(
        "values",
        json!({"temperatures": list, "activity": {"code": 4, "text": status}, "progress": {"value": share(reading) * 100.0, "unit": "%"},
            "nozzle_in_use": reading.active_tool.map(|tool| format!("nozzle {tool}")), "running_file": reading.job.name}),
    )]
}

pub(super) fn items_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/activity/text")]),
        (Kind::Name, vec![(0, "/running_file")]),
        (Kind::Fraction, vec![(0, "/progress/value")]),
        (Kind::ActiveTool, vec![(0, "/nozzle_in_use")]),
        (Kind::ToolActual(0), vec![(0, "/temperatures/0/value")]),
        (Kind::ToolTarget(0), vec![(0, "/temperatures/1/value")]),
        (Kind::ToolActual(1), vec![(0, "/temperatures/2/value")]),
        (Kind::ToolTarget(1), vec![(0, "/temperatures/3/value")]),
        (Kind::BedActual, vec![(0, "/temperatures/4/value")]),
        (Kind::BedTarget, vec![(0, "/temperatures/5/value")]),
    ]
}

pub(super) fn single(reading: &Reading) -> Vec<(&'static str, Value)> {
    let (nozzle, plate) = (heater(reading, 0), bed(reading));
    vec![(
        "state",
        json!({"nozzle": {"actual": tenth(c(nozzle.actual)), "target": c(nozzle.target), "duty": duty(&nozzle)},
            "print_head_temp": 45.2, "bed": {"actual": tenth(c(plate.actual)), "target": c(plate.target)},
            "print": {"name": reading.job.name, "fraction": share(reading), "running": reading.job.state == JobState::Printing}}),
    )]
}

pub(super) fn single_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/print/running")]),
        (Kind::Name, vec![(0, "/print/name")]),
        (Kind::Fraction, vec![(0, "/print/fraction")]),
        (Kind::ToolActual(0), vec![(0, "/nozzle/actual")]),
        (Kind::ToolTarget(0), vec![(0, "/nozzle/target")]),
        (Kind::ToolDuty(0), vec![(0, "/nozzle/duty")]),
        (Kind::BedActual, vec![(0, "/bed/actual")]),
        (Kind::BedTarget, vec![(0, "/bed/target")]),
    ]
}

pub(super) fn past(reading: &Reading) -> Vec<(&'static str, Value)> {
    let (left, right, plate) = (heater(reading, 0), heater(reading, 1), bed(reading));
    let shown = |heater: crate::entry::Heater| {
        json!({"display": format!("{:.0}/{:.0}", c(heater.actual), c(heater.target)), "measured": tenth(c(heater.actual)),
            "wanted": c(heater.target), "history": (0..40).map(|at| 200 + at % 3).collect::<Vec<_>>()})
    };
    let doing = match reading.job.state {
        JobState::None => "idle",
        JobState::Heating => "heating",
        JobState::Printing => "running",
        JobState::Paused => "paused",
        JobState::Completed => "done",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "failed",
    };
    vec![(
        "all",
        json!({"mode": "auto", "hotEnds": {"left": shown(left), "right": shown(right)}, "heatedBed": shown(plate),
            "lastJob": {"name": "trellis.gcode", "state": "completed", "progress": 1.0}, "queue": [{"name": "vase.gcode"}],
            "currentJob": {"name": reading.job.name, "status": doing, "progress": share(reading), "bytesRead": reading.job.byte},
            "hotEndAtWork": reading.active_tool.map(|tool| ["left", "right"][tool]), "ip": "10.0.0.7", "started": "2026-03-01T07:00:00Z"}),
    )]
}

pub(super) fn past_truth() -> Truth {
    vec![
        (Kind::State, vec![(0, "/currentJob/status")]),
        (Kind::Name, vec![(0, "/currentJob/name")]),
        (Kind::Fraction, vec![(0, "/currentJob/progress")]),
        (Kind::Byte, vec![(0, "/currentJob/bytesRead")]),
        (Kind::ActiveTool, vec![(0, "/hotEndAtWork")]),
        (Kind::ToolActual(0), vec![(0, "/hotEnds/left/measured")]),
        (Kind::ToolTarget(0), vec![(0, "/hotEnds/left/wanted")]),
        (Kind::ToolActual(1), vec![(0, "/hotEnds/right/measured")]),
        (Kind::ToolTarget(1), vec![(0, "/hotEnds/right/wanted")]),
        (Kind::BedActual, vec![(0, "/heatedBed/measured")]),
        (Kind::BedTarget, vec![(0, "/heatedBed/wanted")]),
    ]
}
