//! The two JSON shapes that the rehearsal serves, both invented here, and the map for each as configuration text.
//! Owns names and units of the documents; how they travel is `host`'s.

use crate::entry::{CentiCelsius, Heater, HotEnd, JobState, Reading};
use serde_json::{Value, json};

/// One way to tell the printer's state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// One document: a list of hearths in tenths of a degree Celsius, progress in thousandths, tools by side.
    Hearths,
    /// Two documents: objects keyed by heater in degrees Fahrenheit, and the task in percent.
    Panel,
}

/// Path of the hearths' document.
pub const HEARTHS_PATH: &str = "/bench/hearths";
/// Path of the panel's heaters.
pub const PANEL_HEAT_PATH: &str = "/panel/heat";
/// Path of the panel's task.
pub const PANEL_TASK_PATH: &str = "/panel/task";

/// Path of the running job's text, by its name.
pub const SHEET_PATH: &str = "/bench/sheets/{name}";

/// The hearths' document.
#[must_use]
pub fn hearths(reading: &Reading, hot_end: HotEnd) -> Value {
    let hearth = |seat: &str, heater: &Heater| {
        json!({"seat": seat, "felt": tenths(heater.actual), "asked": tenths(heater.target),
               "push": heater.duty_thousandths})
    };
    let mut warmth: Vec<Value> = match hot_end {
        HotEnd::Separate => {
            ["left", "right"].iter().zip(&reading.tools).map(|(seat, tool)| hearth(seat, tool)).collect()
        }
        HotEnd::Shared => reading.tools.first().map(|tool| hearth("both", tool)).into_iter().collect(),
    };
    warmth.extend(reading.bed.as_ref().map(|bed| hearth("plate", bed)));
    let hand = reading.active_tool.map(|tool| match tool {
        0 => json!("left"),
        1 => json!("right"),
        other => json!(other),
    });
    json!({
        "work": {"mood": mood(reading.job.state), "sheet": reading.job.name, "swallowed": reading.job.byte,
                 "share": reading.job.fraction_millionths.map(|millionths| f64::from(millionths) / 1000.0)},
        "hand": hand,
        "warmth": warmth,
    })
}

/// The panel's heaters.
#[must_use]
pub fn panel_heat(reading: &Reading, hot_end: HotEnd) -> Value {
    let heater = |heater: &Heater| {
        json!({"fahrenheit": {"now": fahrenheit(heater.actual), "wish": fahrenheit(heater.target)},
               "effort": heater.duty_thousandths.map(|duty| f64::from(duty) / 10.0)})
    };
    let tool = |number: usize| reading.tools.get(number).map(heater);
    match hot_end {
        HotEnd::Separate => json!({"tip a": tool(0), "tip b": tool(1), "slab": reading.bed.as_ref().map(heater)}),
        HotEnd::Shared => json!({"tip": tool(0), "slab": reading.bed.as_ref().map(heater)}),
    }
}

/// The panel's task.
#[must_use]
pub fn panel_task(reading: &Reading) -> Value {
    json!({
        "phase": phase(reading.job.state),
        "title": reading.job.name,
        "percent": reading.job.fraction_millionths.map(|millionths| f64::from(millionths) / 10_000.0),
        "bytes fed": reading.job.byte,
        "tip": reading.active_tool,
    })
}

const fn mood(state: JobState) -> &'static str {
    match state {
        JobState::None => "resting",
        JobState::Heating => "warming",
        JobState::Printing => "laying",
        JobState::Paused => "holding",
        JobState::Completed => "through",
        JobState::Cancelled => "called off",
        JobState::Failed => "broken off",
    }
}

const fn phase(state: JobState) -> &'static str {
    match state {
        JobState::None => "P0",
        JobState::Heating => "P1 heat",
        JobState::Printing => "P2 run",
        JobState::Paused => "P3 hold",
        JobState::Completed => "P4 end",
        JobState::Cancelled => "P5 struck",
        JobState::Failed => "P6 fault",
    }
}

fn tenths(temp: Option<CentiCelsius>) -> Option<i32> {
    temp.map(|temp| temp.hundredths() / 10)
}

/// Two decimals, which hold every tenth of a degree Celsius without loss.
fn fahrenheit(temp: Option<CentiCelsius>) -> Option<f64> {
    temp.map(|temp| (f64::from(temp.hundredths()) * 1.8 + 3200.0).round() / 100.0)
}

/// The printer's section of the configuration for a host at `base`, such as `http://127.0.0.1:8121`.
#[must_use]
pub fn printer_toml(shape: Shape, hot_end: HotEnd, base: &str, name: &str, poll_s: f64) -> String {
    let head = format!("[[printer]]\nname = \"{name}\"\nhot_end = \"{}\"\npoll_s = {poll_s:?}\n\n", hot_end.word());
    let body = match shape {
        Shape::Hearths => hearths_toml(hot_end, base),
        Shape::Panel => panel_toml(hot_end, base),
    };
    format!("{head}{body}\n[printer.job_file]\nurl = \"{base}{SHEET_PATH}\"\n")
}

fn hearths_toml(hot_end: HotEnd, base: &str) -> String {
    let seats = if hot_end == HotEnd::Shared { ["both"; 2] } else { ["left", "right"] };
    let words = words(mood);
    let heater = |seat: &str| {
        let one = |key: &str, scale: &str| {
            format!("{{ document = \"state\", path = \"$.warmth[?@.seat=='{seat}'].{key}\", {scale} }}")
        };
        let temp = "unit = \"C\", scale = 0.1, offset = 0.0";
        let duty = one("push", "scale = 0.001");
        format!("actual = {}\ntarget = {}\nduty = {duty}\n", one("felt", temp), one("asked", temp))
    };
    format!(
        "[[printer.document]]\nname = \"state\"\nurl = \"{base}{HEARTHS_PATH}\"\n\n\
         [printer.job.state]\ndocument = \"state\"\npath = \"$.work.mood\"\nwords = {words}\n\n\
         [printer.job.name]\ndocument = \"state\"\npath = \"$.work.sheet\"\n\n\
         [printer.job.fraction]\ndocument = \"state\"\npath = \"$.work.share\"\nscale = 0.001\n\n\
         [printer.job.byte]\ndocument = \"state\"\npath = \"$.work.swallowed\"\n\n\
         [printer.active_tool]\ndocument = \"state\"\npath = \"$.hand\"\nwords = {{ \"left\" = 0, \"right\" = 1 }}\n\n\
         {}{}[printer.bed]\n{}",
        tool_toml(&heater(seats[0]), FIRST),
        tool_toml(&heater(seats[1]), SECOND),
        without_duty(&heater("plate")),
    )
}

fn panel_toml(hot_end: HotEnd, base: &str) -> String {
    let tips = if hot_end == HotEnd::Shared { ["tip"; 2] } else { ["tip a", "tip b"] };
    let words = words(phase);
    let heater = |tip: &str| {
        let temp = |key: &str| {
            format!(
                "{{ document = \"heat\", path = \"/{tip}/fahrenheit/{key}\", unit = \"F\", scale = 1.0, offset = 0.0 }}"
            )
        };
        let duty = format!("{{ document = \"heat\", path = \"/{tip}/effort\", scale = 0.01 }}");
        format!("actual = {}\ntarget = {}\nduty = {duty}\n", temp("now"), temp("wish"))
    };
    format!(
        "[[printer.document]]\nname = \"heat\"\nurl = \"{base}{PANEL_HEAT_PATH}\"\n\n\
         [[printer.document]]\nname = \"task\"\nurl = \"{base}{PANEL_TASK_PATH}\"\n\n\
         [printer.job.state]\ndocument = \"task\"\npath = \"/phase\"\nwords = {words}\n\n\
         [printer.job.name]\ndocument = \"task\"\npath = \"/title\"\n\n\
         [printer.job.fraction]\ndocument = \"task\"\npath = \"/percent\"\nscale = 0.01\n\n\
         [printer.job.byte]\ndocument = \"task\"\npath = \"/bytes fed\"\n\n\
         [printer.active_tool]\ndocument = \"task\"\npath = \"/tip\"\n\n\
         {}{}[printer.bed]\n{}",
        tool_toml(&heater(tips[0]), FIRST),
        tool_toml(&heater(tips[1]), SECOND),
        without_duty(&heater("slab")),
    )
}

/// A bed's duty is not part of a reading.
fn without_duty(heater: &str) -> String {
    heater.lines().filter(|line| !line.starts_with("duty")).fold(String::new(), |text, line| text + line + "\n")
}

const FIRST: &str = "material = \"PLA\"\nprint_c = 210\nstandby_c = 175\nretract_mm = 0.8\n";
const SECOND: &str = "material = \"PETG\"\nprint_c = 235\nstandby_c = 190\nretract_mm = 1.2\n";
const REST: &str = "retract_mm_s = 35\nprime_mm3 = 20\nooze_shield = false\ndried = true\n";

fn tool_toml(heater: &str, settings: &str) -> String {
    format!("[[printer.tool]]\n{heater}[printer.tool.settings]\n{settings}{REST}\n")
}

fn words(word: fn(JobState) -> &'static str) -> String {
    let pairs: Vec<String> =
        JobState::ALL.iter().map(|state| format!("\"{}\" = \"{}\"", word(*state), state.word())).collect();
    format!("{{ {} }}", pairs.join(", "))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::rehearsal::LiveJob;
    use dwell_analysis::time::Timestamp;

    /// Every place of the map, as `(document, path, scale)`.
    fn places(table: &toml::Value, found: &mut Vec<(String, String, f64)>) {
        match table {
            toml::Value::Table(keys) => {
                if let (Some(document), Some(path)) = (keys.get("document"), keys.get("path")) {
                    let scale = keys.get("scale").and_then(toml::Value::as_float).unwrap_or(1.0);
                    found.push((document.as_str().unwrap_or("").to_owned(), path.as_str().unwrap().to_owned(), scale));
                }
                keys.values().for_each(|value| places(value, found));
            }
            toml::Value::Array(items) => items.iter().for_each(|item| places(item, found)),
            _ => {}
        }
    }

    fn look_up(document: &Value, path: &str) -> Option<Value> {
        if path.starts_with('$') {
            return serde_json_path::JsonPath::parse(path).unwrap().query(document).exactly_one().ok().cloned();
        }
        document.pointer(path).cloned()
    }

    #[test]
    fn every_path_of_the_map_finds_a_value_and_both_shapes_tell_the_same_temperatures() {
        for hot_end in [HotEnd::Separate, HotEnd::Shared] {
            let reading = LiveJob::new(3, hot_end).reading(Timestamp::from_ms(0));
            let mut told = Vec::new();
            for shape in [Shape::Hearths, Shape::Panel] {
                let text = printer_toml(shape, hot_end, "http://127.0.0.1:9", "bench", 1.0);
                let mut found = Vec::new();
                places(&toml::from_str(&text).unwrap(), &mut found);
                assert_eq!(found.len(), 13, "{text}");
                let mut celsius = Vec::new();
                for (document, path, scale) in &found {
                    let document = match document.as_str() {
                        "state" => hearths(&reading, hot_end),
                        "heat" => panel_heat(&reading, hot_end),
                        _ => panel_task(&reading),
                    };
                    let value = look_up(&document, path).unwrap_or_default();
                    assert!(!value.is_null(), "{path} in {document}");
                    if path.contains("felt") || path.contains("now") {
                        let number = value.as_f64().unwrap() * scale;
                        celsius.push(if shape == Shape::Panel { (number - 32.0) / 1.8 } else { number });
                    }
                }
                celsius.sort_by(f64::total_cmp);
                told.push(celsius);
            }
            assert!(told[0].iter().zip(&told[1]).all(|(one, other)| (one - other).abs() < 0.01), "{told:?}");
        }
    }
}
