//! The plan's own lines: how they are written, known again, and taken out. Owns their form; a line of any other form is
//! the file's.

use crate::entry::ToolNumber;
use dwell_analysis::units::Celsius;
use memchr::memchr2;

/// What ends every line of a plan.
pub const MARK: &str = " ; heatplan";

/// A set point as a line of the plan, without its end.
pub(super) fn line(tool: ToolNumber, target: Celsius) -> String {
    format!("M104 S{} T{}{MARK}", target.get(), tool.idx())
}

/// Whether a line without its end is one of a plan.
pub(super) fn is_marked(line: &[u8]) -> bool {
    let inner = line.strip_prefix(b"M104 S").and_then(|rest| rest.strip_suffix(MARK.as_bytes()));
    inner.is_some_and(|inner| !inner.is_empty() && inner.iter().all(|byte| b"0123456789. T".contains(byte)))
}

/// One line and its end, which may be missing at the text's end: `\n`, `\r\n` or `\r`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Raw<'t> {
    pub(super) byte: usize,
    pub(super) line: &'t [u8],
    pub(super) end: &'t [u8],
}

/// Every line of a text; together they are the text.
pub(super) fn raw_lines(text: &[u8]) -> impl Iterator<Item = Raw<'_>> {
    let mut byte = 0;
    std::iter::from_fn(move || {
        let rest = text.get(byte..).filter(|rest| !rest.is_empty())?;
        let n = memchr2(b'\n', b'\r', rest).unwrap_or(rest.len());
        let (line, tail) = rest.split_at(n);
        let n_end = if tail.starts_with(b"\r\n") { 2 } else { tail.len().min(1) };
        let raw = Raw { byte, line, end: tail.get(..n_end).unwrap_or_default() };
        byte += n + n_end;
        Some(raw)
    })
}

/// The text without the plan's lines, byte for byte as it was before it was planned; and how many there were.
///
/// A plan's last line without an end stands behind a last line that had none: the end between them is the plan's too.
#[must_use]
pub fn strip(text: &[u8]) -> (Vec<u8>, usize) {
    let (mut kept, mut n) = (Vec::with_capacity(text.len()), 0);
    let mut is_last_end_ours = false;
    let mut end_of_last = 0;
    for raw in raw_lines(text) {
        if is_marked(raw.line) {
            n += 1;
            is_last_end_ours = raw.end.is_empty();
        } else {
            kept.extend_from_slice(raw.line);
            kept.extend_from_slice(raw.end);
            end_of_last = raw.end.len();
            is_last_end_ours = false;
        }
    }
    if is_last_end_ours {
        kept.truncate(kept.len().saturating_sub(end_of_last));
    }
    (kept, n)
}
