//! Second set: hosts that tell lists: thermometers and heaters apart, labelled readings, a dock for each tool, a table
//! of columns and rows.

use super::moment::{celsius, duty, fahrenheit, rounded, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwellwatch::entry::{Heater, HotEnd, JobState};
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[WIRING, NOTICE_BOARD, DOCKS, TABLE];

/// What senses and what heats listed apart: a heater names its thermometer; tools from 1, by name.
const WIRING: HostShape = HostShape {
    name: "wiring",
    hot_end: HotEnd::Separate,
    documents: wiring,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.0001)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).duty(0.001),
        bed: HeaterTold::both(0.1),
    },
};

fn wiring(moment: &Moment) -> Vec<(&'static str, Value)> {
    let senses = |id: &str, at: &str, celsius: Option<f64>| json!({"id": id, "at": at, "celsius": celsius});
    let heats = |id: &str, thermometer: &str, heater: Heater| {
        json!({"id": id, "thermometer": thermometer, "regulated_to": celsius(heater.target, 0.1),
               "duty": duty(heater, 1.0, 0.001)})
    };
    let state = match moment.reading.job.state {
        JobState::None => "ready",
        JobState::Heating => "heating",
        JobState::Printing => "working",
        JobState::Paused => "paused",
        JobState::Completed => "completed",
        JobState::Cancelled => "stopped",
        JobState::Failed => "failed",
    };
    let (first, second, bed) = (moment.tool(0), moment.tool(1), moment.bed());
    let body = json!({
        "thermometers": [
            senses("th1", "nozzle of tool 1", celsius(first.actual, 0.1)),
            senses("th2", "nozzle of tool 2", celsius(second.actual, 0.1)),
            senses("th3", "bed", celsius(bed.actual, 0.1)),
            senses("th4", "control board", Some(rounded(46.0 + moment.drift(1), 0.1))),
            senses("th5", "air", Some(rounded(29.0 + moment.drift(2) * 0.4, 0.1))),
        ],
        "heaters": [heats("he1", "th3", bed), heats("he2", "th1", first), heats("he3", "th2", second)],
        "tool_in_carriage": moment.reading.active_tool.map(|tool| format!("tool {}", tool + 1)),
        "program": {"file": moment.name(), "state": state, "share_complete": moment.progress(1.0, 0.0001)},
        "seconds_on": 3600 + moment.second,
    });
    vec![("/wiring", body)]
}

/// A list of labelled readings as a screen would show them, °F; a dash where there is nothing.
const NOTICE_BOARD: HostShape = HostShape {
    name: "notice board",
    hot_end: HotEnd::Separate,
    documents: notice_board,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.01)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1 / 1.8),
        bed: HeaterTold::both(0.1 / 1.8),
    },
};

fn notice_board(moment: &Moment) -> Vec<(&'static str, Value)> {
    let line = |label: &str, reading: Value, unit: &str| json!({"label": label, "reading": reading, "in": unit});
    let heater = |name: &str, heater: Heater| {
        [
            line(&format!("{name} temperature"), json!(fahrenheit(heater.actual, 0.1)), "°F"),
            line(&format!("{name} set temperature"), json!(fahrenheit(heater.target, 0.1)), "°F"),
        ]
    };
    let status = match moment.reading.job.state {
        JobState::None => "Idle",
        JobState::Heating => "Heating up",
        JobState::Printing => "Printing",
        JobState::Paused => "Paused",
        JobState::Completed => "Finished",
        JobState::Cancelled => "Cancelled",
        JobState::Failed => "Error",
    };
    let extruder = moment.reading.active_tool.map_or("-", |tool| ["Extruder 1", "Extruder 2"][tool]);
    let progress = whole(moment.progress(100.0, 1.0)).map_or(json!("-"), |percent| json!(percent));
    let (minutes, seconds) = (moment.elapsed_s / 60, moment.elapsed_s % 60);
    let mut lines = vec![line("Printer status", json!(status), "")];
    lines.extend(heater("Extruder 1", moment.tool(0)));
    lines.extend(heater("Extruder 2", moment.tool(1)));
    lines.extend(heater("Bed", moment.bed()));
    lines.extend([
        line("Room temperature", json!(rounded(73.0 + moment.drift(1), 0.1)), "°F"),
        line("Extruder in use", json!(extruder), ""),
        line("File", json!(moment.name().unwrap_or("-")), ""),
        line("Progress", progress, "%"),
        line("Time printing", json!(format!("{minutes} min {seconds} s")), ""),
        line("Part fan", json!(whole(Some(moment.drift(2) * 4000.0))), "rpm"),
        line("Door", json!("closed"), ""),
    ]);
    vec![("/board", Value::Array(lines))]
}

/// Tools that are parked in docks or in use; a box that dries filament is heated as well.
const DOCKS: HostShape = HostShape {
    name: "docks",
    hot_end: HotEnd::Separate,
    documents: docks,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.001)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).duty(0.01),
        bed: HeaterTold::both(0.1),
    },
};

fn docks(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heated = |heater: Heater| {
        json!({"deg_c": celsius(heater.actual, 0.1), "demand_deg_c": celsius(heater.target, 0.1),
               "power": duty(heater, 1.0, 0.01)})
    };
    let dock = |number: usize| {
        json!({"dock": number + 1, "tool": if moment.works(number) { "in use" } else { "parked" },
               "hot_end": heated(moment.tool(number)), "homed": true})
    };
    let status = match moment.reading.job.state {
        JobState::None => "nothing to do",
        JobState::Heating => "heating",
        JobState::Printing => "under way",
        JobState::Paused => "interrupted",
        JobState::Completed => "done",
        JobState::Cancelled => "withdrawn",
        JobState::Failed => "failed",
    };
    let body = json!({
        "carriage": {"x_mm": rounded(moment.drift(1) * 300.0, 0.01), "y_mm": rounded(moment.drift(2) * 280.0, 0.01),
                     "z_mm": rounded(f64::from(moment.layer) * 0.2, 0.1)},
        "docks": [dock(0), dock(1)],
        "print_surface": heated(moment.bed()),
        "drying_box": {"deg_c": rounded(54.0 + moment.drift(3) * 2.0, 0.1), "demand_deg_c": 55.0,
                       "power": rounded(0.2 + moment.drift(4) * 0.1, 0.01), "humidity_percent": 18},
        "order": {"document": moment.name(), "status": status, "done_permille": whole(moment.progress(1000.0, 1.0)),
                  "orders_waiting": 2},
    });
    vec![("/docks", body)]
}

/// A table of columns and rows with the host's own time; tools from 0, -1 is none; seconds of seconds.
const TABLE: HostShape = HostShape {
    name: "table",
    hot_end: HotEnd::Separate,
    documents: table,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Time],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).duty(0.001),
        bed: HeaterTold::both(0.1),
    },
};

fn table(moment: &Moment) -> Vec<(&'static str, Value)> {
    let row = |channel: &str, heater: Heater| {
        json!([channel, celsius(heater.actual, 0.1), celsius(heater.target, 0.1), heater.duty_thousandths])
    };
    let (code, text) = match moment.reading.job.state {
        JobState::None => (0, "idle"),
        JobState::Heating => (10, "heating"),
        JobState::Printing => (20, "printing"),
        JobState::Paused => (30, "paused"),
        JobState::Completed => (40, "finished"),
        JobState::Cancelled => (50, "cancelled"),
        JobState::Failed => (60, "failed"),
    };
    let (seconds, planned) = moment.name().map(|_| (moment.elapsed_s, moment.expected_s)).unzip();
    let body = json!({
        "taken_at_ms": moment.reading.at.as_ms(),
        "columns": ["channel", "actual_degC", "target_degC", "output_permille"],
        "rows": [row("hotend_0", moment.tool(0)), row("hotend_1", moment.tool(1)), row("heatbed", moment.bed()),
                 json!(["supply", rounded(39.0 + moment.drift(1), 0.1), null, null])],
        "hotend_selected": moment.reading.active_tool.map_or(json!(-1), |tool| json!(tool)),
        "run": {"code": code, "text": text, "file": moment.name(), "seconds_elapsed": seconds,
                "seconds_planned": planned},
        "retries": moment.second / 40,
    });
    vec![("/table", body)]
}
