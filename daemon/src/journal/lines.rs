//! A journal's lines as entries, read on a thread of their own, so that a replay goes on meanwhile. Owns where a line
//! ends and which number it has; what it says stands in `read`.

use super::fault::LineFault;
use super::read::Parser;
use crate::entry::{Entry, PrinterName};
use dwell_analysis::time::Timestamp;
use std::io::{self, Read};
use std::sync::mpsc;
use std::thread::JoinHandle;

/// What is read at a time: some 250 readings of two tools.
const PIECE_BYTES: usize = 1 << 16;
/// The longest line that is read: a reading of sixteen tools is under 4 KiB, a note is a person's.
const LINE_BYTES_MAX: usize = 1 << 20;
/// Pieces that may wait to be followed; more would only fill the memory.
const PIECES_WAITING: usize = 4;

/// What one line says.
#[derive(Debug)]
pub struct Line {
    /// Its number, from 1; empty lines count.
    pub number: u64,
    /// Of which printer it tells.
    pub printer: PrinterName,
    /// What it tells.
    pub entry: Entry,
}

/// A journal that is being read: its lines in order, a piece at a time. It ends with its end or with its first fault,
/// and every line before a fault is given.
#[derive(Debug)]
pub struct Lines {
    pieces: mpsc::Receiver<Result<Vec<Line>, LineFault>>,
    thread: Option<JoinHandle<()>>,
}

impl Lines {
    /// Begins to read a journal. `now` is the reader's clock.
    ///
    /// Whoever drops this before the end leaves the thread to itself: it may wait for a person's next line, and nothing
    /// could wake it; it ends with the next piece.
    ///
    /// # Errors
    /// If there is no thread to be had.
    pub fn read(journal: impl Read + Send + 'static, now: Timestamp) -> Result<Self, LineFault> {
        let (given, pieces) = mpsc::sync_channel(PIECES_WAITING);
        let mut text = Text { journal, held: Vec::new(), n_lines: 0, parser: Parser::new(now) };
        let run = move || {
            let mut goes_on = true;
            while goes_on {
                let mut lines = Vec::new();
                let read = text.piece(&mut lines);
                // Nobody waits for more once the sending fails.
                goes_on = given.send(Ok(lines)).is_ok() && matches!(read, Ok(true));
                if let Err(fault) = read {
                    drop(given.send(Err(fault)));
                }
            }
        };
        let thread = std::thread::Builder::new().name("journal".to_owned()).spawn(run);
        let thread = thread.map_err(|error| LineFault::new(1, error))?;
        Ok(Self { pieces, thread: Some(thread) })
    }
}

impl Iterator for Lines {
    type Item = Result<Vec<Line>, LineFault>;

    fn next(&mut self) -> Option<Self::Item> {
        if let Ok(piece) = self.pieces.recv() {
            return Some(piece);
        }
        match self.thread.take()?.join() {
            Ok(()) => None,
            // A thread that went down has not come to the journal's end.
            Err(fault_of_ours) => std::panic::resume_unwind(fault_of_ours),
        }
    }
}

struct Text<R> {
    journal: R,
    /// What is read and not yet a whole line.
    held: Vec<u8>,
    n_lines: u64,
    parser: Parser,
}

impl<R: Read> Text<R> {
    /// Reads on, as far as the source has something to give, and adds what its whole lines say. Says whether there may
    /// be more.
    fn piece(&mut self, lines: &mut Vec<Line>) -> Result<bool, LineFault> {
        let n_held = self.held.len();
        self.held.resize(n_held + PIECE_BYTES, 0);
        let read = loop {
            match self.journal.read(&mut self.held[n_held..]) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                read => break read,
            }
        };
        self.held.truncate(n_held + read.as_ref().map_or(0, |n| *n));
        let n = read.map_err(|error| LineFault::new(self.n_lines + 1, error))?;
        // The last line may have no end; an earlier one without it is not whole yet.
        let whole = if n == 0 {
            Some(n_held)
        } else {
            memchr::memrchr(b'\n', &self.held[n_held..]).map(|end| n_held + end + 1)
        };
        let whole = whole.unwrap_or(0);
        let held = std::mem::take(&mut self.held);
        let mut rest = &held[..whole];
        while !rest.is_empty() {
            let end = memchr::memchr(b'\n', rest).map_or(rest.len(), |end| end + 1);
            let (line, after) = rest.split_at(end);
            rest = after;
            lines.extend(self.line(line)?);
        }
        self.held = held;
        self.held.drain(..whole);
        if self.held.len() >= LINE_BYTES_MAX {
            return Err(LineFault::new(self.n_lines + 1, "longer than 1 MiB"));
        }
        Ok(n > 0)
    }

    /// What the next line says; an empty one says nothing.
    fn line(&mut self, line: &[u8]) -> Result<Option<Line>, LineFault> {
        self.n_lines += 1;
        let number = self.n_lines;
        if line.len() >= LINE_BYTES_MAX {
            return Err(LineFault::new(number, "longer than 1 MiB"));
        }
        let text = std::str::from_utf8(line).map_err(|error| LineFault::new(number, format!("not UTF-8: {error}")))?;
        // Some editors begin a UTF-8 file with a byte-order mark.
        let text = text.trim_start_matches('\u{feff}').trim();
        if text.is_empty() {
            return Ok(None);
        }
        let (printer, entry) = self.parser.line(text).map_err(|fault| LineFault::new(number, fault))?;
        Ok(Some(Line { number, printer, entry }))
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    const NOW: Timestamp = Timestamp::from_ms(1_800_000_000_000);

    fn line(second: u32) -> String {
        format!(
            r#"{{"kind":"reading","printer":"bench","at":"2026-03-02T08:00:{second:02}Z","job":{{"state":"none"}},"tools":[]}}"#
        )
    }

    /// A source that gives so many bytes at a time.
    struct Slow(io::Cursor<Vec<u8>>, usize);

    impl Read for Slow {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            let n = into.len().min(self.1);
            self.0.read(&mut into[..n])
        }
    }

    /// The numbers of the lines that are given, and the fault at the end.
    fn read(text: Vec<u8>, at_a_time: usize) -> (Vec<u64>, Option<String>) {
        let (mut numbers, mut fault) = (Vec::new(), None);
        for piece in Lines::read(Slow(io::Cursor::new(text), at_a_time), NOW).unwrap() {
            assert!(fault.is_none(), "nothing comes after a fault");
            match piece {
                Ok(lines) => numbers.extend(lines.iter().map(|line| line.number)),
                Err(found) => fault = Some(found.to_string()),
            }
        }
        (numbers, fault)
    }

    #[test]
    fn lines_are_numbered_and_told_alike_however_their_bytes_come() {
        let text = format!("\u{feff}{}\n\n{}\r\n  \n{}", line(1), line(2), line(3));
        for at_a_time in [1, 7, 100, 1 << 20] {
            assert_eq!(read(text.clone().into_bytes(), at_a_time), (vec![1, 3, 5], None));
        }
    }

    #[test]
    fn a_fault_names_its_line_and_the_lines_before_it_are_given() {
        let mut not_utf8 = format!("{}\n", line(1)).into_bytes();
        not_utf8.extend([b'"', 0xff, b'\n']);
        not_utf8.extend(line(2).into_bytes());
        let long = format!("{}\n{}\n{}", line(1), " ".repeat(LINE_BYTES_MAX), line(2));
        let endless = format!("{}\n{}", line(1), " ".repeat(2 * LINE_BYTES_MAX));
        let cut = format!("{}\n{}", line(1), &line(2)[..40]);
        for (text, says) in [
            (not_utf8, "line 2: not UTF-8"),
            (long.into_bytes(), "line 2: longer than 1 MiB"),
            (endless.into_bytes(), "line 2: longer than 1 MiB"),
            (cut.into_bytes(), "line 2: not a journal line"),
        ] {
            for at_a_time in [5000, 1 << 20] {
                let (numbers, fault) = read(text.clone(), at_a_time);
                let fault = fault.unwrap();
                assert!(numbers == [1] && fault.starts_with(says), "{numbers:?}, {fault}");
            }
        }
    }
}
