//! What a file must not hold to be planned. Owns the list and where in the file it stands.

use super::bare::{crowded, without_comments};
use super::marked::{is_marked, raw_lines};
use crate::jobfile::{LineFault, ReadEnd, Reader, Unread};

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
    /// A tool's heat or call, and another command, on one line.
    #[error(
        "line {line}: `{first}` and `{second}` stand on one line: a printer that takes one command a line would leave the \
         second undone; a line for each would be right"
    )]
    Crowded {
        /// The first such line.
        line: u64,
        /// Its first command.
        first: String,
        /// Its second.
        second: String,
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
    /// A command that is known, but not with what stands on its line.
    #[error("line {line}: `{name}` {lacks}")]
    Incomplete {
        /// The first such line.
        line: u64,
        /// The command.
        name: String,
        /// What is wrong with it, and what would be right.
        lacks: &'static str,
    },
    /// More kinds of commands that are not known than are told apart.
    #[error("line {line}: it has more unknown commands by then than are told apart")]
    TooManyUnknown {
        /// The first that is one too many.
        line: u64,
    },
    /// A tool that no printer has.
    #[error("line {line} calls or heats a tool that is not one of T0 to T15; whose turn it is then is not known")]
    ToolOutOfRange {
        /// The first such line.
        line: u64,
    },
    /// Commands behind the program's end.
    #[error(
        "line {end} ends the program, and line {line} has a command: a printer that goes on there may find its tools off"
    )]
    AfterEnd {
        /// The line that ends the program.
        end: u64,
        /// The first line behind it with a command.
        line: u64,
    },
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
        if let Some([first, second]) = crowded(told) {
            return Err(Refused::Crowded { line, first: first.to_string(), second: second.to_string() });
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
        let line = first_line(text, |unread| unread.macros.iter().any(|(found, _)| found == name));
        return Err(Refused::Unknown { line, name: name.clone() });
    }
    if let Some((name, _)) = unread.codes.iter().find(|(name, _)| !HARMLESS.contains(&name.as_str())) {
        let line = first_line(text, |unread| unread.codes.iter().any(|(found, _)| found == name));
        let name = name.clone();
        return Err(match lacks(&name) {
            Some(lacks) => Refused::Incomplete { line, name, lacks },
            None => Refused::Unknown { line, name },
        });
    }
    if unread.other > 0 {
        return Err(Refused::TooManyUnknown { line: first_line(text, |unread| unread.other > 0) });
    }
    if unread.tool_out_of_range > 0 {
        return Err(Refused::ToolOutOfRange { line: first_line(text, |unread| unread.tool_out_of_range > 0) });
    }
    Ok(())
}

/// What is wrong with a line of a code that the reader knows, where it did not understand the line.
fn lacks(name: &str) -> Option<&'static str> {
    Some(match name {
        "M104" | "M109" | "M140" | "M190" | "M141" | "M191" => "has no temperature; S and a number would be right",
        "M220" | "M221" => "has no percentage above 0; S and one would be right",
        "G10" => "with L or P may set a tool's heat or its place: what it does is not known here",
        "M30" => "with words behind it is not the program's end: what it does is not known here",
        _ => return None,
    })
}

/// What stands behind the line that ends the program and begins at that byte: comments alone are no harm.
pub(super) fn of_end(text: &[u8], byte: u64) -> Result<(), Refused> {
    let end = line_at(text, byte);
    let is_command = |line: &[u8]| !matches!(without_comments(line).trim_ascii(), b"" | b"%");
    let found = (1..).zip(raw_lines(text)).find(|(line, raw)| *line > end && is_command(raw.line));
    found.map_or(Ok(()), |(line, _)| Err(Refused::AfterEnd { end, line }))
}

/// The number of the first line with which what was not understood so far is as asked. It stays so from there on, and
/// reading up to a line again costs less than keeping a place for everything in every file.
fn first_line(text: &[u8], is_so: impl Fn(&Unread) -> bool) -> u64 {
    let ends: Vec<usize> = raw_lines(text).map(|raw| raw.byte + raw.line.len() + raw.end.len()).collect();
    let before = ends.partition_point(|end| {
        let mut reader = Reader::new();
        reader.feed(text.get(..*end).unwrap_or_default(), &mut |_| {});
        !is_so(&reader.finish(&mut |_| {}).unread)
    });
    u64::try_from(before + 1).unwrap_or(u64::MAX)
}

/// The number of the line that begins at that byte.
pub(super) fn line_at(text: &[u8], byte: u64) -> u64 {
    (1..).zip(raw_lines(text)).find(|(_, raw)| u64::try_from(raw.byte).is_ok_and(|at| at >= byte)).map_or(0, |(n, _)| n)
}
