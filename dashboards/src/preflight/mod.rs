//! What a job file will ask, in words that page and text share. Owns the sentences of its head, the rows of its table
//! and what is said of risks; the findings' sentences come with the view.

mod figures;
mod picture;
mod text;

pub use text::render_preflight_text;

pub(crate) use figures::rows;

use crate::format;
use crate::view::{PreflightView, RiskAhead};
use dwell_analysis::units::Seconds;

/// The head in short phrases, the first about the file.
pub(crate) fn head(view: &PreflightView) -> Vec<String> {
    let layers = format::counted(view.layers, "layer");
    let heating = format!("{} of it standing still for heat", format::duration(view.heating));
    let mut head = vec![
        format!("{}, {} lines, {layers}", format::bytes(view.bytes), view.lines),
        view.printer.as_ref().map_or_else(
            || "for a printer that is not known: typical values are used".to_owned(),
            |printer| format!("for {printer}"),
        ),
    ];
    match view.expected() {
        Some(expected) => head.extend(times(view, expected)),
        None => head.push("no filament is laid".to_owned()),
    }
    head.push(format!("{} in all, {heating}", format::duration(view.ends)));
    head
}

fn times(view: &PreflightView, expected: Seconds) -> [String; 2] {
    let from = "from the first filament on";
    let at = |factor: f64| view.expected_at(factor).map_or_else(String::new, format::duration);
    match &view.pace {
        Ok(pace) => [
            format!(
                "expected {} {from}, at this printer's pace (90 % interval {} to {}, from {} prints)",
                format::duration(expected),
                at(pace.low),
                at(pace.high),
                pace.n
            ),
            format!("by the file alone {}", at(1.0)),
        ],
        Err(why) => [
            format!("expected {} {from}, by the file alone", format::duration(expected)),
            format!("this printer's pace is not learned yet: {why}"),
        ],
    }
}

/// The words for a gravity.
pub(crate) fn gravity(word: &str) -> &str {
    match word {
        "grave" => "Grave",
        "look" => "Worth a look",
        "note" => "Note",
        other => other,
    }
}

/// Whose a finding is: `T1`, or the job's; stands after a comma.
pub(crate) fn whose(tool: Option<usize>) -> String {
    tool.map_or_else(|| "the job".to_owned(), format::tool)
}

/// One failure mode: tools of which the same is said stand together.
pub(crate) fn risks_of(mode: &str, view: &PreflightView) -> Vec<(String, String)> {
    let mut said: Vec<(String, String)> = Vec::new();
    for told in view.risks.iter().filter(|risk| risk.mode == mode) {
        let (tool, says) = (format::tool(told.tool), risk(told));
        match said.iter_mut().find(|(_, same)| *same == says) {
            Some((tools, _)) => *tools = format!("{tools}, {tool}"),
            None => said.push((tool, says)),
        }
    }
    said
}

/// What the trade says of a mode that is not learned yet on some tool.
pub(crate) fn unlearned_practice(mode: &str, view: &PreflightView) -> Option<&'static str> {
    let mut mine = view.risks.iter().filter(|risk| risk.mode == mode);
    practice(mode).filter(|_| mine.any(|risk| risk.probability.is_err()))
}

/// One failure mode on one tool.
fn risk(risk: &RiskAhead) -> String {
    match &risk.probability {
        Ok(probability) => {
            let state = if risk.state == "learned" { "" } else { ", leaning, not sure yet" };
            format!("{}{state}", format::interval(*probability))
        }
        Err(why) => {
            let (runs, failures) = (counted(risk.n, "tool-run"), counted(risk.events, "failure"));
            format!("not learned yet ({runs}, {failures}: {why})")
        }
    }
}

fn counted(n: usize, one: &str) -> String {
    format::counted(u32::try_from(n).unwrap_or(u32::MAX), one)
}

/// The failure modes that waiting and retraction are known for, and what the trade says of them.
pub(crate) const PRACTICE: [(&str, &str); 6] = [
    ("jam", "long hot waits and pushes that are too cold go with jams"),
    ("stringing", "short retractions and hot standbys go with strings"),
    ("liner", "set points near the liner's rating and long hot waits wear it out"),
    ("blob", "what oozes while a tool waits is laid as a blob at its next start"),
    ("under_extrusion", "a nozzle that oozed empty starves at its next start unless it is purged"),
    ("scrape", "a waiting nozzle with a drop on it, or as low as the one at work, scrapes the part"),
];

/// What the trade says of a mode.
fn practice(mode: &str) -> Option<&'static str> {
    PRACTICE.iter().find(|(of, _)| *of == mode).map(|(_, says)| *says)
}

/// The modes of the view, each once, in its order.
pub(crate) fn modes(view: &PreflightView) -> Vec<&'static str> {
    let mut modes: Vec<&'static str> = Vec::new();
    for risk in &view.risks {
        if !modes.contains(&risk.mode) {
            modes.push(risk.mode);
        }
    }
    modes
}
