//! How far a long work is, on a terminal. Owns when that is worth a line.

use std::io::{self, IsTerminal, Read, Write};
use std::time::{Duration, Instant};

/// What takes no longer than this needs no bar.
const QUIET: Duration = Duration::from_millis(500);
/// Between two looks at the bar.
const PACE: Duration = Duration::from_millis(100);
/// Columns of a full bar.
const BAR: u64 = 40;

/// A bar on stderr, if that is a terminal; it goes when it is dropped.
pub(super) struct Bar {
    doing: &'static str,
    due: Option<Instant>,
    is_drawn: bool,
}

impl Bar {
    /// A bar of what is being done.
    pub(super) fn new(doing: &'static str) -> Self {
        let due = io::stderr().is_terminal().then(|| Instant::now() + QUIET);
        Self { doing, due, is_drawn: false }
    }

    /// Shows how much is done, now and then. A whole of 0 is not known.
    pub(super) fn show(&mut self, done: u64, whole: u64) {
        let Some(due) = self.due.filter(|due| Instant::now() >= *due) else { return };
        self.due = Some(due.max(Instant::now()) + PACE);
        self.is_drawn = true;
        write(&format!("\r{}", bar(self.doing, done, whole)));
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        if self.is_drawn {
            write("\r\u{1b}[K");
        }
    }
}

/// A source that shows how much of it is read.
pub(super) struct Progress<R> {
    source: R,
    read: u64,
    /// Its length; 0 is not known.
    length: u64,
    bar: Bar,
}

impl<R> Progress<R> {
    /// Shows how much of `source`, `length` bytes long, is read.
    pub(super) fn new(source: R, length: u64) -> Self {
        Self { source, read: 0, length, bar: Bar::new("reading") }
    }
}

impl<R: Read> Read for Progress<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.source.read(buffer)?;
        self.read += u64::try_from(n).unwrap_or(0);
        self.bar.show(self.read, self.length);
        Ok(n)
    }
}

fn bar(doing: &str, done: u64, whole: u64) -> String {
    let share = |of: u64| done.min(whole).saturating_mul(of).checked_div(whole).unwrap_or(0);
    let full = usize::try_from(share(BAR)).unwrap_or(0);
    let room = usize::try_from(BAR).unwrap_or(0);
    format!("{doing} [{:<room$}] {:>3} %", "#".repeat(full), share(100))
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
        assert_eq!(bar("reading", 0, 0), format!("reading [{}]   0 %", " ".repeat(40)));
        assert_eq!(bar("reading", 50, 200), format!("reading [{}{}]  25 %", "#".repeat(10), " ".repeat(30)));
        assert_eq!(bar("reading", 300, 200), format!("reading [{}] 100 %", "#".repeat(40)));
    }

    #[test]
    fn nothing_of_the_source_is_lost() {
        let mut read = Vec::new();
        Progress::new(&b"G1 X1\n"[..], 6).read_to_end(&mut read).unwrap();
        assert_eq!(read, b"G1 X1\n");
    }
}
