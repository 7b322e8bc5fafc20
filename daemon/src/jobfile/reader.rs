//! Reads a job file fed in chunks and tells what it asks for, act by act. Owns the order of reading and what becomes of
//! a line that is not understood; however a text is cut into chunks, the acts are the same.

use super::act::{Act, What};
use super::lines::{Line, Lines};
use super::modes::Modes;
use super::outline::Unread;
use super::parameters::Parameters;
use super::unread::{Faults, UnreadCounts};
use super::words::Words;

#[cfg(test)]
mod tests;

/// Some editors put it before a text.
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// A job file on its way in.
#[derive(Debug, Default)]
pub struct Reader {
    lines: Lines,
    program: Program,
}

/// What a whole file came to, besides its acts.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadEnd {
    /// Length of the text.
    pub bytes: u64,
    /// Its lines, those after the program's end too.
    pub lines: u64,
    /// Lines of which at least one code or word was understood and run: none means that it is no job file.
    pub commands: u64,
    /// What was not understood.
    pub unread: Unread,
}

/// What the lines so far have said.
#[derive(Debug, Default)]
struct Program {
    words: Words,
    parameters: Parameters,
    modes: Modes,
    unread: UnreadCounts,
    n_lines: u64,
    n_commands: u64,
    /// Whether it began with a `%`, so that the next one ends it.
    is_delimited: bool,
    is_ended: bool,
}

impl Reader {
    /// Before the first byte. The first tool is at work; places are 0, in millimetres.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the next bytes of the text and hands out what their lines ask for. A move before the first feed has speed
    /// 0: the file does not tell it.
    pub fn feed(&mut self, chunk: &[u8], act: &mut impl FnMut(Act)) {
        let program = &mut self.program;
        self.lines.feed(chunk, |line| program.line(line, act));
    }

    /// Takes the text's end: its last line may lack an end of line.
    #[must_use]
    pub fn finish(self, act: &mut impl FnMut(Act)) -> ReadEnd {
        let Self { lines, mut program } = self;
        let bytes = lines.bytes();
        lines.finish(|line| program.line(line, act));
        let Program { n_lines, n_commands, unread, .. } = program;
        ReadEnd { bytes, lines: n_lines, commands: n_commands, unread: unread.finish() }
    }
}

impl Program {
    #[inline]
    fn line(&mut self, mut line: Line<'_>, act: &mut impl FnMut(Act)) {
        self.n_lines += 1;
        if self.is_ended || line.bytes.is_empty() {
            return;
        }
        if line.byte == 0 {
            line.bytes = line.bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(line.bytes);
        }
        self.words.read(line, &self.parameters);
        let faults = self.words.faults;
        if !faults.is_none() {
            self.unread.faults(faults, self.n_lines);
            if faults.is_harmful() {
                return;
            }
        }
        let byte = line.byte;
        let mut emit = |what| act(Act { byte, what });
        if let Some(name) = self.words.name.clone() {
            self.unread.macro_name(line.bytes.get(name).unwrap_or_default());
        } else if self.words.is_delimiter {
            self.delimit(&mut emit);
        } else if !self.words.is_empty() {
            let outcome = self.modes.run(&self.words, &mut self.unread, &mut emit);
            if let Some(fault) = outcome.fault {
                let mut faults = Faults::default();
                faults.add(fault);
                self.unread.faults(faults, self.n_lines);
            }
            self.n_commands += u64::from(outcome.is_run);
            self.is_ended = outcome.is_end;
        }
        self.parameters.set(&self.words.settings);
    }

    /// A `%` before any command begins the program, and the next one ends it (NISTIR 6556, 3.1).
    fn delimit(&mut self, emit: &mut impl FnMut(What)) {
        if self.is_delimited {
            self.is_ended = true;
            emit(What::End);
        } else {
            self.is_delimited = self.n_commands == 0;
        }
    }
}
