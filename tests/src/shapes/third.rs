//! Third set: hosts written by someone who has not read the search, after it was improved on the first two. Owns six
//! shapes in ordinary English; must not tell the same values in the way of a shape of the other sets.

use super::moment::{celsius, duty, fahrenheit, rounded, wanted_or_null, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwellwatch::entry::{Heater, HotEnd, JobState};
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[FRONT_AND_REAR, SITE_PLAN, PATCH_BAY, BACK_OFFICE, MACHINE_HALL, NUMBERED];

/// All that the six have in common: state, name and tool at work, two tools and a bed to tenths of a degree.
const USUAL: Truth = Truth {
    state: every_state,
    name: true,
    progress: &[],
    byte: false,
    active_tool: true,
    n_tools: 2,
    tool: HeaterTold::both(0.1),
    bed: HeaterTold::both(0.1),
};

const fn invented(name: &'static str, documents: fn(&Moment) -> Vec<(&'static str, Value)>, truth: Truth) -> HostShape {
    HostShape { name, hot_end: HotEnd::Separate, documents, hints: no_hints, truth }
}

/// Flat keys in camel case; extruders behind each other; nothing written where no file is.
const FRONT_AND_REAR: HostShape = invented(
    "front and rear",
    front_and_rear,
    Truth { progress: &[Progress::Share(0.01)], tool: HeaterTold::both(0.1).duty(0.01), ..USUAL },
);

fn front_and_rear(moment: &Moment) -> Vec<(&'static str, Value)> {
    let (front, rear, bed) = (moment.tool(0), moment.tool(1), moment.bed());
    let percent = |heater| whole(duty(heater, 100.0, 1.0));
    let status = match moment.reading.job.state {
        JobState::None => "idle",
        JobState::Heating => "heating",
        JobState::Printing => "printing",
        JobState::Paused => "paused",
        JobState::Completed => "finished",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "failed",
    };
    let body = json!({
        "printerName": "bench", "jobStatus": status, "jobFileName": moment.name().unwrap_or_default(),
        "jobPercentDone": whole(moment.progress(100.0, 1.0)),
        "jobSecondsRunning": moment.name().map(|_| moment.elapsed_s),
        "frontExtruderTemperature": celsius(front.actual, 0.1),
        "frontExtruderTargetTemperature": celsius(front.target, 0.1), "frontExtruderHeaterPercent": percent(front),
        "rearExtruderTemperature": celsius(rear.actual, 0.1),
        "rearExtruderTargetTemperature": celsius(rear.target, 0.1), "rearExtruderHeaterPercent": percent(rear),
        "selectedExtruder": moment.reading.active_tool.map_or("none", |tool| ["front", "rear"][tool]),
        "bedTemperature": celsius(bed.actual, 0.1), "bedTargetTemperature": celsius(bed.target, 0.1),
        "boardTemperature": rounded(43.0 + moment.drift(1), 0.1),
        "partFanPercent": whole(Some(moment.drift(2) * 100.0)), "spoolGramsLeft": 640 - moment.second / 60,
        "uptimeSeconds": 18_030 + moment.second,
    });
    vec![("/summary", body)]
}

/// Zones by id below the machine's heating, a heated chamber first; layers of layers; the id of the zone in use.
const SITE_PLAN: HostShape = invented(
    "site plan",
    site_plan,
    Truth {
        progress: &[Progress::Layers],
        tool: HeaterTold::both(0.01).null_when_off().duty(0.001),
        bed: HeaterTold::both(0.01).null_when_off(),
        ..USUAL
    },
);

fn site_plan(moment: &Moment) -> Vec<(&'static str, Value)> {
    let zone = |id: &str, kind: &str, heater: Heater| {
        json!({"id": id, "kind": kind,
               "heat": {"current": celsius(heater.actual, 0.01), "requested": wanted_or_null(heater.target, 0.01),
                        "output": duty(heater, 1.0, 0.001)}})
    };
    let chamber = json!({"current": rounded(44.6 + moment.drift(1) * 0.5, 0.01), "requested": 45.0,
                         "output": rounded(0.2 + moment.drift(2) * 0.2, 0.001)});
    let status = match moment.reading.job.state {
        JobState::None => "ready",
        JobState::Heating => "heating",
        JobState::Printing => "printing",
        JobState::Paused => "paused",
        JobState::Completed => "complete",
        JobState::Cancelled => "canceled",
        JobState::Failed => "error",
    };
    let in_use = moment.reading.active_tool.map(|tool| ["nozzle-a", "nozzle-b"][tool]);
    let layers = moment.name().map(|_| json!({"current": moment.layer, "total": moment.layers}));
    let millimetres = |salt| rounded(moment.drift(salt) * 256.0, 0.01);
    let body = json!({
        "machine": {
            "heating": {
                "zones": [
                    {"id": "chamber", "kind": "air", "heat": chamber},
                    zone("nozzle-a", "nozzle", moment.tool(0)),
                    zone("nozzle-b", "nozzle", moment.tool(1)),
                    zone("plate", "bed", moment.bed()),
                ],
                "enabled": true,
            },
            "carriage": {"nozzle_in_use": in_use, "position": {"x": millimetres(3), "y": millimetres(4)}},
            "cooling": {"fans": [{"id": "part", "rpm": whole(Some(3100.0 + moment.drift(5) * 400.0))},
                                 {"id": "board", "rpm": 2400}]},
        },
        "work": {"print": {"status": status, "file": {"name": moment.name(), "folder": "/jobs"}, "layers": layers}},
    });
    vec![("/site", body)]
}

/// Names and numbers in arrays side by side: more sensors than heaters, and in another order; -1 for no extruder.
const PATCH_BAY: HostShape = invented(
    "patch bay",
    patch_bay,
    Truth { progress: &[Progress::Share(0.0001)], tool: HeaterTold::both(0.1).duty(0.01), ..USUAL },
);

fn patch_bay(moment: &Moment) -> Vec<(&'static str, Value)> {
    let (first, second, bed) = (moment.tool(0), moment.tool(1), moment.bed());
    let board = Some(rounded(39.0 + moment.drift(1), 0.1));
    let air = Some(rounded(26.0 + moment.drift(2) * 0.5, 0.1));
    let [first_c, second_c, bed_c] = [first, second, bed].map(|heater| celsius(heater.actual, 0.1));
    let heaters = [bed, first, second];
    let state = match moment.reading.job.state {
        JobState::None => "IDLE",
        JobState::Heating => "PREHEATING",
        JobState::Printing => "PRINTING",
        JobState::Paused => "PAUSED",
        JobState::Completed => "DONE",
        JobState::Cancelled => "STOPPED",
        JobState::Failed => "FAULT",
    };
    let body = json!({
        "sensor_names": ["board", "extruder 0", "extruder 1", "bed", "room air"],
        "sensor_celsius": [board, first_c, second_c, bed_c, air],
        "heater_names": ["bed", "extruder 0", "extruder 1"],
        "heater_setpoints": heaters.map(|heater| celsius(heater.target, 0.1)),
        "heater_power_percent": heaters.map(|heater| whole(duty(heater, 100.0, 1.0))),
        "fan_names": ["part", "extruder 0", "extruder 1"],
        "fan_percent": [whole(Some(moment.drift(3) * 100.0)), Some(100), Some(100)],
        "extruder_active": moment.reading.active_tool.map_or(-1, |tool| [0, 1][tool]),
        "state": state, "gcode_name": moment.name(), "progress": moment.progress(1.0, 0.0001),
        "seconds_up": 512_044 + moment.second,
    });
    vec![("/arrays", body)]
}

/// Temperatures in one document, a hot end with two feeds; the print in the other, with bytes of bytes.
const BACK_OFFICE: HostShape = HostShape {
    hot_end: HotEnd::Shared,
    ..invented(
        "back office",
        back_office,
        Truth {
            progress: &[Progress::Share(0.0)],
            byte: true,
            n_tools: 1,
            tool: HeaterTold::both(0.1).duty(0.001),
            ..USUAL
        },
    )
};

fn back_office(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heater = |heater: Heater| {
        json!({"actual": celsius(heater.actual, 0.1), "desired": celsius(heater.target, 0.1),
               "powerPercent": duty(heater, 100.0, 0.1)})
    };
    let activity = match moment.reading.job.state {
        JobState::None => "no print",
        JobState::Heating => "heating up",
        JobState::Printing => "printing",
        JobState::Paused => "paused",
        JobState::Completed => "completed",
        JobState::Cancelled => "stopped by user",
        JobState::Failed => "stopped by error",
    };
    let temperatures = json!({
        "unit": "Celsius", "nozzle": heater(moment.tool(0)), "heatedBed": heater(moment.bed()),
        "electronics": {"actual": rounded(51.0 + moment.drift(1), 0.1)},
    });
    let file = moment.name().map(|name| json!({"name": name, "bytes": moment.size, "uploadedBy": "operator"}));
    let print = json!({
        "activity": activity, "file": file, "bytesPrinted": moment.reading.job.byte,
        "activeFilament": moment.reading.active_tool.map(|tool| tool + 1),
        "filaments": [{"slot": 1, "material": "PETG"}, {"slot": 2, "material": "PVA"}],
        "printsToday": 3, "message": "",
    });
    vec![("/office/temperatures", temperatures), ("/office/print", print)]
}

/// °F; a chamber, a board and fans among what is warm and turns; seconds of the seconds estimated.
const MACHINE_HALL: HostShape = invented(
    "machine hall",
    machine_hall,
    Truth {
        progress: &[Progress::Time],
        tool: HeaterTold::both(0.1 / 1.8).duty(0.01),
        bed: HeaterTold::both(0.1 / 1.8),
        ..USUAL
    },
);

fn machine_hall(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heated = |heater: Heater| {
        json!({"temp_f": fahrenheit(heater.actual, 0.1), "set_temp_f": fahrenheit(heater.target, 0.1),
               "duty": duty(heater, 1.0, 0.01)})
    };
    let other = |base: f64, salt| json!({"temp_f": rounded(base + moment.drift(salt) * 2.0, 0.1)});
    let mode = match moment.reading.job.state {
        JobState::None => "Standing by",
        JobState::Heating => "Warming up",
        JobState::Printing => "Printing",
        JobState::Paused => "On hold",
        JobState::Completed => "Finished",
        JobState::Cancelled => "Aborted",
        JobState::Failed => "Error",
    };
    let during = |seconds: u32| moment.name().map(|_| seconds);
    let body = json!({
        "hotend_1": heated(moment.tool(0)), "hotend_2": heated(moment.tool(1)), "build_plate": heated(moment.bed()),
        "chamber": other(96.0, 1), "board": other(117.0, 2),
        "fans": {"part_rpm": whole(Some(moment.drift(3) * 4200.0)), "hotend_rpm": 5200, "chamber_rpm": 1150},
        "current_hotend": moment.reading.active_tool.map(|tool| ["hotend_1", "hotend_2"][tool]),
        "now_printing": {"mode": mode, "program": moment.name(), "time_elapsed_s": during(moment.elapsed_s),
                         "time_estimated_s": during(moment.expected_s)},
        "uptime_s": 33_071 + moment.second, "firmware": "3.1.0",
    });
    vec![("/hall/1", body)]
}

/// The state as a number with its meaning beside; toolheads keyed by number, each with whether it is picked up.
const NUMBERED: HostShape = invented(
    "numbered",
    numbered,
    Truth {
        progress: &[Progress::Share(0.001)],
        tool: HeaterTold::both(1.0).null_when_off(),
        bed: HeaterTold::both(1.0).null_when_off(),
        ..USUAL
    },
);

fn numbered(moment: &Moment) -> Vec<(&'static str, Value)> {
    let degrees = |heater: Heater| whole(celsius(heater.actual, 1.0));
    let wanted = |heater: Heater| whole(wanted_or_null(heater.target, 1.0));
    let toolhead = |number: usize| {
        let heater = moment.tool(number);
        json!({"pickedUp": moment.works(number), "nozzleDiameterMm": 0.4,
               "nozzleDegC": degrees(heater), "nozzleTargetDegC": wanted(heater)})
    };
    let (number, meaning) = match moment.reading.job.state {
        JobState::None => (10, "Idle"),
        JobState::Heating => (20, "Heating"),
        JobState::Printing => (30, "Printing"),
        JobState::Paused => (40, "Paused"),
        JobState::Completed => (50, "Print complete"),
        JobState::Cancelled => (60, "Print cancelled"),
        JobState::Failed => (90, "Print failed"),
    };
    let body = json!({
        "condition": {"number": number, "meaning": meaning},
        "toolheads": {"1": toolhead(0), "2": toolhead(1)},
        "bed": {"degC": degrees(moment.bed()), "targetDegC": wanted(moment.bed()), "clear": false},
        "task": {"gcode": moment.name(), "progressPercent": moment.progress(100.0, 0.1),
                 "heightMm": rounded(f64::from(moment.layer) * 0.25, 0.01)},
        "lastError": {"number": 0, "meaning": "No error"},
        "heartbeat": moment.second % 256,
    });
    vec![("/numbered", body)]
}
