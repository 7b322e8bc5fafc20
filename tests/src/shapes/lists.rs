//! Hosts that tell their heaters as lists: side by side, by id among other probes, row by row in a log.

use super::moment::{celsius, duty, wanted_or_null, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwell_analysis::units::Seconds;
use dwellwatch::entry::{Heater, HotEnd, JobState};
use dwellwatch::stamp;
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[LEDGER, PROBES, CLOCKWORK, LOGBOOK];

/// Lists side by side: a name, a temperature, a set point and a drive each; tools from 1, permille.
const LEDGER: HostShape = HostShape {
    name: "ledger",
    hot_end: HotEnd::Separate,
    documents: ledger,
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

fn ledger(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heaters = [moment.tool(0), moment.tool(1), moment.bed()];
    let phase = match moment.reading.job.state {
        JobState::None => "IDLE",
        JobState::Heating => "HEAT",
        JobState::Printing => "PRINT",
        JobState::Paused => "HOLD",
        JobState::Completed => "END",
        JobState::Cancelled => "STRUCK",
        JobState::Failed => "FAULT",
    };
    let body = json!({
        "heaters": ["nozzle 1", "nozzle 2", "bed"],
        "now": heaters.map(|heater| celsius(heater.actual, 0.1)),
        "set": heaters.map(|heater| celsius(heater.target, 0.1)),
        "drive %": heaters.map(|heater| whole(duty(heater, 100.0, 1.0))),
        "fans %": [100, 0, whole(Some(moment.drift(4) * 60.0))],
        "task": {"phase": phase, "document": moment.name(), "permille": whole(moment.progress(1000.0, 1.0))},
        "nozzle picked": moment.reading.active_tool.map(|tool| tool + 1),
    });
    vec![("/ledger", body)]
}

/// A list of probes by id: board, chamber and a rim of the bed among those that are meant.
const PROBES: HostShape = HostShape {
    name: "probes",
    hot_end: HotEnd::Separate,
    documents: probes,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.0001)],
        byte: true,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.01).duty(0.001),
        bed: HeaterTold::both(0.01),
    },
};

fn probes(moment: &Moment) -> Vec<(&'static str, Value)> {
    let probe = |id: &str, heater: Heater| {
        json!({"id": id, "celsius": celsius(heater.actual, 0.01), "setting": celsius(heater.target, 0.01),
               "output": duty(heater, 1.0, 0.001)})
    };
    let plain = |id: &str, degrees: f64| json!({"id": id, "celsius": (degrees * 100.0).round() / 100.0});
    let rim = moment.bed().actual.map_or(25.0, |temp| temp.celsius().get() * 0.9 + 1.5);
    let mut rim = plain("bed rim", rim + moment.drift(7) * 0.4);
    rim["setting"] = json!(celsius(moment.bed().target, 0.01).map(|target| target - target * 0.05));
    let state = match moment.reading.job.state {
        JobState::None => "no job",
        JobState::Heating => "job heats",
        JobState::Printing => "job prints",
        JobState::Paused => "job rests",
        JobState::Completed => "job complete",
        JobState::Cancelled => "job cancelled",
        JobState::Failed => "job failed",
    };
    let body = json!({
        "probes": [
            plain("board", 41.0 + moment.drift(5)),
            plain("chamber", 33.0 + moment.drift(6) * 0.5),
            probe("extruder left", moment.tool(0)),
            probe("bed", moment.bed()),
            rim,
            probe("extruder right", moment.tool(1)),
        ],
        "job": {"state": state, "name": moment.name(), "bytes done": moment.reading.job.byte,
                "share done": moment.progress(1.0, 0.0001)},
        "extruder active": moment.reading.active_tool.map(|tool| if tool == 0 { "extruder left" } else { "extruder right" }),
    });
    vec![("/probes", body)]
}

/// A host that stamps what it tells, marks the tool that is selected, and expects the job to take so many seconds.
const CLOCKWORK: HostShape = HostShape {
    name: "clockwork",
    hot_end: HotEnd::Separate,
    documents: clockwork,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Time],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.1).null_when_off(),
        bed: HeaterTold::both(0.1).null_when_off(),
    },
};

fn clockwork(moment: &Moment) -> Vec<(&'static str, Value)> {
    let heater =
        |heater: Heater| json!({"reads": celsius(heater.actual, 0.1), "target": wanted_or_null(heater.target, 0.1)});
    let tool = |number: usize| json!({"letter": (["L", "R"][number]), "selected": moment.works(number), "heater": heater(moment.tool(number))});
    let activity = match moment.reading.job.state {
        JobState::None => "Idle",
        JobState::Heating => "Heating",
        JobState::Printing => "Printing",
        JobState::Paused => "Paused",
        JobState::Completed => "Completed",
        JobState::Cancelled => "Cancelled",
        JobState::Failed => "Failed",
    };
    // The clock of this host stamps a whole second late.
    let at = moment.reading.at - Seconds::new(1.0);
    let body = json!({
        "as of": stamp::write(at),
        "tools": [tool(0), tool(1)],
        "bed": heater(moment.bed()),
        "activity": {"kind": activity, "of": moment.name(), "seconds passed": moment.elapsed_s,
                     "seconds expected": moment.expected_s},
    });
    vec![("/clockwork/now", body)]
}

/// The newest of five rows first; no set points, no duty.
const LOGBOOK: HostShape = HostShape {
    name: "logbook",
    hot_end: HotEnd::Separate,
    documents: logbook,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: false,
        progress: &[Progress::Share(0.01)],
        byte: false,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold { actual: Some(0.1), target: None, off_is_null: false, duty: None },
        bed: HeaterTold { actual: Some(0.1), target: None, off_is_null: false, duty: None },
    },
};

fn logbook(moment: &Moment) -> Vec<(&'static str, Value)> {
    let row = |age: u32| {
        // Older rows are not remembered from one moment to the next: near the newest, as a log's are.
        let past = |temp: Option<f64>, salt| {
            temp.map(|temp| ((temp - f64::from(age) * moment.drift(salt)) * 10.0).round() / 10.0)
        };
        let actual = |heater: Heater, salt| past(celsius(heater.actual, 0.1), salt);
        json!({"age s": age * 10, "nozzle temperatures": [actual(moment.tool(0), 1), actual(moment.tool(1), 2)],
               "bed temperature": actual(moment.bed(), 3)})
    };
    let state = match moment.reading.job.state {
        JobState::None => "ready",
        JobState::Heating => "heating up",
        JobState::Printing => "print in progress",
        JobState::Paused => "print paused",
        JobState::Completed => "print finished",
        JobState::Cancelled => "print cancelled",
        JobState::Failed => "print failed",
    };
    let body = json!({
        "rows": (0..5).map(row).collect::<Vec<_>>(),
        "state": state,
        "progress percent": whole(moment.progress(100.0, 1.0)),
        "current nozzle": moment.reading.active_tool,
    });
    vec![("/logbook", body)]
}
