//! Hosts that say little: abbreviations and numbers for states, truth values, keys that mean nothing, and keys that
//! mean something only by a description.

use super::moment::{celsius, duty, kelvin_tenths, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwellwatch::entry::{Heater, HotEnd, JobState};
use dwellwatch::host::TemperatureUnit;
use dwellwatch::host::discover::{Hint, HintForm};
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[CONTROLLER, FLAGS, OPAQUE, DESCRIBED];

/// Process control's abbreviations, tenths of a kelvin, states as numbers, tools from 1.
const CONTROLLER: HostShape = HostShape {
    name: "controller",
    hot_end: HotEnd::Separate,
    documents: controller,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.001)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).duty(0.001),
        bed: HeaterTold::both(0.1),
    },
};

fn controller(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heater = |heater: Heater| json!({"pv": kelvin_tenths(heater.actual), "sp": kelvin_tenths(heater.target), "out": heater.duty_thousandths});
    let mode = state_number(moment.reading.job.state);
    let body = json!({
        "loops": {"ext1": heater(moment.tool(0)), "ext2": heater(moment.tool(1)), "bed": heater(moment.bed())},
        "sel_ext": moment.reading.active_tool.map(|tool| tool + 1),
        "job": {"mode": mode, "prog": whole(moment.progress(1000.0, 1.0)), "file": moment.name()},
        "err": 0,
        "cycle_us": 990 + moment.second % 20,
    });
    vec![("/ctl", body)]
}

const fn state_number(state: JobState) -> u8 {
    match state {
        JobState::None => 0,
        JobState::Heating => 1,
        JobState::Printing => 2,
        JobState::Paused => 3,
        JobState::Completed => 4,
        JobState::Cancelled => 5,
        JobState::Failed => 9,
    }
}

/// Whole degrees under flat keys, truth values for states and tools, bytes of the file's size.
const FLAGS: HostShape = HostShape {
    name: "flags",
    hot_end: HotEnd::Separate,
    documents: flags,
    hints: no_hints,
    truth: Truth {
        state: flagged,
        name: true,
        progress: &[Progress::Share(0.0)],
        byte: true,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(1.0),
        bed: HeaterTold::both(1.0),
    },
};

/// No flag is up for a job that is over.
const fn flagged(state: JobState) -> JobState {
    match state {
        JobState::Heating | JobState::Printing | JobState::Paused => state,
        JobState::None | JobState::Completed | JobState::Cancelled | JobState::Failed => JobState::None,
    }
}

fn flags(moment: &Moment) -> Vec<(&'static str, Value)> {
    let (first, second, bed) = (moment.tool(0), moment.tool(1), moment.bed());
    let degrees = |temp| whole(celsius(temp, 1.0));
    let state = moment.reading.job.state;
    let body = json!({
        "nozzle_1_degrees": degrees(first.actual), "nozzle_1_wish": degrees(first.target), "nozzle_1_on_duty": moment.works(0),
        "nozzle_2_degrees": degrees(second.actual), "nozzle_2_wish": degrees(second.target), "nozzle_2_on_duty": moment.works(1),
        "bed_degrees": degrees(bed.actual), "bed_wish": degrees(bed.target),
        "heating": state == JobState::Heating, "printing": state == JobState::Printing,
        "pausing": state == JobState::Paused, "light": true,
        "file_title": moment.name(), "file_length": moment.size, "file_read": moment.reading.job.byte,
    });
    vec![("/flags", body)]
}

/// Keys without a meaning: only what moves, and with what, can tell.
const OPAQUE: HostShape = HostShape {
    name: "opaque",
    hot_end: HotEnd::Separate,
    documents: opaque,
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

fn opaque(moment: &Moment) -> Vec<(&'static str, Value)> {
    let row =
        |heater: Heater| json!([celsius(heater.actual, 0.1), celsius(heater.target, 0.1), duty(heater, 1.0, 0.001)]);
    let body = json!({
        "a": [row(moment.tool(0)), row(moment.tool(1)), row(moment.bed())],
        "b": state_number(moment.reading.job.state),
        "c": moment.progress(1.0, 0.0001),
        "d": moment.reading.active_tool,
        "e": moment.name(),
        "f": 4711 + moment.second,
        "g": [(moment.drift(1) * 200.0).round(), (moment.drift(2) * 200.0).round(), 12.4],
        "h": 24.1,
    });
    vec![("/o", body)]
}

/// Flat keys that say nothing, and a description of the host that says all.
const DESCRIBED: HostShape = HostShape {
    name: "described",
    hot_end: HotEnd::Separate,
    documents: described,
    hints: description,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.001)],
        byte: true,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).duty(0.001),
        bed: HeaterTold::both(0.1),
    },
};

const DESCRIBED_STATES: [&str; 7] = ["free", "heating", "printing", "paused", "finished", "cancelled", "failed"];

fn described(moment: &Moment) -> Vec<(&'static str, Value)> {
    let (first, second, bed) = (moment.tool(0), moment.tool(1), moment.bed());
    let state = JobState::ALL.iter().position(|state| *state == moment.reading.job.state);
    let body = json!({
        "p01": state.map(|state| DESCRIBED_STATES[state]), "p02": moment.name(),
        "p03": moment.progress(100.0, 0.1), "p04": moment.reading.job.byte, "p05": moment.reading.active_tool,
        "p11": celsius(first.actual, 0.1), "p12": celsius(first.target, 0.1), "p13": duty(first, 100.0, 0.1),
        "p21": celsius(second.actual, 0.1), "p22": celsius(second.target, 0.1), "p23": duty(second, 100.0, 0.1),
        "p31": celsius(bed.actual, 0.1), "p32": celsius(bed.target, 0.1),
        "p41": 38.5 + (moment.drift(3) * 10.0).round() / 10.0, "p42": moment.second * 3,
    });
    vec![("/properties", body)]
}

fn description() -> Vec<(usize, Hint)> {
    let celsius = Some(HintForm::Temperature(TemperatureUnit::Celsius));
    let percent = Some(HintForm::Percent);
    let rows = [
        ("p01", "jobState", "What the printer does with the job", None),
        ("p02", "jobName", "File name of the job", None),
        ("p03", "jobProgress", "Progress of the job", percent),
        ("p04", "jobBytes", "Bytes of the job's file read so far", Some(HintForm::Bytes)),
        ("p05", "activeTool", "Number of the tool at work, from 0", None),
        ("p11", "tool0Measured", "Measured temperature of the nozzle of tool 0", celsius),
        ("p12", "tool0SetPoint", "Set point of the nozzle of tool 0", celsius),
        ("p13", "tool0Duty", "Heater duty of the nozzle of tool 0", percent),
        ("p21", "tool1Measured", "Measured temperature of the nozzle of tool 1", celsius),
        ("p22", "tool1SetPoint", "Set point of the nozzle of tool 1", celsius),
        ("p23", "tool1Duty", "Heater duty of the nozzle of tool 1", percent),
        ("p31", "bedMeasured", "Measured temperature of the bed", celsius),
        ("p32", "bedSetPoint", "Set point of the bed", celsius),
        ("p41", "boardMeasured", "Measured temperature of the control board", celsius),
        ("p42", "steps", "Steps of the feed motor", Some(HintForm::Other)),
    ];
    let hint = |(key, name, title, form): (&str, &str, &str, Option<HintForm>)| Hint {
        pointer: format!("/{key}"),
        words: vec![name.to_owned(), title.to_owned()],
        form,
        values: if key == "p01" { DESCRIBED_STATES.map(str::to_owned).to_vec() } else { Vec::new() },
    };
    rows.map(|row| (0, hint(row))).to_vec()
}
