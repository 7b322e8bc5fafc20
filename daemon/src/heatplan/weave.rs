//! Puts lines into a text. Owns where they stand between the file's lines and how they end; what they say is decided
//! elsewhere.

use super::marked::{line, raw_lines};
use crate::entry::ToolNumber;
use dwell_analysis::units::Celsius;

/// A set point to add.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Added {
    /// Before the line that begins here; the text's length is behind its last line.
    pub(super) byte: u64,
    pub(super) tool: ToolNumber,
    pub(super) target: Celsius,
}

/// The text with these lines in it. Each ends as the line before it does.
pub(super) fn weave(text: &[u8], mut added: Vec<Added>) -> Vec<u8> {
    added.sort_by_key(|one| one.byte);
    let mut woven = Vec::with_capacity(text.len() + 32 * added.len());
    let mut due = added.into_iter().peekable();
    // The kind of end in use, where a last line has none.
    let mut usual: &[u8] = b"\n";
    for raw in raw_lines(text) {
        woven.extend_from_slice(raw.line);
        woven.extend_from_slice(raw.end);
        if !raw.end.is_empty() {
            usual = raw.end;
        }
        let next = raw.byte + raw.line.len() + raw.end.len();
        while let Some(one) = due.next_if(|one| usize::try_from(one.byte).is_ok_and(|byte| byte <= next)) {
            let line = line(one.tool, one.target);
            if raw.end.is_empty() {
                woven.extend_from_slice(usual);
                woven.extend_from_slice(line.as_bytes());
            } else {
                woven.extend_from_slice(line.as_bytes());
                woven.extend_from_slice(raw.end);
            }
        }
    }
    woven
}
