//! One line by its letters alone. Owns what a comment is here and which commands stand on a line; what they do is the
//! reader's to know.

use std::fmt;

/// A command as it is usually written, such as `M104`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Command {
    pub(super) letter: char,
    pub(super) number: u32,
}

impl fmt::Display for Command {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.letter, self.number)
    }
}

impl Command {
    /// What a tool's set point is given by.
    const HEATS: [u32; 2] = [104, 109];
    const CHANGE: Self = Self { letter: 'M', number: 6 };
    /// What follows them is a text.
    const MESSAGES: [u32; 2] = [117, 118];

    fn is_m(self, numbers: &[u32]) -> bool {
        self.letter == 'M' && numbers.contains(&self.number)
    }
}

/// The first two commands of a line that does something else beside a tool's heat, or beside a tool's call: a machine that
/// takes one command a line leaves the rest of it undone. `M6` beside a call is the call itself.
pub(super) fn crowded(line: &[u8]) -> Option<[Command; 2]> {
    let is_letter = |byte: &&u8| matches!(byte.to_ascii_uppercase(), b'G' | b'M' | b'T');
    // Nearly every line of a job has one command.
    if line.iter().take_while(|byte| **byte != b';').filter(is_letter).count() < 2 {
        return None;
    }
    let commands = commands(&without_comments(line));
    let [first, second, ..] = *commands.as_slice() else { return None };
    let is_heat = commands.iter().any(|one| one.is_m(&Command::HEATS));
    let is_call = first.letter == 'T' && commands.iter().skip(1).any(|one| *one != Command::CHANGE);
    (is_heat || is_call).then_some([first, second])
}

/// Every G and M, and a T that the line begins with: behind another command it says what that is meant for.
fn commands(bare: &[u8]) -> Vec<Command> {
    let mut rest = bare.trim_ascii();
    let mut found = Vec::new();
    // A macro's name, and what it is given, are none of these.
    if let [b'A'..=b'Z' | b'a'..=b'z', b'A'..=b'Z' | b'a'..=b'z' | b'_', ..] = rest {
        return found;
    }
    let mut is_first = true;
    while let Some((byte, tail)) = rest.split_first() {
        rest = tail;
        let letter = byte.to_ascii_uppercase();
        if letter.is_ascii_alphabetic() {
            if matches!(letter, b'G' | b'M') || letter == b'T' && is_first {
                let command = Command { letter: char::from(letter), number: number(tail) };
                found.push(command);
                if command.is_m(&Command::MESSAGES) {
                    break;
                }
            }
            is_first = false;
        }
    }
    found
}

/// The whole number that a text begins with; blanks within it are none of it.
fn number(text: &[u8]) -> u32 {
    let digits = text.iter().filter(|byte| !matches!(byte, b' ' | b'\t')).take_while(|byte| byte.is_ascii_digit());
    digits.fold(0, |sum: u32, digit| sum.saturating_mul(10).saturating_add(u32::from(digit - b'0')))
}

/// The line without its comments, those in brackets too.
pub(super) fn without_comments(line: &[u8]) -> Vec<u8> {
    let mut is_within = false;
    let mut bare = Vec::with_capacity(line.len());
    for byte in line.iter().copied().take_while(|byte| *byte != b';') {
        match byte {
            b'(' => is_within = true,
            b')' if is_within => is_within = false,
            _ if is_within => {}
            _ => bare.push(byte),
        }
    }
    bare
}
