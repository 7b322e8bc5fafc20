//! Cuts chunks of bytes into lines. Owns where a line begins and ends, and that any bytes at all take the same small
//! memory; knows nothing of what a line says.

use memchr::memchr2;

/// Bytes of a line that are read; what comes after them is passed over. The standard's own bound is 256 characters.
pub(super) const LINE_MAX: usize = 4096;

/// A line without its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Line<'a> {
    /// Its first byte's place in the whole text.
    pub(super) byte: u64,
    /// The first [`LINE_MAX`] bytes of it.
    pub(super) bytes: &'a [u8],
    /// Whether it was longer.
    pub(super) is_cut: bool,
}

/// The line that is under way between two chunks.
#[derive(Debug, Default)]
pub(super) struct Lines {
    /// Where the next chunk begins in the whole text.
    next: u64,
    /// Where the line under way begins.
    began: u64,
    /// What is known of it.
    carry: Vec<u8>,
    is_cut: bool,
    /// Whether the last byte was a carriage return: a line feed right after it ends no other line.
    after_return: bool,
}

impl Lines {
    /// Bytes fed so far.
    pub(super) fn bytes(&self) -> u64 {
        self.next
    }

    /// Hands out every line that ends within the chunk. One that lies within it as a whole is not copied.
    pub(super) fn feed(&mut self, chunk: &[u8], mut on_line: impl FnMut(Line<'_>)) {
        let mut rest = chunk;
        if self.after_return && !rest.is_empty() {
            self.after_return = false;
            if let Some(tail) = rest.strip_prefix(b"\n") {
                self.pass(1);
                rest = tail;
            }
        }
        while let Some(idx) = memchr2(b'\n', b'\r', rest) {
            let (text, tail) = rest.split_at(idx);
            let (end, mut tail) = tail.split_at(1);
            let mut n_end = 1;
            if end == b"\r" {
                if let Some(after) = tail.strip_prefix(b"\n") {
                    (tail, n_end) = (after, 2);
                } else {
                    self.after_return = tail.is_empty();
                }
            }
            self.hand_out(text, &mut on_line);
            self.pass(idx + n_end);
            rest = tail;
        }
        self.keep(rest);
        self.next = self.next.saturating_add(count(rest.len()));
    }

    /// Hands out the last line where no end of line stands behind it.
    pub(super) fn finish(mut self, mut on_line: impl FnMut(Line<'_>)) {
        if self.next > self.began {
            self.hand_out(&[], &mut on_line);
        }
    }

    fn hand_out(&mut self, text: &[u8], on_line: &mut impl FnMut(Line<'_>)) {
        if self.carry.is_empty() {
            let (bytes, rest) = text.split_at(text.len().min(LINE_MAX));
            on_line(Line { byte: self.began, bytes, is_cut: !rest.is_empty() });
        } else {
            self.keep(text);
            on_line(Line { byte: self.began, bytes: &self.carry, is_cut: self.is_cut });
            self.carry.clear();
            self.is_cut = false;
        }
    }

    fn keep(&mut self, text: &[u8]) {
        let (kept, dropped) = text.split_at(text.len().min(LINE_MAX - self.carry.len()));
        self.carry.extend_from_slice(kept);
        self.is_cut |= !dropped.is_empty();
    }

    /// The line under way has ended, so many bytes on.
    fn pass(&mut self, n: usize) {
        self.next = self.next.saturating_add(count(n));
        self.began = self.next;
    }
}

/// A length as a place in a text.
fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop")]
mod tests {
    use super::{LINE_MAX, Lines};

    /// Byte, text and whether it was cut, of every line, fed in chunks of that size.
    fn lines(text: &[u8], size: usize) -> Vec<(u64, Vec<u8>, bool)> {
        let (mut lines, mut found) = (Lines::default(), Vec::new());
        let mut keep = |line: super::Line<'_>| found.push((line.byte, line.bytes.to_vec(), line.is_cut));
        text.chunks(size).for_each(|chunk| lines.feed(chunk, &mut keep));
        lines.finish(&mut keep);
        found
    }

    #[test]
    fn every_kind_of_end_is_one_end_wherever_the_chunks_are_cut() {
        let text = b"G1\r\nG2\rG3\n\nG4\r\r\n\n\rG5";
        let expected =
            [(0, "G1"), (4, "G2"), (7, "G3"), (10, ""), (11, "G4"), (14, ""), (16, ""), (17, ""), (18, "G5")];
        for size in 1..=text.len() {
            let found = lines(text, size);
            let found: Vec<_> =
                found.iter().map(|(byte, text, _)| (*byte, std::str::from_utf8(text).unwrap())).collect();
            assert_eq!(found, expected, "chunks of {size}");
        }
    }

    #[test]
    fn the_first_bytes_of_a_long_line_are_read_and_the_next_line_stands_at_its_place() {
        let mut text = vec![b'x'; 3 * LINE_MAX];
        text.extend_from_slice(b"\nG1");
        for size in [1, 7, LINE_MAX, LINE_MAX + 1, text.len()] {
            let n = u64::try_from(3 * LINE_MAX + 1).unwrap();
            assert_eq!(lines(&text, size), [(0, vec![b'x'; LINE_MAX], true), (n, b"G1".to_vec(), false)], "{size}");
        }
        assert!(!lines(&text[..LINE_MAX], 9)[0].2, "it is just as long as may be");
    }

    #[test]
    fn a_line_of_64_mib_without_an_end_is_kept_by_its_first_bytes_alone() {
        let (mut lines, chunk) = (Lines::default(), vec![b'1'; 1 << 16]);
        for _ in 0..1024 {
            lines.feed(&chunk, |_| unreachable!("no line ends"));
            assert!(lines.carry.capacity() <= 2 * LINE_MAX);
        }
        assert_eq!(lines.bytes(), 64 << 20);
    }
}
