//! What a heat plan saves and costs, as plain text for a terminal.

use crate::plain::Lines;
use crate::view::{HeatPlanTool, HeatPlanView};
use crate::{SAFETY_WORDS, format};
use dwell_analysis::units::Seconds;

const COLUMNS: usize = 90;
const LABEL: usize = 32;
/// Tools side by side.
const ABREAST: usize = 2;

/// The whole text.
#[must_use]
pub fn render_heatplan_text(view: &HeatPlanView) -> String {
    let mut out = Lines::new(COLUMNS);
    out.wrapped("", &format!("{} → {}, for {}", view.file, view.out, view.printer));
    if view.is_empty() {
        out.wrapped("  ", &format!("Nothing to plan: {} The copy is the file as it is.", nothing(view)));
    } else {
        for phrase in head(view) {
            out.wrapped("  ", &phrase);
        }
    }
    table(view, &mut out);
    if !view.is_empty() {
        out.heading("What it rests on");
        for phrase in rests(view) {
            out.wrapped("  - ", &phrase);
        }
        out.heading("Before you print it");
        for phrase in AHEAD {
            out.wrapped("  - ", phrase);
        }
    }
    out.line("");
    out.wrapped("", SAFETY_WORDS);
    out.into_text()
}

const AHEAD: [&str; 3] = [
    "The plan only ever lowers a set point, and never sets one above the file's at any instant.",
    "Stay with the first print made with it, and look whether every turn begins hot.",
    "Every added line ends in `; heatplan`; heatplan --strip gives the original back, byte for byte.",
];

fn nothing(view: &HeatPlanView) -> &'static str {
    if view.tools.len() < 2 { "the file heats one tool." } else { "no wait is worth a command." }
}

fn head(view: &HeatPlanView) -> Vec<String> {
    let sum = |at: fn(&HeatPlanTool) -> f64| view.tools.iter().map(at).sum::<f64>();
    let hot = [sum(|tool| tool.hot[0].get()), sum(|tool| tool.hot[1].get())].map(Seconds::new);
    let dose = [sum(|tool| tool.dose[0].get()), sum(|tool| tool.dose[1].get())];
    let drops: u32 = view.tools.iter().map(|tool| tool.drops).sum();
    let waits: u32 = view.tools.iter().map(|tool| tool.waits).sum();
    let saved = if dose[0] > 0.0 { 1.0 - dose[1] / dose[0] } else { 0.0 };
    vec![
        format!("Tools cool in {drops} of {waits} waits between their turns."),
        format!(
            "Waiting hot enough to print: {} instead of {}. Dose of waits: {dose_after:.1} instead of {dose_before:.1} \
             equivalent min, {} less.",
            format::duration(hot[1]),
            format::duration(hot[0]),
            format::percent(saved),
            dose_after = dose[1],
            dose_before = dose[0],
        ),
        format!(
            "The job of {} is expected to take {} longer, {} if the heaters are as slow as they may be at {} certainty.",
            format::duration(view.lasts),
            seconds(view.longer),
            seconds(view.longer_at_worst),
            format::percent(view.certainty),
        ),
        format!("Checked on a model of its heaters: all {} turns begin as hot as by the file, within 2 K.", view.turns),
    ]
}

fn seconds(value: Seconds) -> String {
    format!("{:.0} s", value.get().max(0.0))
}

fn table(view: &HeatPlanView, out: &mut Lines) {
    out.heading("Tool by tool");
    let width = (COLUMNS - 2 - LABEL) / ABREAST;
    for (at, tools) in view.tools.chunks(ABREAST).enumerate() {
        if at > 0 {
            out.line("");
        }
        let mut row = |label: &str, cell: &dyn Fn(&HeatPlanTool) -> String| {
            let cells: Vec<_> = tools.iter().map(cell).collect();
            out.row((label, LABEL), &cells, width);
        };
        row("", &|tool| format::tool(tool.number));
        row("material", &|tool| tool.material.clone().unwrap_or_else(|| "not told".to_owned()));
        row("cools to", &|tool| match tool.waits {
            0 => "no wait between turns".to_owned(),
            _ if tool.is_off_in_waits() => format!("off, {}", from(tool)),
            _ => format!("{}, {}", format::celsius_whole(tool.standby), from(tool)),
        });
        row("waits between turns", &|tool| tool.waits.to_string());
        row("cools in", &|tool| tool.drops.to_string());
        row("left as they are", &alone);
        row("first heat-up", &|tool| if tool.is_heated_later { "when needed" } else { "by the file" }.to_owned());
        row("after its last use", &|tool| if tool.is_off_after { "off" } else { "by the file" }.to_owned());
        row("waits hot enough to print", &|tool| {
            format!("{} (was {})", format::duration(tool.hot[1]), format::duration(tool.hot[0]))
        });
        row("dose of waits, equivalent min", &|tool| {
            format!("{:.1} (was {:.1})", tool.dose[1].get(), tool.dose[0].get())
        });
        row("lines added", &|tool| tool.lines.to_string());
    }
}

fn from(tool: &HeatPlanTool) -> &'static str {
    match tool.standby_from {
        "asked" => "as asked",
        "advised" => "as advised",
        "settings" => "settings in force",
        _ => "under first flow",
    }
}

fn alone(tool: &HeatPlanTool) -> String {
    if tool.alone.is_empty() {
        return "none".to_owned();
    }
    let one = |(why, n): &(&str, u32)| {
        let why = match *why {
            "cool" => "no hotter than its standby",
            "too_short" => "too short to cool and reheat",
            "little_saved" => "too little saved",
            "unfitted" => "its heater is not fitted",
            _ => "no place to reheat in time",
        };
        format!("{n} {why}")
    };
    tool.alone.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn rests(view: &HeatPlanView) -> Vec<String> {
    let heater = |tool: &HeatPlanTool| match tool.fitted {
        Some([down, up]) => {
            format!("T{}'s heater is fitted from {down} cool-downs and {up} heat-ups of its record.", tool.number)
        }
        None => format!(
            "T{}'s heater is not fitted: a typical one is taken, with a wide margin, and it is reheated earlier than \
             it need be.",
            tool.number
        ),
    };
    let is_off = |tool: &&HeatPlanTool| tool.is_off_in_waits() && tool.drops > 0;
    let off = view.tools.iter().filter(is_off).map(|tool| {
        format!("T{} is switched off while it waits: no heater holds a standby as cold as the room.", tool.number)
    });
    let pace = match view.pace_prints {
        Some(n) => format!("The printer's pace is learned from {n} prints."),
        None => "The printer's pace is not learned: its moves may be a tenth quicker or slower than the file lets \
                 expect."
            .to_owned(),
    };
    let macros = "What the printer itself does to its heat at a change of tools stands outside the file.".to_owned();
    view.tools.iter().map(heater).chain(off).chain([pace, macros]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use dwell_analysis::units::{Celsius, DoseMinutes};

    fn tool(number: usize, drops: u32) -> HeatPlanTool {
        HeatPlanTool {
            number,
            material: None,
            standby: Celsius::new(140.0),
            standby_from: "first_flow",
            waits: 3,
            drops,
            alone: vec![("too_short", 3 - drops)],
            is_heated_later: false,
            is_off_after: true,
            hot: [600.0, 120.0].map(Seconds::new),
            dose: [10.0, 2.5].map(DoseMinutes::new),
            lines: 2 * drops,
            fitted: (number == 0).then_some([6, 5]),
        }
    }

    fn text(tools: Vec<HeatPlanTool>) -> String {
        let text = render_heatplan_text(&HeatPlanView {
            file: "lantern.gcode".to_owned(),
            out: "lantern-cool.gcode".to_owned(),
            printer: "bench".to_owned(),
            certainty: 0.95,
            tools,
            lasts: Seconds::new(3600.0),
            longer: Seconds::new(-0.4),
            longer_at_worst: Seconds::new(12.0),
            turns: 8,
            pace_prints: None,
        });
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn text_tells_what_is_saved_what_it_costs_and_what_it_rests_on() {
        let text = text(vec![tool(0, 2), tool(1, 1)]);
        for says in [
            "Tools cool in 3 of 6 waits",
            "4 min instead of 20 min",
            "5.0 instead of 20.0 equivalent min, 75 % less",
            "expected to take 0 s longer, 12 s if",
            "T0's heater is fitted from 6 cool-downs and 5 heat-ups",
            "T1's heater is not fitted",
            "left as they are 1 too short to cool",
            "never sets one above the file's",
        ] {
            assert!(text.contains(says), "{says}: {text}");
        }
    }

    #[test]
    fn text_says_that_a_tool_is_off_while_it_waits_and_names_no_standby_of_0() {
        let off = HeatPlanTool { standby: Celsius::new(0.0), standby_from: "asked", ..tool(1, 2) };
        let text = text(vec![tool(0, 2), off]);
        assert!(text.contains("off, as asked") && !text.contains(" 0 °C"), "{text}");
        assert!(text.contains("T1 is switched off while it waits") && !text.contains("T0 is switched off"), "{text}");
    }

    #[test]
    fn text_says_where_there_is_nothing_to_plan() {
        assert!(text(Vec::new()).contains("Nothing to plan: the file heats one tool. The copy is the file as it is."));
        assert!(text(vec![tool(0, 0), tool(1, 0)]).contains("no wait is worth a command"));
    }
}
