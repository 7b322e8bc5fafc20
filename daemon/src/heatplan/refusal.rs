//! What a file must not hold to be planned. Owns the list and where in the file it stands.

use super::marked::{is_marked, raw_lines};
use crate::jobfile::{LineFault, ReadEnd};

/// Larger texts are not planned: the whole of it is held.
const TEXT_BYTES_MAX: usize = 512 << 20;
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Codes that the reader does not know and that heat nothing, change no tool and run no other lines (common practice, no
/// source): motors on and off, progress, questions to the printer, limits of motion, servos, beeps, stored settings,
/// motion that waits for itself, pressure, probing and levelling, wiping and parking.
const HARMLESS: [&str; 48] = [
    "M17", "M18", "M73", "M75", "M76", "M77", "M84", "M85", "M92", "M105", "M111", "M113", "M114", "M115", "M119",
    "M120", "M121", "M150", "M155", "M201", "M202", "M203", "M204", "M205", "M206", "M211", "M218", "M280", "M300",
    "M355", "M400", "M412", "M413", "M420", "M425", "M486", "M566", "M569", "M572", "M593", "M851", "M900", "M906",
    "G12", "G27", "G29", "G30", "G34",
];

/// Why a file is not planned.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// It has a plan already.
    #[error("line {line} is a plan's own: the file is planned already; --strip gives the original back")]
    Planned {
        /// The first such line.
        line: u64,
    },
    /// Its lines are numbered or have checksums, which a line between them would break.
    #[error(
        "line {line} has a line number or a checksum: a line added between such lines would be refused by a printer"
    )]
    Numbered {
        /// The first such line.
        line: u64,
    },
    /// Lines that may or may not be run.
    #[error("line {line} begins with {begins}: whether or how often it is run stands outside the file")]
    Conditional {
        /// The first such line.
        line: u64,
        /// Its first character.
        begins: char,
    },
    /// A line that can't be read.
    #[error("line {line}: {fault}; {n} such")]
    Fault {
        /// The first such line.
        line: u64,
        /// What is wrong.
        fault: LineFault,
        /// How many.
        n: u64,
    },
    /// A command that is not known.
    #[error("line {line}: `{name}` is not known here: it may heat, change tools or run other lines")]
    Unknown {
        /// The first such line.
        line: u64,
        /// The command.
        name: String,
    },
    /// More kinds of commands that are not known than are told apart.
    #[error("it has more unknown commands than are told apart")]
    TooManyUnknown,
    /// A tool that no printer has.
    #[error("it calls or heats a tool numbered 16 or higher; whose turn it is then is not known")]
    ToolOutOfRange,
    /// A tool pushes filament and was never given heat.
    #[error("line {line}: T{tool} moves filament, and no line before has given it a set point")]
    Unheated {
        /// The tool.
        tool: usize,
        /// The line.
        line: u64,
    },
    /// More turns than are followed.
    #[error("it has more than {most} turns of tools")]
    TooManyTurns {
        /// As many are followed.
        most: usize,
    },
    /// Too long.
    #[error("it is longer than {} MiB", TEXT_BYTES_MAX >> 20)]
    TooLong,
    /// Its printer's tools have one heater.
    #[error("the printer's tools share one hot end: none can cool while another works")]
    SharedHotEnd,
    /// Nothing is laid.
    #[error("no job file: no filament is laid")]
    NoFilament,
}

/// What is seen without reading a line's words.
pub(super) fn of_text(text: &[u8]) -> Result<(), Refused> {
    if text.len() > TEXT_BYTES_MAX {
        return Err(Refused::TooLong);
    }
    for (line, raw) in (1..).zip(raw_lines(text)) {
        let told = raw.line.strip_prefix(BYTE_ORDER_MARK).filter(|_| raw.byte == 0).unwrap_or(raw.line).trim_ascii();
        if is_marked(raw.line) {
            return Err(Refused::Planned { line });
        }
        match told {
            [b'N' | b'n', b'0'..=b'9' | b' ' | b'\t', ..] => return Err(Refused::Numbered { line }),
            [begins @ (b'/' | b'O' | b'o'), ..] => {
                return Err(Refused::Conditional { line, begins: char::from(*begins) });
            }
            _ => {}
        }
        let before_comment = told.split(|byte| matches!(byte, b';' | b'(')).next().unwrap_or_default();
        // A message may hold any character.
        if before_comment.contains(&b'*') && !is_message(before_comment) {
            return Err(Refused::Numbered { line });
        }
    }
    Ok(())
}

fn is_message(line: &[u8]) -> bool {
    [b"M117", b"M118"].iter().any(|code| line.get(..4).is_some_and(|head| head.eq_ignore_ascii_case(*code)))
}

/// What the reader did not understand.
pub(super) fn of_reading(text: &[u8], end: &ReadEnd) -> Result<(), Refused> {
    let unread = &end.unread;
    // A comment that goes on over the line's end may hold the lines after it.
    let harmful = |fault: LineFault| !fault.is_harmless() || fault == LineFault::CommentOpen;
    if let Some((fault, n, line)) = unread.faults.iter().filter(|(fault, ..)| harmful(*fault)).min_by_key(|one| one.2) {
        return Err(Refused::Fault { line: *line, fault: *fault, n: *n });
    }
    if let Some((name, _)) = unread.macros.first() {
        return Err(Refused::Unknown { line: line_of(text, name), name: name.clone() });
    }
    if let Some((name, _)) = unread.codes.iter().find(|(name, _)| !HARMLESS.contains(&name.as_str())) {
        return Err(Refused::Unknown { line: line_of(text, name), name: name.clone() });
    }
    if unread.other > 0 {
        return Err(Refused::TooManyUnknown);
    }
    if unread.tool_out_of_range > 0 {
        return Err(Refused::ToolOutOfRange);
    }
    Ok(())
}

/// The number of the first line that has a command by that name, as far as it can be found by its letters.
fn line_of(text: &[u8], name: &str) -> u64 {
    let (name, mut lines) = (name.as_bytes(), (1..).zip(raw_lines(text)));
    let has = |line: &[u8]| {
        let told = line.strip_prefix(BYTE_ORDER_MARK).unwrap_or(line).split(|byte| *byte == b';').next();
        told.unwrap_or_default().windows(name.len()).enumerate().any(|(at, found)| {
            let next = line.get(at + name.len());
            found.eq_ignore_ascii_case(name) && !next.is_some_and(u8::is_ascii_alphanumeric)
        })
    };
    lines.find(|(_, raw)| has(raw.line)).map_or(0, |(line, _)| line)
}

/// The number of the line that begins at that byte.
pub(super) fn line_at(text: &[u8], byte: u64) -> u64 {
    (1..).zip(raw_lines(text)).find(|(_, raw)| u64::try_from(raw.byte).is_ok_and(|at| at >= byte)).map_or(0, |(n, _)| n)
}
