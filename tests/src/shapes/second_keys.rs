//! Second set: hosts that tell each value under a key of its own: flat, wrapped with its unit, by subsystem, and short
//! with a description.

use super::moment::{celsius, duty, fahrenheit, rounded, wanted_or_null, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, JobState};
use dwellwatch::host::TemperatureUnit;
use dwellwatch::host::discover::{Hint, HintForm};
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[PANEL, QUANTITIES, CAPITALS, GLOSSARY];

/// One flat object, the subject before the unit in each key; an empty text where no file is.
const PANEL: HostShape = HostShape {
    name: "panel",
    hot_end: HotEnd::Separate,
    documents: panel,
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

fn panel(moment: &Moment) -> Vec<(&'static str, Value)> {
    let (first, second, bed) = (moment.tool(0), moment.tool(1), moment.bed());
    let degrees = |temp| celsius(temp, 0.1);
    let percent = |heater| whole(duty(heater, 100.0, 1.0));
    let state = match moment.reading.job.state {
        JobState::None => "idle",
        JobState::Heating => "preheat",
        JobState::Printing => "printing",
        JobState::Paused => "paused",
        JobState::Completed => "finished",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "error",
    };
    let body = json!({
        "t0_temp_c": degrees(first.actual), "t0_setpoint_c": degrees(first.target), "t0_heater_pct": percent(first),
        "t1_temp_c": degrees(second.actual), "t1_setpoint_c": degrees(second.target), "t1_heater_pct": percent(second),
        "bed_temp_c": degrees(bed.actual), "bed_setpoint_c": degrees(bed.target), "bed_heater_pct": percent(bed),
        "enclosure_temp_c": rounded(34.0 + moment.drift(1), 0.1),
        "working_tool": moment.reading.active_tool,
        "print_state": state, "print_file": moment.name().unwrap_or_default(), "print_pct": moment.progress(100.0, 0.1),
        "print_minutes_left": moment.expected_s.saturating_sub(moment.elapsed_s) / 60,
        "pos_x_mm": rounded(moment.drift(2) * 230.0, 0.01), "pos_y_mm": rounded(moment.drift(3) * 230.0, 0.01),
        "part_fan_pct": whole(Some(moment.drift(4) * 100.0)),
        "uptime_s": 7200 + moment.second, "wifi_dbm": -58,
    });
    vec![("/panel", body)]
}

/// Each number is an object of its value and its unit; tools by side, set points null when off.
const QUANTITIES: HostShape = HostShape {
    name: "quantities",
    hot_end: HotEnd::Separate,
    documents: quantities,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.001)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.01).null_when_off().duty(0.001),
        bed: HeaterTold::both(0.01).null_when_off(),
    },
};

fn quantities(moment: &Moment) -> Vec<(&'static str, Value)> {
    let of = |value: Option<f64>, unit: &str| json!({"value": value, "unit": unit});
    let heated = |heater: Heater| {
        json!({"temperature": of(celsius(heater.actual, 0.01), "degC"),
               "requestedTemperature": of(wanted_or_null(heater.target, 0.01), "degC"),
               "heaterOutput": of(duty(heater, 100.0, 0.1), "%")})
    };
    let state = match moment.reading.job.state {
        JobState::None => "noJob",
        JobState::Heating => "warmingUp",
        JobState::Printing => "inProgress",
        JobState::Paused => "onHold",
        JobState::Completed => "completed",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "failed",
    };
    let side = moment.reading.active_tool.map(|tool| ["leftTool", "rightTool"][tool]);
    let body = json!({
        "leftTool": heated(moment.tool(0)),
        "rightTool": heated(moment.tool(1)),
        "printBed": heated(moment.bed()),
        "electronics": {"temperature": of(Some(rounded(44.0 + moment.drift(1), 0.01)), "degC"),
                        "supply": of(Some(rounded(23.9 + moment.drift(2) * 0.2, 0.01)), "V")},
        "toolAtWork": side,
        "printJob": {"gcodeFile": moment.name(), "state": state, "portionDone": of(moment.progress(100.0, 0.1), "%"),
                     "duration": of(Some(f64::from(moment.elapsed_s)), "s"),
                     "filamentUsed": of(Some(rounded(f64::from(moment.second) * 0.031, 0.01)), "m")},
    });
    vec![("/quantities", body)]
}

/// By subsystem and in capitals, tenths of a degree, layers of layers, hot ends by letter.
const CAPITALS: HostShape = HostShape {
    name: "capitals",
    hot_end: HotEnd::Separate,
    documents: capitals,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Layers],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).duty(0.001),
        bed: HeaterTold::both(0.1),
    },
};

fn capitals(moment: &Moment) -> Vec<(&'static str, Value)> {
    let tenths = |temp: Option<CentiCelsius>| whole(celsius(temp, 0.1).map(|degrees| degrees * 10.0));
    let heater = |heater: Heater| {
        json!({"TEMP_X10": tenths(heater.actual), "SETPOINT_X10": tenths(heater.target),
               "DUTY_X1000": heater.duty_thousandths})
    };
    let status = match moment.reading.job.state {
        JobState::None => "STOPPED",
        JobState::Heating => "HEATUP",
        JobState::Printing => "RUN",
        JobState::Paused => "PAUSE",
        JobState::Completed => "COMPLETE",
        JobState::Cancelled => "ABORT",
        JobState::Failed => "ALARM",
    };
    let has_job = moment.name().is_some();
    let micrometres = |salt| whole(Some(moment.drift(salt) * 250_000.0));
    let body = json!({
        "THERMAL": {"HOTEND_A": heater(moment.tool(0)), "HOTEND_B": heater(moment.tool(1)), "BED": heater(moment.bed()),
                    "CHAMBER": {"TEMP_X10": 331 + moment.second % 3, "SETPOINT_X10": 0, "DUTY_X1000": 0}},
        "MOTION": {"X_UM": micrometres(1), "Y_UM": micrometres(2), "Z_UM": moment.layer * 200, "HOMED": true},
        "EXTRUSION": {"HOTEND_SELECTED": moment.reading.active_tool.map_or("NONE", |tool| ["A", "B"][tool]),
                      "FLOW_PERCENT": 100},
        "PROGRAM": {"STATUS": status, "FILE": moment.name(), "LAYER": has_job.then_some(moment.layer),
                    "LAYERS": has_job.then_some(moment.layers)},
        "POWER": {"BUS_MV": 24_010 + moment.second % 7, "BUS_MA": whole(Some(2200.0 + moment.drift(3) * 900.0))},
        "ALARMS": [],
    });
    vec![("/status", body)]
}

/// Letters for keys, °F, nozzles from 1; a description says what each letter stands for.
const GLOSSARY: HostShape = HostShape {
    name: "glossary",
    hot_end: HotEnd::Separate,
    documents: glossary,
    hints: explained,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.0001)],
        byte: true,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1 / 1.8).duty(0.01),
        bed: HeaterTold::both(0.1 / 1.8),
    },
};

const STAGES: [&str; 7] = ["available", "warming", "making", "suspended", "finished", "stopped", "faulty"];

fn glossary(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heated = |heater: Heater| {
        json!({"v": fahrenheit(heater.actual, 0.1), "w": fahrenheit(heater.target, 0.1),
               "o": whole(duty(heater, 100.0, 1.0))})
    };
    let stage = JobState::ALL.iter().position(|state| *state == moment.reading.job.state);
    let body = json!({
        "h1": heated(moment.tool(0)), "h2": heated(moment.tool(1)), "p": heated(moment.bed()),
        "e": {"v": rounded(104.0 + moment.drift(1), 0.1), "f": whole(Some(1800.0 + moment.drift(2) * 60.0))},
        "r": {"s": stage.map(|stage| STAGES[stage]), "d": moment.name(), "k": moment.progress(1.0, 0.0001),
              "b": moment.reading.job.byte, "n": moment.reading.active_tool.map(|tool| tool + 1)},
    });
    vec![("/values", body)]
}

fn explained() -> Vec<(usize, Hint)> {
    let degrees = Some(HintForm::Temperature(TemperatureUnit::Fahrenheit));
    let percent = Some(HintForm::Percent);
    let rows = [
        ("h1/v", "Nozzle 1: temperature now", degrees),
        ("h1/w", "Nozzle 1: temperature to hold", degrees),
        ("h1/o", "Nozzle 1: heater output", percent),
        ("h2/v", "Nozzle 2: temperature now", degrees),
        ("h2/w", "Nozzle 2: temperature to hold", degrees),
        ("h2/o", "Nozzle 2: heater output", percent),
        ("p/v", "Print bed: temperature now", degrees),
        ("p/w", "Print bed: temperature to hold", degrees),
        ("p/o", "Print bed: heater output", percent),
        ("e/v", "Electronics: temperature now", degrees),
        ("e/f", "Electronics: fan, revolutions per minute", Some(HintForm::Other)),
        ("r/s", "Stage of the print", None),
        ("r/d", "File that is printed", None),
        ("r/k", "Progress of the print, from 0 to 1", None),
        ("r/b", "Bytes of the file read so far", Some(HintForm::Bytes)),
        ("r/n", "Nozzle in use, 1 or 2", None),
    ];
    let hint = |(place, title, form): (&str, &str, Option<HintForm>)| Hint {
        pointer: format!("/{place}"),
        words: vec![title.to_owned()],
        form,
        values: if place == "r/s" { STAGES.map(str::to_owned).to_vec() } else { Vec::new() },
    };
    rows.map(|row| (0, hint(row))).to_vec()
}
