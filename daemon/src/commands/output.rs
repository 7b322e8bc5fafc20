//! Writing to stdout: text for people, or one JSON document.

use super::Failure;
use serde::Serialize;
use std::io::{self, ErrorKind, Write};

/// Writes a text. A reader that stops early, as `head` does, is no failure.
pub(super) fn text(text: &str) -> Result<(), Failure> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::Work(format!("stdout: {error}"))),
        Ok(()) | Err(_) => Ok(()),
    }
}

/// Writes one JSON document.
pub(super) fn json(document: &impl Serialize) -> Result<(), Failure> {
    let mut line = serde_json::to_string(document).map_err(|error| Failure::Work(format!("stdout: {error}")))?;
    line.push('\n');
    text(&line)
}

/// Says something beside the output. A stderr that is gone hears nothing.
pub(super) fn aside(line: &str) {
    let told = writeln!(io::stderr().lock(), "{line}");
    told.unwrap_or_default();
}

/// Says the beginning of a line beside the output.
pub(super) fn part(words: &str) {
    let mut stderr = io::stderr().lock();
    let told = stderr.write_all(words.as_bytes()).and_then(|()| stderr.flush());
    told.unwrap_or_default();
}
