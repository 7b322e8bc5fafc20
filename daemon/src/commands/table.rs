//! Tables of text for people: columns aligned, two spaces apart, numbers to the right.

/// What stands where nothing is known.
pub(super) const UNKNOWN: &str = "–";

/// A table under way.
#[derive(Debug)]
pub(super) struct Table {
    /// Headings; one that begins with `>` is a column of numbers.
    head: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table of these columns; a heading that begins with `>` is set to the right.
    pub(super) fn new(head: &[&'static str]) -> Self {
        Self { head: head.to_vec(), rows: Vec::new() }
    }

    /// Adds a row, a cell for each column. Names come from the host: what would steer a terminal is replaced.
    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let plain = |cell: String| cell.replace(char::is_control, "·");
        self.rows.push(cells.into_iter().map(plain).collect());
    }

    /// Adds a row whose cells have several lines.
    pub(super) fn paragraph<const N: usize>(&mut self, cells: &[Vec<String>; N]) {
        for idx in 0..cells.iter().map(Vec::len).max().unwrap_or(0) {
            self.row(cells.iter().map(|lines| lines.get(idx).cloned().unwrap_or_default()));
        }
    }

    /// The text, or `otherwise` if there are no rows.
    pub(super) fn text(&self, otherwise: &str) -> String {
        if self.rows.is_empty() {
            return format!("{otherwise}\n");
        }
        let head: Vec<String> = self.head.iter().map(|name| name.trim_start_matches('>').to_owned()).collect();
        let lines = || std::iter::once(&head).chain(&self.rows);
        let width = |column: usize| {
            lines().filter_map(|line| line.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..head.len()).map(width).collect();
        let mut text = String::new();
        for line in lines() {
            let mut shown = String::new();
            for ((cell, width), name) in line.iter().zip(&widths).zip(&self.head) {
                let padding = " ".repeat(width - cell.chars().count());
                let (before, after) =
                    if name.starts_with('>') { (padding.as_str(), "") } else { ("", padding.as_str()) };
                shown.extend([before, cell, after, "  "]);
            }
            text.push_str(shown.trim_end());
            text.push('\n');
        }
        text
    }
}

/// A text in lines of so many characters at most, broken between words, and in a word that is longer. What would steer a
/// terminal is replaced.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.replace(|letter: char| letter.is_control() && letter != '\n', "·").split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for piece in letters.chunks(width) {
            match lines.last_mut() {
                Some(line) if line.chars().count() + 1 + piece.len() <= width => {
                    line.push(' ');
                    line.extend(piece);
                }
                _ => lines.push(piece.iter().collect()),
            }
        }
    }
    lines
}

/// A number with so many decimals, or the mark for unknown.
pub(super) fn number(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |value| format!("{value:.decimals$}"))
}

/// A text, or the mark for unknown.
pub(super) fn or_unknown(value: Option<impl ToString>) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |value| value.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_aligned_and_a_name_cannot_steer_the_terminal() {
        let mut table = Table::new(&["print", ">min"]);
        table.row(["lan\u{1b}[2Jtern".to_owned(), "7.0".to_owned()]);
        table.row(["a".to_owned(), "123.5".to_owned()]);
        assert_eq!(table.text("none"), "print          min\nlan·[2Jtern    7.0\na            123.5\n");
        assert_eq!(Table::new(&["print"]).text("none"), "none\n");
    }

    #[test]
    fn a_text_is_broken_between_words_and_in_one_that_is_too_long() {
        assert_eq!(wrapped("a lantern of\nthe  bench", 9), ["a lantern", "of the", "bench"]);
        assert_eq!(wrapped("a gullwing\u{1b}[2J", 4), ["a", "gull", "wing", "·[2J"]);
        let mut table = Table::new(&[">n", "words"]);
        table.paragraph(&[vec!["1".to_owned()], wrapped("one two", 3)]);
        assert_eq!(table.text("none"), "n  words\n1  one\n   two\n");
    }
}
