//! Counts what of a file is not understood. Owns the bounds, so that no file makes it grow.

use super::fault::LineFault;
use super::outline::Unread;

/// Different codes and macro names that are told apart; real files have a score of them.
const CODES_MAX: usize = 64;
const MACROS_MAX: usize = 32;
/// Bytes of a macro's name.
const NAME_MAX: usize = 64;

const KINDS: [LineFault; 17] = [
    LineFault::TooLong,
    LineFault::LineNumberDigits,
    LineFault::LineNumber,
    LineFault::Checksum,
    LineFault::CommentOpen,
    LineFault::CommentNested,
    LineFault::NoDigit,
    LineFault::TwoPoints,
    LineFault::OutOfRange,
    LineFault::LetterTwice,
    LineFault::CodesClash,
    LineFault::TooManyM,
    LineFault::Parameter,
    LineFault::Expression,
    LineFault::NegativeTool,
    LineFault::NotAWord,
    LineFault::Arc,
];

/// Faults of one line, each once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Faults(u32);

impl Faults {
    pub(super) fn add(&mut self, fault: LineFault) {
        self.0 |= bit(fault);
    }

    pub(super) fn has(self, fault: LineFault) -> bool {
        self.0 & bit(fault) != 0
    }

    pub(super) fn is_none(self) -> bool {
        self.0 == 0
    }

    /// Whether one of them leaves open what the line means.
    pub(super) fn is_harmful(self) -> bool {
        self.iter().any(|fault| !fault.is_harmless())
    }

    pub(super) fn iter(self) -> impl Iterator<Item = LineFault> {
        KINDS.into_iter().filter(move |fault| self.has(*fault))
    }
}

/// Its place in a set of bits. A new kind does not compile without one; [`KINDS`] has to name it too, as a test asks.
const fn bit(fault: LineFault) -> u32 {
    1 << match fault {
        LineFault::TooLong => 0,
        LineFault::LineNumberDigits => 1,
        LineFault::LineNumber => 2,
        LineFault::Checksum => 3,
        LineFault::CommentOpen => 4,
        LineFault::CommentNested => 5,
        LineFault::NoDigit => 6,
        LineFault::TwoPoints => 7,
        LineFault::OutOfRange => 8,
        LineFault::LetterTwice => 9,
        LineFault::CodesClash => 10,
        LineFault::TooManyM => 11,
        LineFault::Parameter => 12,
        LineFault::Expression => 13,
        LineFault::NegativeTool => 14,
        LineFault::NotAWord => 15,
        LineFault::Arc => 16,
    }
}

/// The counts so far.
#[derive(Debug, Default)]
pub(super) struct UnreadCounts {
    codes: Vec<(char, u32, u64)>,
    macros: Vec<(String, u64)>,
    faults: Vec<(LineFault, u64, u64)>,
    other: u64,
    tool_out_of_range: u64,
}

impl UnreadCounts {
    /// A code in tenths, `M` 9000 for M900.
    pub(super) fn code(&mut self, letter: char, tenths: u32) {
        if let Some((.., n)) = self.codes.iter_mut().find(|(l, code, _)| (*l, *code) == (letter, tenths)) {
            *n += 1;
        } else if self.codes.len() < CODES_MAX {
            self.codes.push((letter, tenths, 1));
        } else {
            self.other += 1;
        }
    }

    /// A macro by its name; names are told apart by their first bytes alone, and not by case.
    pub(super) fn macro_name(&mut self, name: &[u8]) {
        let name = name.get(..NAME_MAX).unwrap_or(name);
        if let Some((_, n)) = self.macros.iter_mut().find(|(known, _)| known.as_bytes().eq_ignore_ascii_case(name)) {
            *n += 1;
        } else if self.macros.len() < MACROS_MAX {
            self.macros.push((String::from_utf8_lossy(name).into_owned(), 1));
        } else {
            self.other += 1;
        }
    }

    /// The faults of the line of that number.
    pub(super) fn faults(&mut self, faults: Faults, line: u64) {
        for fault in faults.iter() {
            match self.faults.iter_mut().find(|(known, ..)| *known == fault) {
                Some((_, n, _)) => *n += 1,
                None => self.faults.push((fault, 1, line)),
            }
        }
    }

    /// A tool that no printer here may have.
    pub(super) fn tool_out_of_range(&mut self) {
        self.tool_out_of_range += 1;
    }

    /// What came together, in the order in which it was first met.
    pub(super) fn finish(self) -> Unread {
        let name = |(letter, tenths, n): (char, u32, u64)| match tenths % 10 {
            0 => (format!("{letter}{}", tenths / 10), n),
            tenth => (format!("{letter}{}.{tenth}", tenths / 10), n),
        };
        Unread {
            codes: self.codes.into_iter().map(name).collect(),
            macros: self.macros,
            faults: self.faults,
            other: self.other,
            tool_out_of_range: self.tool_out_of_range,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_fault_is_told_apart_and_none_is_left_out() {
        let mut all = Faults::default();
        for fault in KINDS {
            all.add(fault);
        }
        assert_eq!((all.0, all.iter().count()), (2 * bit(LineFault::Arc) - 1, KINDS.len()));
    }
}
