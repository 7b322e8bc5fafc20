//! How far a long work is, on a terminal. Owns when that is worth a line.

use std::io::{self, IsTerminal, Read, Write};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// What takes no longer than this needs no bar.
const QUIET: Duration = Duration::from_millis(500);
/// Between two looks at the bar.
const PACE: Duration = Duration::from_millis(100);
/// Columns of a full bar.
const BAR: u64 = 40;

/// A bar on stderr, if that is a terminal. Its clones are the same bar, which may run over several sources; it has to
/// be wiped before anything else is said.
#[derive(Clone)]
pub(super) struct Bar(Option<Arc<Mutex<Drawn>>>);

struct Drawn {
    doing: &'static str,
    began: Instant,
    due: Instant,
    is_there: bool,
    has_lines: bool,
    count: Count,
}

/// What is done.
#[derive(Clone, Copy, Default)]
struct Count {
    /// Bytes, or whatever else the work is measured by.
    read: u64,
    /// Of how many; 0 is not known.
    length: u64,
    lines: u64,
}

impl Bar {
    /// A bar for reading so many bytes; 0 is not known.
    pub(super) fn new(length: u64) -> Self {
        Self::start("reading", length, false)
    }

    /// A bar for other work; [`Self::show`] says how far it is.
    pub(super) fn doing(doing: &'static str) -> Self {
        Self::start(doing, 0, false)
    }

    /// A bar that also says how many lines are read a second, and how long the rest will take.
    pub(super) fn of_lines(length: u64) -> Self {
        Self::start("reading", length, true)
    }

    fn start(doing: &'static str, length: u64, has_lines: bool) -> Self {
        let began = Instant::now();
        let count = Count { length, ..Count::default() };
        let drawn = Drawn { doing, began, due: began + QUIET, is_there: false, has_lines, count };
        Self(io::stderr().is_terminal().then(|| Arc::new(Mutex::new(drawn))))
    }

    fn note(&self, piece: &[u8]) {
        let Some(mut drawn) = self.drawn() else { return };
        drawn.count.read += u64::try_from(piece.len()).unwrap_or(0);
        if drawn.has_lines {
            drawn.count.lines += memchr::memchr_iter(b'\n', piece).map(|_| 1).sum::<u64>();
        }
        drawn.draw();
    }

    /// Shows how much is done, now and then.
    pub(super) fn show(&self, done: u64, whole: u64) {
        let Some(mut drawn) = self.drawn() else { return };
        drawn.count = Count { read: done, length: whole, lines: 0 };
        drawn.draw();
    }

    /// Takes the bar away.
    pub(super) fn wipe(&self) {
        let Some(mut drawn) = self.drawn() else { return };
        if std::mem::take(&mut drawn.is_there) {
            write("\r\u{1b}[K");
        }
    }

    fn drawn(&self) -> Option<MutexGuard<'_, Drawn>> {
        self.0.as_ref().map(|drawn| drawn.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Drawn {
    fn draw(&mut self) {
        let now = Instant::now();
        if now < self.due {
            return;
        }
        self.due = now + PACE;
        self.is_there = true;
        let time = self.has_lines.then(|| now - self.began);
        write(&format!("\r{}\u{1b}[K", line(self.doing, self.count, time)));
    }
}

/// A source of which a bar shows how much is read.
pub(super) struct Progress<R> {
    source: R,
    bar: Bar,
}

impl<R> Progress<R> {
    pub(super) fn new(source: R, bar: &Bar) -> Self {
        Self { source, bar: bar.clone() }
    }
}

impl<R: Read> Read for Progress<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.source.read(buffer)?;
        self.bar.note(&buffer[..n]);
        Ok(n)
    }
}

/// The bar's line; with the `time` so far it also tells of lines.
fn line(doing: &str, count: Count, time: Option<Duration>) -> String {
    let Count { read, length, lines } = count;
    let share = |of: u64| (read.min(length) * of).checked_div(length).unwrap_or(0);
    let full = usize::try_from(share(BAR)).unwrap_or(0);
    let room = usize::try_from(BAR).unwrap_or(0);
    let bar = format!("{doing} [{:<room$}] {:>3} %", "#".repeat(full), share(100));
    let Some(time) = time else { return bar };
    let a_second = |n: u64| u128::from(n) * 1000 / time.as_millis().max(1);
    let pace = format!("{} lines/s", a_second(lines));
    if length == 0 {
        return format!("{doing}  {lines} lines, {pace}");
    }
    // Nothing read yet says nothing of the rest.
    let left = match a_second(read) {
        0 => String::new(),
        pace => format!(", {} s left", u128::from(length.saturating_sub(read)).div_ceil(pace)),
    };
    format!("{bar}, {pace}{left}")
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

    fn bar(read: u64, length: u64) -> String {
        line("reading", Count { read, length, lines: 0 }, None)
    }

    #[test]
    fn a_bar_tells_the_share_and_never_more_than_all_of_it() {
        assert_eq!(bar(0, 0), format!("reading [{}]   0 %", " ".repeat(40)));
        assert_eq!(bar(50, 200), format!("reading [{}{}]  25 %", "#".repeat(10), " ".repeat(30)));
        assert_eq!(bar(300, 200), format!("reading [{}] 100 %", "#".repeat(40)));
    }

    #[test]
    fn lines_have_a_pace_and_the_rest_a_time_where_the_length_is_known() {
        let two_seconds = Some(Duration::from_secs(2));
        let known = line("reading", Count { read: 5_000, length: 20_000, lines: 30 }, two_seconds);
        assert_eq!(known, format!("reading [{}{}]  25 %, 15 lines/s, 6 s left", "#".repeat(10), " ".repeat(30)));
        assert_eq!(
            line("reading", Count { read: 5_000, length: 0, lines: 30 }, two_seconds),
            "reading  30 lines, 15 lines/s"
        );
        assert!(line("reading", Count { read: 0, length: 9, lines: 0 }, Some(Duration::ZERO)).ends_with(", 0 lines/s"));
        let almost = line("reading", Count { read: 19_999, length: 20_000, lines: 30 }, two_seconds);
        assert!(almost.ends_with(", 1 s left"), "{almost}");
    }

    #[test]
    fn nothing_of_the_source_is_lost() {
        let mut read = Vec::new();
        Progress::new(&b"G1 X1\n"[..], &Bar::new(6)).read_to_end(&mut read).unwrap();
        assert_eq!(read, b"G1 X1\n");
    }
}
