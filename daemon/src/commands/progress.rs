//! How far a long file is read, on a terminal. Owns when that is worth a line.

use std::io::{self, IsTerminal, Read, Write};
use std::time::{Duration, Instant};

/// A file that is read faster than this needs no bar.
const QUIET: Duration = Duration::from_millis(500);
/// Between two looks at the bar.
const PACE: Duration = Duration::from_millis(100);
/// Columns of a full bar.
const BAR: u64 = 40;

/// A source that shows on stderr how much of it is read, if that is a terminal.
pub(super) struct Progress<R> {
    source: R,
    read: u64,
    /// Its length; 0 is not known.
    length: u64,
    shown: Option<Instant>,
    is_drawn: bool,
}

impl<R> Progress<R> {
    /// Shows how much of `source`, `length` bytes long, is read.
    pub(super) fn new(source: R, length: u64) -> Self {
        let shown = io::stderr().is_terminal().then(|| Instant::now() + QUIET);
        Self { source, read: 0, length, shown, is_drawn: false }
    }

    fn draw(&mut self) {
        let Some(due) = self.shown.filter(|due| Instant::now() >= *due) else { return };
        self.shown = Some(due.max(Instant::now()) + PACE);
        self.is_drawn = true;
        write(&format!("\r{}", bar(self.read, self.length)));
    }
}

impl<R> Drop for Progress<R> {
    fn drop(&mut self) {
        if self.is_drawn {
            write("\r\u{1b}[K");
        }
    }
}

impl<R: Read> Read for Progress<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.source.read(buffer)?;
        self.read += u64::try_from(n).unwrap_or(0);
        self.draw();
        Ok(n)
    }
}

fn bar(read: u64, length: u64) -> String {
    let share = |of: u64| (read.min(length) * of).checked_div(length).unwrap_or(0);
    let full = usize::try_from(share(BAR)).unwrap_or(0);
    let room = usize::try_from(BAR).unwrap_or(0);
    format!("reading [{:<room$}] {:>3} %", "#".repeat(full), share(100))
}

/// A bar that can't be shown is no reason to stop.
fn write(text: &str) {
    let mut stderr = io::stderr().lock();
    drop(stderr.write_all(text.as_bytes()).and_then(|()| stderr.flush()));
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn a_bar_tells_the_share_and_never_more_than_all_of_it() {
        assert_eq!(bar(0, 0), format!("reading [{}]   0 %", " ".repeat(40)));
        assert_eq!(bar(50, 200), format!("reading [{}{}]  25 %", "#".repeat(10), " ".repeat(30)));
        assert_eq!(bar(300, 200), format!("reading [{}] 100 %", "#".repeat(40)));
    }

    #[test]
    fn nothing_of_the_source_is_lost() {
        let mut read = Vec::new();
        Progress::new(&b"G1 X1\n"[..], 6).read_to_end(&mut read).unwrap();
        assert_eq!(read, b"G1 X1\n");
    }
}
