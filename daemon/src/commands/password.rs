//! `password`: makes the configuration's line of a new password. Owns how it is asked for: from a terminal without
//! echo, twice; else one line of stdin. It is shown and kept nowhere.

use super::{Failure, output};
use crate::access::{PASSWORD_MAX, PasswordHash};
use rustix::termios::{LocalModes, OptionalActions, SpecialCodeIndex, Termios, tcgetattr, tcsetattr};
use std::io::{self, BufRead, IsTerminal, Read, Stdin};

/// What the keys send that mean something here: ASCII's control characters.
const CTRL_C: u8 = 3;
const CTRL_D: u8 = 4;
const BACKSPACE: u8 = 8;
const CTRL_U: u8 = 21;
const DELETE: u8 = 127;

pub(super) fn run() -> Result<(), Failure> {
    let stdin = io::stdin();
    let password = if stdin.is_terminal() { typed(&stdin)? } else { piped(&stdin)? };
    let hash = PasswordHash::of(&password).map_err(|fault| Failure::Asked(fault.to_string()))?;
    output::text(&format!("password_hash = \"{}\"\n", hash.as_str()))?;
    if stdin.is_terminal() {
        output::aside("This line belongs under [web] in the configuration.");
    }
    Ok(())
}

fn piped(stdin: &Stdin) -> Result<String, Failure> {
    let mut bytes = Vec::new();
    let most = u64::try_from(PASSWORD_MAX).unwrap_or(u64::MAX) + 2;
    let read = stdin.lock().take(most).read_until(b'\n', &mut bytes);
    read.map_err(|error| Failure::Work(format!("stdin: {error}")))?;
    let line = bytes.strip_suffix(b"\n").unwrap_or(&bytes);
    text(line.strip_suffix(b"\r").unwrap_or(line).to_vec())
}

fn text(bytes: Vec<u8>) -> Result<String, Failure> {
    String::from_utf8(bytes).map_err(|_| Failure::Asked("the password is not UTF-8".to_owned()))
}

fn typed(stdin: &Stdin) -> Result<String, Failure> {
    let quiet = Quiet::begin(stdin)?;
    output::part("Password, at least 15 characters: ");
    let first = line(&mut stdin.lock());
    output::part("\nOnce more: ");
    let second = first.as_ref().map_or(Ok(Vec::new()), |_| line(&mut stdin.lock()));
    output::aside("");
    drop(quiet);
    let (first, second) = (first?, second?);
    if first != second {
        return Err(Failure::Asked("the two are not the same".to_owned()));
    }
    text(first)
}

/// A line as it is typed, since the terminal no longer edits it.
fn line(keys: &mut impl Read) -> Result<Vec<u8>, Failure> {
    let mut typed: Vec<u8> = Vec::new();
    let mut key = [0];
    loop {
        let n = keys.read(&mut key).map_err(|error| Failure::Work(format!("terminal: {error}")))?;
        match key {
            _ if n == 0 => return Err(cancelled()),
            [b'\n' | b'\r'] => return Ok(typed),
            [CTRL_C | CTRL_D] => return Err(cancelled()),
            [CTRL_U] => typed.clear(),
            // A letter of UTF-8 is one byte that begins it, and what goes on from there.
            [BACKSPACE | DELETE] => while typed.pop().is_some_and(|byte| byte & 0xC0 == 0x80) {},
            [byte] => typed.push(byte),
        }
    }
}

fn cancelled() -> Failure {
    Failure::Work("no password was given".to_owned())
}

/// A terminal that shows nothing of what is typed, and is as it was again afterwards. Ctrl-C is read as a key, so that it
/// is put back then too.
struct Quiet<'t> {
    terminal: &'t Stdin,
    before: Termios,
}

impl<'t> Quiet<'t> {
    fn begin(terminal: &'t Stdin) -> Result<Self, Failure> {
        let failed = |error| Failure::Work(format!("the terminal can't be kept from showing the password: {error}"));
        let before = tcgetattr(terminal).map_err(failed)?;
        let mut quiet = before.clone();
        quiet.local_modes.remove(LocalModes::ECHO | LocalModes::ICANON | LocalModes::ISIG);
        quiet.special_codes[SpecialCodeIndex::VMIN] = 1;
        quiet.special_codes[SpecialCodeIndex::VTIME] = 0;
        tcsetattr(terminal, OptionalActions::Flush, &quiet).map_err(failed)?;
        Ok(Self { terminal, before })
    }
}

impl Drop for Quiet<'_> {
    fn drop(&mut self) {
        // A terminal that is gone shows nothing either.
        tcsetattr(self.terminal, OptionalActions::Flush, &self.before).unwrap_or_default();
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn keys_edit_the_line_as_a_terminal_would() {
        for (keys, typed) in [
            ("gull\r", "gull"),
            ("gulk\u{7f}l\n", "gull"),
            ("gü\u{8}ull\n", "gull"),
            ("slate\u{15}gull\n", "gull"),
            ("\u{7f}\u{7f}gull\nrest", "gull"),
        ] {
            assert_eq!(line(&mut keys.as_bytes()).unwrap(), typed.as_bytes(), "{keys:?}");
        }
        for keys in ["gull", "gull\u{3}\n", "\u{4}"] {
            assert!(line(&mut keys.as_bytes()).is_err(), "{keys:?}");
        }
    }
}
