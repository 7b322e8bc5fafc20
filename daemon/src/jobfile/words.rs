//! One line as letters and numbers, by the rules of NISTIR 6556 (2000) and, where the trade's files differ, by theirs.
//! Owns what a well-formed line is; knows nothing of what a code does. Comments are passed over whatever they say.

use super::fault::LineFault;
use super::groups::clash;
use super::lines::Line;
use super::number::{is_blank, number, skip_blanks};
use super::parameters::{Parameters, index};
use super::unread::Faults;
use std::ops::Range;

#[cfg(test)]
mod tests;

/// The standard's bound on a line. A comment after a semicolon is none of the standard's and does not count.
const LENGTH_MAX: usize = 256;
const LINE_NUMBER_DIGITS_MAX: u32 = 5;
/// Enough for one code of every modal group.
const G_MAX: usize = 10;
const M_MAX: usize = 4;
/// How far a code may lie from the number it means.
const CODE_TOLERANCE: f64 = 0.0001;
const CODE_MAX: f64 = 9999.9;

/// What one line says. Made once and filled again and again, so that a line costs no memory.
#[derive(Debug, Default)]
pub(super) struct Words {
    values: [f64; 26],
    /// Which letters of those are given, A first.
    given: u32,
    /// Which letters stand without a number.
    bare: u32,
    g: Codes<G_MAX>,
    m: Codes<M_MAX>,
    pub(super) line_number: Option<u64>,
    pub(super) is_block_delete: bool,
    /// A line that is `%` alone: the program's beginning or end.
    pub(super) is_delimiter: bool,
    /// As told; whether it fits is a fault or none.
    pub(super) checksum: Option<u8>,
    /// Where a macro's name stands in the line; the rest of the line is not read then.
    pub(super) name: Option<Range<usize>>,
    /// Whether a code's text followed, which is not read.
    pub(super) has_text: bool,
    /// Parameters that are set once the line is done.
    pub(super) settings: Vec<(usize, f64)>,
    pub(super) faults: Faults,
}

#[derive(Clone, Copy, Debug)]
struct Codes<const N: usize> {
    tenths: [u32; N],
    n: usize,
}

impl<const N: usize> Default for Codes<N> {
    fn default() -> Self {
        Self { tenths: [0; N], n: 0 }
    }
}

impl<const N: usize> Codes<N> {
    /// Takes one more, unless it is full.
    fn push(&mut self, tenths: u32) -> Option<()> {
        *self.tenths.get_mut(self.n)? = tenths;
        self.n += 1;
        Some(())
    }

    fn all(&self) -> &[u32] {
        self.tenths.get(..self.n).unwrap_or_default()
    }
}

impl Words {
    /// G codes in tenths, in order: G59.1 is 591.
    pub(super) fn g(&self) -> &[u32] {
        self.g.all()
    }

    /// M codes in tenths, in order.
    pub(super) fn m(&self) -> &[u32] {
        self.m.all()
    }

    /// The number of an upper-case letter other than G and M.
    #[inline]
    pub(super) fn value(&self, letter: u8) -> Option<f64> {
        let idx = letter.wrapping_sub(b'A');
        if self.given & bit(idx) == 0 {
            return None;
        }
        self.values.get(usize::from(idx)).copied()
    }

    /// Whether an upper-case letter stands there, with or without a number.
    pub(super) fn names(&self, letter: u8) -> bool {
        (self.given | self.bare) & bit(letter.wrapping_sub(b'A')) != 0
    }

    /// Whether one of these upper-case letters is given.
    #[inline]
    pub(super) fn has_any(&self, letters: &[u8]) -> bool {
        letters.iter().any(|letter| self.value(*letter).is_some())
    }

    /// Whether it asks for nothing.
    pub(super) fn is_empty(&self) -> bool {
        self.given == 0 && self.g.n == 0 && self.m.n == 0
    }

    /// Reads a line in place of the one before.
    #[inline]
    pub(super) fn read(&mut self, line: Line<'_>, parameters: &Parameters) {
        self.clear();
        let found = self.scan(line.bytes, parameters);
        if let Err(fault) = found {
            self.faults.add(fault);
        }
        if line.bytes.len() > LENGTH_MAX {
            self.judge_length(line, found.ok());
        }
        if self.bare != 0 && (self.m.n == 0 && self.g.n == 0 || self.g().iter().any(|code| needs_numbers(*code))) {
            self.faults.add(LineFault::NoDigit);
        }
        if self.is_delimiter && !self.is_empty() {
            self.faults.add(LineFault::NotAWord);
        }
        if self.g.n + self.m.n > 1 && clash(self.g(), self.m()) {
            self.faults.add(LineFault::CodesClash);
        }
    }

    fn clear(&mut self) {
        (self.given, self.bare, self.g.n, self.m.n) = (0, 0, 0, 0);
        (self.line_number, self.checksum, self.name) = (None, None, None);
        (self.is_block_delete, self.is_delimiter, self.has_text) = (false, false, false);
        self.settings.clear();
        self.faults = Faults::default();
    }

    /// `unread` is what was passed over at its end on purpose.
    #[cold]
    fn judge_length(&mut self, line: Line<'_>, unread: Option<&[u8]>) {
        let comment = || line.bytes.iter().position(|byte| *byte == b';');
        let n_read = unread.map_or_else(|| comment().unwrap_or(line.bytes.len()), |rest| line.bytes.len() - rest.len());
        if n_read > LENGTH_MAX {
            self.faults.add(LineFault::TooLong);
        }
        if line.is_cut && n_read == line.bytes.len() {
            // It may have been cut within a number.
            self.faults.add(LineFault::NotAWord);
        }
    }

    /// Gives what is passed over at the line's end.
    #[inline]
    fn scan<'l>(&mut self, line: &'l [u8], parameters: &Parameters) -> Result<&'l [u8], LineFault> {
        let mut rest = self.head(line)?;
        while let Some((&byte, tail)) = rest.split_first() {
            let letter = (byte | 0x20).wrapping_sub(b'a');
            rest = if letter < 26 {
                self.word(letter, tail, parameters)?
            } else {
                match byte {
                    b' ' | b'\t' => tail,
                    b';' => return Ok(rest),
                    b'(' => after_comment(tail)?,
                    b'*' => self.checksum(line, tail)?,
                    b'#' => self.setting(tail, parameters)?,
                    b'[' => return Err(LineFault::Expression),
                    _ => return Err(LineFault::NotAWord),
                }
            };
            if self.has_text {
                break;
            }
        }
        Ok(rest)
    }

    /// What only stands at a line's beginning.
    #[inline]
    fn head<'l>(&mut self, line: &'l [u8]) -> Result<&'l [u8], LineFault> {
        let mut rest = skip_blanks(line);
        if let Some(tail) = rest.strip_prefix(b"/") {
            self.is_block_delete = true;
            rest = skip_blanks(tail);
        }
        if let Some(tail) = rest.strip_prefix(b"%") {
            self.is_delimiter = true;
            return Ok(tail);
        }
        if let [b'N' | b'n', next, ..] = rest
            && !is_of_name(*next)
        {
            rest = skip_blanks(self.number_line(rest.get(1..).unwrap_or_default())?);
        } else if let [b'N' | b'n'] = rest {
            return Err(LineFault::NoDigit);
        }
        if let [first, second, ..] = rest
            && is_of_name(*first)
            && is_of_name(*second)
        {
            let n = rest.iter().take_while(|byte| byte.is_ascii_digit() || is_of_name(**byte)).count();
            let begins = line.len() - rest.len();
            self.name = Some(begins..begins + n);
            self.has_text = true;
            return Ok(&[]);
        }
        Ok(rest)
    }

    fn number_line<'l>(&mut self, text: &'l [u8]) -> Result<&'l [u8], LineFault> {
        let (mut rest, mut value, mut n_digits) = (text, 0_u64, 0_u32);
        while let Some((&byte, tail)) = rest.split_first() {
            match byte {
                b'0'..=b'9' => {
                    value = value.saturating_mul(10).saturating_add(u64::from(byte - b'0'));
                    n_digits += 1;
                }
                b'+' | b'-' | b'.' | b'#' => return Err(LineFault::LineNumber),
                _ if is_blank(byte) => {}
                _ => break,
            }
            rest = tail;
        }
        if n_digits == 0 {
            return Err(LineFault::NoDigit);
        }
        if n_digits > LINE_NUMBER_DIGITS_MAX {
            self.faults.add(LineFault::LineNumberDigits);
        }
        self.line_number = Some(value);
        Ok(rest)
    }

    #[inline]
    fn word<'l>(&mut self, letter: u8, text: &'l [u8], parameters: &Parameters) -> Result<&'l [u8], LineFault> {
        let (value, rest) = match number(text) {
            Err(LineFault::NoDigit) if is_bare(text) => return self.bare_letter(letter, text),
            Err(LineFault::NoDigit) => parameters.number(text)?,
            found => found?,
        };
        match letter + b'A' {
            b'G' => self.g.push(code(value)?).ok_or(LineFault::CodesClash)?,
            b'M' => {
                let tenths = code(value)?;
                self.m.push(tenths).ok_or(LineFault::TooManyM)?;
                self.has_text = takes_text(tenths) && is_text(rest);
            }
            b'N' => return Err(LineFault::LineNumber),
            b'T' if value < 0.0 => return Err(LineFault::NegativeTool),
            _ => {
                let bit = bit(letter);
                if (self.given | self.bare) & bit != 0 {
                    return Err(LineFault::LetterTwice);
                }
                self.given |= bit;
                if let Some(place) = self.values.get_mut(usize::from(letter)) {
                    *place = value;
                }
            }
        }
        Ok(rest)
    }

    #[cold]
    fn bare_letter<'l>(&mut self, letter: u8, text: &'l [u8]) -> Result<&'l [u8], LineFault> {
        if matches!(letter + b'A', b'G' | b'M' | b'N' | b'T') {
            return Err(LineFault::NoDigit);
        }
        if (self.given | self.bare) & bit(letter) != 0 {
            return Err(LineFault::LetterTwice);
        }
        self.bare |= bit(letter);
        Ok(text)
    }

    /// The exclusive or of all bytes before the asterisk: common practice of serial lines, no source.
    fn checksum<'l>(&mut self, line: &'l [u8], text: &'l [u8]) -> Result<&'l [u8], LineFault> {
        let sum = line.get(..line.len() - text.len() - 1).unwrap_or_default().iter().fold(0, |sum, byte| sum ^ byte);
        let text = skip_blanks(text);
        let n = text.iter().take_while(|byte| byte.is_ascii_digit()).count();
        let (digits, rest) = text.split_at(n);
        let told = std::str::from_utf8(digits).ok().and_then(|digits| digits.parse::<u8>().ok());
        self.checksum = told;
        let rest = skip_blanks(rest);
        let is_end = matches!(rest.first(), None | Some(b';'));
        if told == Some(sum) && is_end { Ok(rest) } else { Err(LineFault::Checksum) }
    }

    fn setting<'l>(&mut self, text: &'l [u8], parameters: &Parameters) -> Result<&'l [u8], LineFault> {
        let (place, rest) = parameters.number(text)?;
        let place = index(place)?;
        let rest = skip_blanks(rest).strip_prefix(b"=").ok_or(LineFault::Parameter)?;
        let (value, rest) = parameters.number(rest)?;
        self.settings.push((place, value));
        Ok(rest)
    }
}

/// What a macro's name is of; a digit may follow, but not as its second character: that would be a word.
const fn is_of_name(byte: u8) -> bool {
    byte.is_ascii_alphabetic() || byte == b'_'
}

/// A letter's place in a set of letters, A being 0.
fn bit(letter: u8) -> u32 {
    1_u32.wrapping_shl(u32::from(letter))
}

/// Whether a letter with nothing behind it is all that it was meant to be: an axis or a choice (`G28 X`). The standard
/// has no such word, the trade's files do: common practice, no source.
#[cold]
fn is_bare(text: &[u8]) -> bool {
    skip_blanks(text).first().is_none_or(|byte| byte.is_ascii_alphabetic() || matches!(byte, b';' | b'(' | b'*'))
}

/// Codes of which a letter without a number makes no sense: moves, a dwell and a new zero.
const fn needs_numbers(tenths: u32) -> bool {
    matches!(tenths, 0 | 10 | 20 | 30 | 40 | 920)
}

fn after_comment(text: &[u8]) -> Result<&[u8], LineFault> {
    let end = text.iter().position(|byte| matches!(byte, b'(' | b')')).ok_or(LineFault::CommentOpen)?;
    match text.split_at(end).1.split_first() {
        Some((b')', rest)) => Ok(rest),
        _ => Err(LineFault::CommentNested),
    }
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "its range is checked"
)]
fn code(value: f64) -> Result<u32, LineFault> {
    if !(-CODE_TOLERANCE..=CODE_MAX).contains(&value) {
        return Err(LineFault::OutOfRange);
    }
    let tenths = (value * 10.0 + 0.5) as u32;
    let is_near = (f64::from(tenths) / 10.0 - value).abs() <= CODE_TOLERANCE;
    if is_near { Ok(tenths) } else { Err(LineFault::NotAWord) }
}

/// Codes whose rest is a text or a file's name: messages, and what files on the machine are called by. Common practice,
/// no source; M30 alone is the standard's end.
const fn takes_text(tenths: u32) -> bool {
    matches!(tenths, 230 | 280 | 300 | 320 | 980 | 1170 | 1180)
}

fn is_text(rest: &[u8]) -> bool {
    !matches!(skip_blanks(rest).first(), None | Some(b';' | b'(' | b'*'))
}
