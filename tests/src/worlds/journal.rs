//! A history as a journal: the lines of the contract, written by hand, so that what reads them is tested by another's
//! writing.

use super::heat::{Sample, State};
use super::history::{Fitted, History, Print};
use super::person::Settings;
use super::words::Word;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::stamp;
use serde_json::{Map, Value, json};

const PRINTER: &str = "bench";

impl History {
    /// Its lines in time order.
    #[must_use]
    pub fn journal(&self) -> String {
        let mut lines: Vec<(i64, String)> = Vec::with_capacity(self.readings() + 1_000);
        let mut before = None;
        for print in &self.prints {
            lines.extend(lines_of(print, before));
            before = Some(print.settings);
        }
        // Stable: what was said at the same instant stays in its order.
        lines.sort_by_key(|(ms, _)| *ms);
        let mut journal = String::with_capacity(lines.iter().map(|(_, line)| line.len() + 1).sum());
        for (_, line) in lines {
            journal.push_str(&line);
            journal.push('\n');
        }
        journal
    }
}

/// What is written of a print, each line with its instant, ms; in no order. `before` is what was set for the one before.
pub(super) fn lines_of(print: &Print, before: Option<[Settings; 2]>) -> Vec<(i64, String)> {
    let at = print.prepared;
    let mut lines: Vec<_> =
        print.fitted.iter().flat_map(|fitted| part(at, fitted)).map(|line| (at.as_ms(), line)).collect();
    for tool in 0..2 {
        let was = before.map(|settings| settings[tool]);
        lines.extend(settings(at, tool, was, print.settings[tool]).map(|line| (at.as_ms(), line)));
    }
    lines.extend(print.samples.iter().map(|sample| (sample.at.as_ms(), reading(&print.name, sample))));
    lines.extend(print.words.iter().map(|word| {
        let at = print.ended + word.after;
        (at.as_ms(), outcome(at, print, word))
    }));
    lines
}

fn reading(name: &str, sample: &Sample) -> String {
    let at = stamp::write(sample.at);
    let state = sample.state.name();
    let job = match sample.state {
        State::None => format!(r#"{{"state":"{state}"}}"#),
        State::Heating => format!(r#"{{"state":"{state}","name":"{name}"}}"#),
        State::Printing | State::Paused | State::Completed | State::Cancelled | State::Failed => {
            format!(r#"{{"state":"{state}","name":"{name}","fraction":{:.4}}}"#, sample.fraction)
        }
    };
    let [a, b] = sample.told_c;
    let [to_a, to_b] = sample.target_c;
    format!(
        r#"{{"kind":"reading","printer":"{PRINTER}","at":"{at}","job":{job},"active_tool":{},"tools":[{{"actual_c":{a:.1},"target_c":{to_a:.1}}},{{"actual_c":{b:.1},"target_c":{to_b:.1}}}]}}"#,
        sample.tool
    )
}

/// The settings that changed, as one line; all of them at first.
fn settings(at: Timestamp, tool: usize, was: Option<Settings>, is: Settings) -> Option<String> {
    let (was, is) = (was.map(|was| keys(&was)), keys(&is));
    let changed: Map<String, Value> =
        is.into_iter().filter(|(key, value)| was.as_ref().is_none_or(|was| was[key] != *value)).collect();
    if changed.is_empty() {
        return None;
    }
    let mut line = json!({"kind": "settings", "printer": PRINTER, "at": stamp::write(at), "tool": tool});
    line.as_object_mut().unwrap().extend(changed);
    Some(line.to_string())
}

fn keys(settings: &Settings) -> Map<String, Value> {
    let all = json!({
        "material": settings.material.name(),
        "print_c": settings.print_c,
        "standby_c": settings.standby_c,
        "retract_mm": settings.retract_mm,
        "retract_mm_s": settings.retract_mm_s,
        "prime_mm3": settings.prime_mm3,
        "ooze_shield": settings.ooze_shield,
        "dried": settings.dried,
    });
    all.as_object().unwrap().clone()
}

/// What was taken out, if anything, and what was put in.
fn part(at: Timestamp, fitted: &Fitted) -> Vec<String> {
    let line = |at: Timestamp, event: &str| {
        json!({"kind": "part", "printer": PRINTER, "at": stamp::write(at), "tool": fitted.tool, "part": fitted.part,
            "event": event})
    };
    let removed = fitted.removed.map(|reason| {
        let mut removed = line(at - Seconds::new(120.0), "removed");
        removed["reason"] = json!(reason);
        removed
    });
    removed.into_iter().chain([line(at, "fitted")]).map(|line| line.to_string()).collect()
}

fn outcome(at: Timestamp, print: &Print, word: &Word) -> String {
    let job = json!({"name": print.name, "started": stamp::write(print.started)});
    let mut line = json!({"kind": "outcome", "printer": PRINTER, "at": stamp::write(at), "job": job,
        "mode": word.mode});
    if let Some(tool) = word.tool {
        line["tool"] = json!(tool);
    }
    if let Some(severity) = word.severity {
        line["severity"] = json!(severity);
    }
    line.to_string()
}
