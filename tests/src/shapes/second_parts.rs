//! Second set: hosts of several parts: two documents by two hands, truth values at each tool, one hot end with two
//! inlets for filament, and much that is warm besides the printer's own heaters.

use super::moment::{celsius, duty, rounded, wanted_or_null, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, JobState};
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[TWO_DESKS, SWITCHES, TWO_INLETS, GREENHOUSE];

/// Heat in kelvin in one document; in the other the task, which is null when there is none, with bytes of all bytes.
const TWO_DESKS: HostShape = HostShape {
    name: "two desks",
    hot_end: HotEnd::Separate,
    documents: two_desks,
    hints: no_hints,
    truth: Truth {
        state: while_it_lasts,
        name: true,
        progress: &[Progress::Share(0.0)],
        byte: true,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.01).null_when_off(),
        bed: HeaterTold::both(0.01).null_when_off(),
    },
};

/// A job that is over is forgotten.
const fn while_it_lasts(state: JobState) -> JobState {
    match state {
        JobState::Heating | JobState::Printing | JobState::Paused => state,
        JobState::None | JobState::Completed | JobState::Cancelled | JobState::Failed => JobState::None,
    }
}

fn two_desks(moment: &Moment) -> Vec<(&'static str, Value)> {
    let kelvin = |degrees: Option<f64>| degrees.map(|degrees| rounded(degrees + 273.15, 0.01));
    let heated = |heater: Heater| {
        json!({"sensed_k": kelvin(celsius(heater.actual, 0.01)),
               "commanded_k": kelvin(wanted_or_null(heater.target, 0.01))})
    };
    let phase = match moment.reading.job.state {
        JobState::Heating => Some("heating"),
        JobState::Printing => Some("executing"),
        JobState::Paused => Some("paused"),
        JobState::None | JobState::Completed | JobState::Cancelled | JobState::Failed => None,
    };
    let task = phase.map(|phase| {
        json!({"title": moment.name(), "phase": phase, "bytesTotal": moment.size,
               "bytesRead": moment.reading.job.byte, "startedBy": "operator"})
    });
    let heat = json!({
        "first_head": heated(moment.tool(0)), "second_head": heated(moment.tool(1)), "table": heated(moment.bed()),
        "ambient_k": rounded(297.0 + moment.drift(1) * 0.3, 0.01),
    });
    let tasks = json!({
        "currentTask": task,
        "headInUse": moment.reading.active_tool.map(|tool| ["first", "second"][tool]),
        "tasksDone": 57, "tasksWaiting": 1,
    });
    vec![("/heat", heat), ("/tasks", tasks)]
}

/// Truth values for what the printer does and for which tool is engaged; whole degrees; bytes sent of the size.
const SWITCHES: HostShape = HostShape {
    name: "switches",
    hot_end: HotEnd::Separate,
    documents: switches,
    hints: no_hints,
    truth: Truth {
        state: while_it_lasts,
        name: true,
        progress: &[Progress::Share(0.0)],
        byte: true,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(1.0),
        bed: HeaterTold::both(1.0),
    },
};

fn switches(moment: &Moment) -> Vec<(&'static str, Value)> {
    let degrees = |temp: Option<CentiCelsius>| whole(celsius(temp, 1.0));
    let tool = |number: usize| {
        let heater = moment.tool(number);
        json!({"engaged": moment.works(number), "filamentPresent": true,
               "nozzle": {"celsius": degrees(heater.actual), "celsiusSet": degrees(heater.target)}})
    };
    let state = moment.reading.job.state;
    let body = json!({
        "primaryTool": tool(0),
        "secondaryTool": tool(1),
        "bed": {"celsius": degrees(moment.bed().actual), "celsiusSet": degrees(moment.bed().target)},
        "isHeating": state == JobState::Heating, "isPrinting": state == JobState::Printing,
        "isPaused": state == JobState::Paused, "isDoorOpen": false, "isLightOn": true,
        "gcode": {"file": moment.name(), "sizeBytes": moment.name().map(|_| moment.size),
                  "sentBytes": moment.reading.job.byte},
        "linkErrors": moment.second / 90,
    });
    vec![("/switches", body)]
}

/// A shared hot end, two inlets for filament; busy is all that is told of heating and printing, and nothing of the bed.
const TWO_INLETS: HostShape = HostShape {
    name: "two inlets",
    hot_end: HotEnd::Shared,
    documents: two_inlets,
    hints: no_hints,
    truth: Truth {
        state: busy_or_not,
        name: true,
        progress: &[Progress::Share(0.0001)],
        byte: false,
        active_tool: true,
        n_tools: 1,
        tool: HeaterTold::both(0.1).duty(0.001),
        bed: HeaterTold { actual: None, target: None, off_is_null: false, duty: None },
    },
};

const fn busy_or_not(state: JobState) -> JobState {
    match state {
        JobState::Heating => JobState::Printing,
        told => told,
    }
}

fn two_inlets(moment: &Moment) -> Vec<(&'static str, Value)> {
    let hot_end = moment.tool(0);
    let status = match moment.reading.job.state {
        JobState::None => "free",
        JobState::Heating | JobState::Printing => "busy",
        JobState::Paused => "paused",
        JobState::Completed => "finished",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "failed",
    };
    let inlet = |number: usize| {
        let fed = moment.second / 3 * u32::from(moment.works(number));
        json!({"filament": (["PLA", "PVA"][number]), "fed-mm": fed, "spool-g": ([612, 480][number])})
    };
    let body = json!({
        "hot-end": {"actual-c": celsius(hot_end.actual, 0.1), "wanted-c": celsius(hot_end.target, 0.1),
                    "heater-duty": duty(hot_end, 1.0, 0.001)},
        "inlets": {"inlet-a": inlet(0), "inlet-b": inlet(1)},
        "active-inlet": moment.reading.active_tool.map(|tool| ["inlet-a", "inlet-b"][tool]),
        "print": {"status": status, "file-name": moment.name(), "progress": moment.progress(1.0, 0.0001)},
        "cooling-fan": rounded(moment.drift(1), 0.01),
    });
    vec![("/head", body)]
}

/// Texts with units under headings; a chamber and a dryer are heated besides, and a heater without a goal is `off`.
const GREENHOUSE: HostShape = HostShape {
    name: "greenhouse",
    hot_end: HotEnd::Separate,
    documents: greenhouse,
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

fn greenhouse(moment: &Moment) -> Vec<(&'static str, Value)> {
    let degrees = |number: f64| format!("{number:.1} C");
    let heater = |heater: Heater| {
        let goal = wanted_or_null(heater.target, 0.1).map_or_else(|| "off".to_owned(), degrees);
        let power = duty(heater, 100.0, 1.0).map(|percent| format!("{percent:.0} %"));
        json!({"Temperature": celsius(heater.actual, 0.1).map(degrees), "Goal": goal, "Power": power})
    };
    let other = |base: f64, salt, goal: f64| json!({"Temperature": degrees(base + moment.drift(salt)), "Goal": degrees(goal), "Power": "35 %"});
    let state = match moment.reading.job.state {
        JobState::None => "Waiting for a job",
        JobState::Heating => "Heating",
        JobState::Printing => "Printing",
        JobState::Paused => "Paused",
        JobState::Completed => "Done",
        JobState::Cancelled => "Cancelled",
        JobState::Failed => "Failed",
    };
    let millimetres = |salt| format!("{:.2} mm", moment.drift(salt) * 220.0);
    let done = moment.progress(100.0, 0.1).map(|percent| format!("{percent:.1} %"));
    let body = json!({
        "Hot Ends": {"T0": heater(moment.tool(0)), "T1": heater(moment.tool(1))},
        "Heated Bed": heater(moment.bed()),
        "Chamber": other(39.4, 1, 40.0),
        "Filament Dryer": other(54.2, 2, 55.0),
        "Tool Mounted": moment.reading.active_tool.map(|tool| format!("T{tool}")),
        "Print": {"State": state, "Name": moment.name(), "Done": done, "Layer": moment.layer},
        "Position": {"X": millimetres(3), "Y": millimetres(4)},
        "Network": {"Address": "192.0.2.7", "Signal": "-61 dBm"},
        "Uptime": format!("{} s", 90_231 + moment.second),
    });
    vec![("/overview", body)]
}
