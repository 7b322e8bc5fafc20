//! Hosts where the printer's state stands among much else: several documents, counters, logs, other heaters; and one
//! that hardly tells anything.

use super::moment::{celsius, duty, rounded, whole};
use super::{HeaterTold, HostShape, Moment, Progress, Truth, every_state, no_hints};
use dwellwatch::entry::{Heater, HotEnd, JobState};
use serde_json::{Value, json};

pub(super) const SHAPES: &[HostShape] = &[FOUR_PAPERS, CHATTER, BARE];

/// Four documents; texts that are numbers; bytes read, and no other progress.
const FOUR_PAPERS: HostShape = HostShape {
    name: "four papers",
    hot_end: HotEnd::Separate,
    documents: four_papers,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[],
        byte: true,
        active_tool: true,
        n_tools: 2,
        tool: HeaterTold::both(0.01).duty(0.01),
        bed: HeaterTold::both(0.01),
    },
};

fn four_papers(moment: &Moment) -> Vec<(&'static str, Value)> {
    let text = |number: Option<f64>, digits: usize| number.map(|number| format!("{number:.digits$}"));
    let heater = |heater: Heater| {
        json!({"measured": text(celsius(heater.actual, 0.01), 2), "aim": text(celsius(heater.target, 0.01), 0),
               "heater duty": text(duty(heater, 100.0, 1.0), 0)})
    };
    let state = match moment.reading.job.state {
        JobState::None => "unloaded",
        JobState::Heating => "waits for heat",
        JobState::Printing => "prints",
        JobState::Paused => "halted",
        JobState::Completed => "ended well",
        JobState::Cancelled => "ended by hand",
        JobState::Failed => "ended by fault",
    };
    let axes = json!({
        "position mm": {"x": rounded(moment.drift(1) * 220.0, 0.01), "y": rounded(moment.drift(2) * 210.0, 0.01),
                        "z": f64::from(moment.layer) * 0.2},
        "feed mm/min": 2400, "homed": true,
    });
    let about = json!({"software": "7.0.3", "built": "2025-11-02T08:00:00Z", "nozzle count": 2, "bed size mm": [220, 210],
                       "max nozzle temperature": 300});
    vec![
        ("/papers/about", about),
        ("/papers/axes", axes),
        (
            "/papers/heat",
            json!({"nozzle 0": heater(moment.tool(0)), "nozzle 1": heater(moment.tool(1)), "bed": heater(moment.bed())}),
        ),
        (
            "/papers/job",
            json!({"state": state, "file": moment.name(), "bytes read": moment.reading.job.byte,
                               "active nozzle": moment.reading.active_tool}),
        ),
    ]
}

/// Everything that a host could think of; the tool at work is not told, progress twice.
const CHATTER: HostShape = HostShape {
    name: "chatter",
    hot_end: HotEnd::Separate,
    documents: chatter,
    hints: no_hints,
    truth: Truth {
        state: every_state,
        name: true,
        progress: &[Progress::Share(0.001), Progress::Layers],
        byte: false,
        active_tool: false,
        n_tools: 2,
        tool: HeaterTold::both(0.1),
        bed: HeaterTold::both(0.1),
    },
};

fn chatter(moment: &Moment) -> Vec<(&'static str, Value)> {
    let state = match moment.reading.job.state {
        JobState::None => "STANDS IDLE",
        JobState::Heating => "HEATS",
        JobState::Printing => "PRINTS",
        JobState::Paused => "PAUSES",
        JobState::Completed => "HAS FINISHED",
        JobState::Cancelled => "WAS CANCELLED",
        JobState::Failed => "HAS FAILED",
    };
    let zone = |name: &str, heater: Heater| json!({"zone": name, "measured °C": celsius(heater.actual, 0.1), "target °C": celsius(heater.target, 0.1)});
    let percent = moment.progress(100.0, 0.1).map(|share| format!("{share:.1}%"));
    let line =
        |age: u32| format!("{} feed motor {} steps", moment.second.saturating_sub(age), (moment.second - age) * 71);
    let body = json!({
        "status": {"printer": state, "network": "connected", "camera": "recording", "job count": 318},
        "thermal": [zone("left nozzle", moment.tool(0)), zone("right nozzle", moment.tool(1)), zone("bed", moment.bed()),
                    json!({"zone": "chamber", "measured °C": rounded(37.0 + moment.drift(1), 0.1), "target °C": 0.0}),
                    json!({"zone": "motor board", "measured °C": rounded(48.0 + moment.drift(2), 0.1)})],
        "print": {"file": moment.name(), "completed": percent, "layer": {"at": moment.layer, "of": moment.layers},
                  "filament used mm": moment.second * 4},
        "motion": {"at": [rounded(moment.drift(3) * 200.0, 0.01), rounded(moment.drift(4) * 200.0, 0.01), 12.4],
                   "feed rate %": 100, "acceleration": 1500},
        "fans": [{"name": "part", "share": rounded(moment.drift(5), 0.01)}, {"name": "board", "share": 0.6}],
        "system": {"uptime s": 90_210 + moment.second, "memory free": 40_960 - moment.second % 100, "cpu %": whole(Some(moment.drift(6) * 40.0)),
                   "humidity %": 41, "disk used %": 63, "clock": 1_780_000_000 + moment.second},
        "log": [line(0), line(1), line(2)],
        "past jobs": [{"file": "stand.gcode", "result": "completed"}, {"file": "hook.gcode", "result": "failed"}],
    });
    vec![("/chatter/everything", body)]
}

/// Three temperatures and whether it prints.
const BARE: HostShape = HostShape {
    name: "bare",
    hot_end: HotEnd::Separate,
    documents: bare,
    hints: no_hints,
    truth: Truth {
        state: prints_or_not,
        name: false,
        progress: &[],
        byte: false,
        active_tool: false,
        n_tools: 2,
        tool: HeaterTold { actual: Some(1.0), target: None, off_is_null: false, duty: None },
        bed: HeaterTold { actual: Some(1.0), target: None, off_is_null: false, duty: None },
    },
};

const fn prints_or_not(state: JobState) -> JobState {
    match state {
        JobState::Printing => JobState::Printing,
        JobState::None
        | JobState::Heating
        | JobState::Paused
        | JobState::Completed
        | JobState::Cancelled
        | JobState::Failed => JobState::None,
    }
}

fn bare(moment: &Moment) -> Vec<(&'static str, Value)> {
    let degrees = |heater: Heater| whole(celsius(heater.actual, 1.0));
    let body = json!({"nozzle 1": degrees(moment.tool(0)), "nozzle 2": degrees(moment.tool(1)), "bed": degrees(moment.bed()),
                      "printing": moment.reading.job.state == JobState::Printing});
    vec![("/bare", body)]
}
