//! The topics and what stands on each. Pure; owns their names and their JSON.

use crate::alarm::{Priority, State};
use crate::entry::ToolNumber;
use crate::stamp;
use crate::store::PrinterRow;
use dwell_dashboards::view::AlarmView;
use serde_json::json;
use std::collections::BTreeMap;

/// Where what is published.
#[derive(Clone, Debug)]
pub(super) struct Topics {
    first: String,
}

/// What a printer as a whole is called on a topic.
const PRINTER: &str = "printer";
/// What stands is told in this order of states: the first that any alarm is in is the topic's.
const GRAVEST: [State; 5] =
    [State::Unacknowledged, State::Acknowledged, State::Shelved, State::SuppressedByDesign, State::OutOfService];

impl Topics {
    pub(super) fn new(first: &str) -> Self {
        Self { first: first.to_owned() }
    }

    /// Every message.
    pub(super) fn notice(&self) -> String {
        format!("{}/notice", self.first)
    }

    /// Whether dwellwatch watches.
    pub(super) fn daemon(&self) -> String {
        format!("{}/daemon", self.first)
    }

    /// What stands: of the record, of each printer and of each of its tools.
    pub(super) fn standing(&self, printers: &[PrinterRow], alarms: &[AlarmView]) -> BTreeMap<String, String> {
        let of = |printer: Option<&str>, tool: Option<ToolNumber>| {
            let tool = tool.map(ToolNumber::idx);
            let of_it = |alarm: &&AlarmView| alarm.printer.as_deref() == printer && alarm.tool == tool;
            told(&alarms.iter().filter(of_it).collect::<Vec<_>>())
        };
        let mut standing = BTreeMap::from([(format!("{}/record/alarms", self.first), of(None, None))]);
        for printer in printers {
            let name = printer.name.as_str();
            let tools = (0..printer.n_tools).filter_map(ToolNumber::new).map(Some);
            for tool in tools.chain([None]) {
                let place = tool.map_or_else(|| PRINTER.to_owned(), |tool| tool.to_string());
                let topic = format!("{}/{}/{place}/alarms", self.first, level(name));
                standing.insert(topic, of(Some(name), tool));
            }
        }
        standing
    }
}

/// A name as one level of a topic: what would end it, stand for any other, or can't be shown is its bytes, `%` and hex.
fn level(name: &str) -> String {
    let is_plain = |letter: char| !matches!(letter, '/' | '+' | '#' | '%') && !letter.is_control();
    let mut level = String::new();
    for letter in name.chars() {
        if is_plain(letter) {
            level.push(letter);
        } else {
            let mut bytes = [0; 4];
            let bytes = letter.encode_utf8(&mut bytes).bytes();
            level.extend(bytes.map(|byte| format!("%{byte:02X}")));
        }
    }
    level
}

/// What is told of alarms that stand on one thing.
fn told(alarms: &[&AlarmView]) -> String {
    let state = GRAVEST.into_iter().find(|state| alarms.iter().any(|alarm| alarm.state == state.word()));
    // One that a person has put aside, or that design has, calls nobody.
    let calls =
        |alarm: &&&AlarmView| matches!(State::of_word(alarm.state), Some(State::Unacknowledged | State::Acknowledged));
    let priority = alarms.iter().filter(calls).filter_map(|alarm| Priority::of_word(alarm.priority)).max();
    let alarm = |alarm: &&AlarmView| {
        json!({
            "rule": alarm.rule, "priority": alarm.priority, "state": alarm.state,
            "raised": stamp::write(alarm.raised), "cause": alarm.cause, "action": alarm.action,
        })
    };
    json!({
        "state": state.unwrap_or(State::Normal).word(),
        "priority": priority.map(Priority::word),
        "alarms": alarms.iter().map(alarm).collect::<Vec<_>>(),
    })
    .to_string()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::alarm::Rule;
    use crate::entry::{HotEnd, PrinterName};
    use dwell_analysis::time::Timestamp;
    use serde_json::Value;

    fn printer(name: &str) -> PrinterRow {
        PrinterRow { name: PrinterName::new(name).unwrap(), hot_end: HotEnd::Separate, n_tools: 2 }
    }

    fn alarm(printer: Option<&str>, rule: Rule, tool: Option<usize>, priority: Priority, state: State) -> AlarmView {
        AlarmView {
            id: Some(1),
            printer: printer.map(str::to_owned),
            tool,
            rule: rule.word(),
            raised: Timestamp::from_ms(1_772_438_400_000),
            returned: None,
            priority: priority.word(),
            state: state.word(),
            acknowledged: None,
            is_right: None,
            cause: "T1 waits.".to_owned(),
            consequence: "It cooks.".to_owned(),
            action: "Cool it.".to_owned(),
        }
    }

    #[test]
    fn each_tool_each_printer_and_the_record_has_a_topic_of_its_own() {
        let printers = [printer("bench"), printer("gull/1+#%")];
        let alarms = [
            alarm(Some("bench"), Rule::IdleHot, Some(1), Priority::Medium, State::Acknowledged),
            alarm(Some("bench"), Rule::HeatLost, Some(1), Priority::High, State::Shelved),
            alarm(Some("bench"), Rule::HostSilent, None, Priority::High, State::Unacknowledged),
            alarm(None, Rule::RecordFull, None, Priority::High, State::OutOfService),
        ];
        let standing = Topics::new("house/dwellwatch").standing(&printers, &alarms);
        let told = |topic: &str| -> (Value, Value, usize) {
            let told: Value = serde_json::from_str(&standing[topic]).unwrap();
            (told["state"].clone(), told["priority"].clone(), told["alarms"].as_array().unwrap().len())
        };
        assert_eq!(standing.len(), 7);
        assert_eq!(told("house/dwellwatch/bench/T1/alarms"), ("acknowledged".into(), "medium".into(), 2));
        assert_eq!(told("house/dwellwatch/bench/printer/alarms"), ("unacknowledged".into(), "high".into(), 1));
        assert_eq!(told("house/dwellwatch/record/alarms"), ("out of service".into(), Value::Null, 1));
        assert_eq!(told("house/dwellwatch/gull%2F1%2B%23%25/T0/alarms"), ("normal".into(), Value::Null, 0));
    }
}
