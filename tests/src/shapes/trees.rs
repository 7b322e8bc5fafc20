//! Hosts that tell one heater a branch: keyed by number, side, name; in °C, °F, German, text with units.

use super::moment::{celsius, duty, fahrenheit, wanted_or_null, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwellwatch::entry::{Heater, HotEnd, JobState};
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[WORKSHOP, CABINET, WERKBANK, VISITOR, MIXING_HEAD];

/// Plain English words, tools from 0, progress as a fraction.
const WORKSHOP: HostShape = HostShape {
    name: "workshop",
    hot_end: HotEnd::Separate,
    documents: workshop,
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

fn workshop(moment: &Moment) -> Vec<(&'static str, Value)> {
    let nozzle = |number: usize| {
        let heater = moment.tool(number);
        json!({"nozzle": number, "bore mm": 0.4,
               "warmth": {"measured": celsius(heater.actual, 0.1), "wanted": celsius(heater.target, 0.1)},
               "heater power": duty(heater, 1.0, 0.001)})
    };
    let condition = match moment.reading.job.state {
        JobState::None => "idle",
        JobState::Heating => "warming up",
        JobState::Printing => "printing",
        JobState::Paused => "on hold",
        JobState::Completed => "finished",
        JobState::Cancelled => "called off",
        JobState::Failed => "broken off",
    };
    let body = json!({
        "machine": {
            "nozzles": [nozzle(0), nozzle(1)],
            "bed": {"warmth": {"measured": celsius(moment.bed().actual, 0.1), "wanted": celsius(moment.bed().target, 0.1)}},
            "nozzle in use": moment.reading.active_tool,
            "running for s": 86_400 + moment.second,
        },
        "work": {"condition": condition, "title": moment.name(), "done": moment.progress(1.0, 0.0001)},
        "release": "4.2.1",
    });
    vec![("/workshop", body)]
}

/// °F, keyed by where the heater sits, progress in percent, a cabinet that is warm as well.
const CABINET: HostShape = HostShape {
    name: "cabinet",
    hot_end: HotEnd::Separate,
    documents: cabinet,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.001)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1 / 1.8),
        bed: HeaterTold::both(0.1 / 1.8),
    },
};

fn cabinet(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heater =
        |heater: Heater| json!({"present": fahrenheit(heater.actual, 0.1), "goal": fahrenheit(heater.target, 0.1)});
    let status = match moment.reading.job.state {
        JobState::None => "vacant",
        JobState::Heating => "heating",
        JobState::Printing => "running",
        JobState::Paused => "suspended",
        JobState::Completed => "complete",
        JobState::Cancelled => "aborted",
        JobState::Failed => "error",
    };
    let side = moment.reading.active_tool.map(|tool| if tool == 0 { "port" } else { "starboard" });
    let body = json!({
        "fahrenheit": {
            "port extruder": heater(moment.tool(0)),
            "starboard extruder": heater(moment.tool(1)),
            "build plate": heater(moment.bed()),
            "cabinet": {"present": 95.0 + moment.drift(1)},
        },
        "doing": {"status": status, "part file": moment.name(), "percent": moment.progress(100.0, 0.1), "extruder": side},
        "door shut": true,
    });
    vec![("/cabinet/all", body)]
}

/// German words; the tool by side.
const WERKBANK: HostShape = HostShape {
    name: "werkbank",
    hot_end: HotEnd::Separate,
    documents: werkbank,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.01)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).duty(0.01),
        bed: HeaterTold::both(0.1),
    },
};

fn werkbank(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heater = |heater: Heater| {
        json!({"Istwert": celsius(heater.actual, 0.1), "Sollwert": celsius(heater.target, 0.1),
               "Stellgrad": whole(duty(heater, 100.0, 1.0))})
    };
    let state = match moment.reading.job.state {
        JobState::None => "frei",
        JobState::Heating => "heizt",
        JobState::Printing => "druckt",
        JobState::Paused => "wartet",
        JobState::Completed => "fertig",
        JobState::Cancelled => "abgebrochen",
        JobState::Failed => "gestört",
    };
    let side = moment.reading.active_tool.map(|tool| if tool == 0 { "links" } else { "rechts" });
    let body = json!({
        "Düsen": {"links": heater(moment.tool(0)), "rechts": heater(moment.tool(1))},
        "Bett": heater(moment.bed()),
        "Auftrag": {"Zustand": state, "Datei": moment.name(), "Fortschritt": whole(moment.progress(100.0, 1.0))},
        "Düse im Einsatz": side,
        "Betriebsstunden": 1834,
    });
    vec![("/werkbank", body)]
}

/// A job that is there or not, and texts with units; nothing says what the printer does with it.
const VISITOR: HostShape = HostShape {
    name: "visitor",
    hot_end: HotEnd::Separate,
    documents: visitor,
    hints: no_hints,
    truth: Truth {
        state: there_or_not,
        name: true,
        progress: &[Progress::Share(0.001)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).null_when_off(),
        bed: HeaterTold::both(0.1).null_when_off(),
    },
};

const fn there_or_not(state: JobState) -> JobState {
    match state {
        JobState::Heating | JobState::Printing | JobState::Paused => JobState::Printing,
        JobState::None | JobState::Completed | JobState::Cancelled | JobState::Failed => JobState::None,
    }
}

fn visitor(moment: &Moment) -> Vec<(&'static str, Value)> {
    let degrees = |temp: Option<f64>| temp.map(|temp| format!("{temp:.1} °C"));
    let heater = |heater: Heater| json!({"is": degrees(celsius(heater.actual, 0.1)), "should be": degrees(wanted_or_null(heater.target, 0.1))});
    let is_there = there_or_not(moment.reading.job.state) == JobState::Printing;
    let job = is_there.then(|| {
        let share = moment.progress(100.0, 0.1).map(|share| format!("{share:.1} %"));
        json!({"document": moment.name(), "done": share})
    });
    let letter = moment.reading.active_tool.map(|tool| if tool == 0 { "A" } else { "B" });
    let body = json!({
        "hot ends": {"A": heater(moment.tool(0)), "B": heater(moment.tool(1))},
        "heated bed": heater(moment.bed()),
        "job": job,
        "hot end at work": letter,
        "memory free": format!("{} kB", 51_200 + moment.second % 64),
    });
    vec![("/visitor", body)]
}

/// A shared hot end, layers of layers, the filament that is fed by letter.
const MIXING_HEAD: HostShape = HostShape {
    name: "mixing head",
    hot_end: HotEnd::Shared,
    documents: mixing_head,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Layers],
        byte: false,
        active_tool: true,
        n_tools: 1,
        tool: HeaterTold::both(0.1).duty(0.01),
        bed: HeaterTold::both(0.1),
    },
};

fn mixing_head(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heater = |heater: Heater| {
        json!({"temperature": celsius(heater.actual, 0.1), "set point": celsius(heater.target, 0.1),
               "load percent": whole(duty(heater, 100.0, 1.0))})
    };
    let stage = match moment.reading.job.state {
        JobState::None => "none",
        JobState::Heating => "preheating",
        JobState::Printing => "printing",
        JobState::Paused => "paused",
        JobState::Completed => "done",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "failed",
    };
    let body = json!({
        "mixing nozzle": heater(moment.tool(0)),
        "bed": heater(moment.bed()),
        "tool": moment.reading.active_tool.map(|tool| tool + 1),
        "tools": 2,
        "job": {"stage": stage, "file": moment.name(), "layer": moment.layer, "layers": moment.layers},
    });
    vec![("/head", body)]
}
