//! Forward-only predictions, a JSON line each. Owns their field names.

use crate::commands::Failure;
use crate::stamp;
use crate::study::Study;
use serde::Serialize;

#[derive(Serialize)]
struct Prediction<'a> {
    print: i64,
    printer: &'a str,
    started: String,
    tool: usize,
    mode: &'static str,
    probability: f64,
    happened: Option<bool>,
}

/// One line a tool-run and mode; a mode that nobody ever reported has no risk to tell.
pub(super) fn lines(study: &Study) -> Result<String, Failure> {
    let mut lines = String::new();
    for lesson in &study.lessons {
        let each = study.runs.iter().zip(&lesson.learned.predictions).zip(&lesson.happened);
        for ((run, probability), happened) in each {
            let Some(probability) = *probability else { continue };
            let line = Prediction {
                print: run.print,
                printer: run.printer.as_str(),
                started: stamp::write(run.started),
                tool: run.tool.idx(),
                mode: lesson.mode.word(),
                probability,
                happened: *happened,
            };
            lines += &serde_json::to_string(&line).map_err(|error| Failure::Work(error.to_string()))?;
            lines.push('\n');
        }
    }
    Ok(lines)
}
