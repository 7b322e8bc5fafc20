//! Plain text in so many columns, for a mail or a terminal. Owns how words are broken into lines.

/// A text under way.
pub(crate) struct Lines {
    text: String,
    columns: usize,
}

impl Lines {
    /// An empty text of so many columns.
    pub(crate) const fn new(columns: usize) -> Self {
        Self { text: String::new(), columns }
    }

    /// The whole text.
    pub(crate) fn into_text(self) -> String {
        self.text
    }

    /// A line as it is.
    pub(crate) fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    /// A heading, with room above it.
    pub(crate) fn heading(&mut self, words: &str) {
        self.line("");
        self.line(&words.to_uppercase());
    }

    /// Words broken into lines; later ones stand under the first one's words.
    pub(crate) fn wrapped(&mut self, bullet: &str, words: &str) {
        let hang = " ".repeat(bullet.chars().count());
        let leads = std::iter::once(bullet).chain(std::iter::repeat(hang.as_str()));
        for (lead, line) in leads.zip(broken(words, self.columns - bullet.chars().count())) {
            self.line(&format!("{lead}{line}"));
        }
    }

    /// A label and cells beside each other, each broken within its own width; the whole stands in by two.
    pub(crate) fn row(&mut self, label: (&str, usize), cells: &[String], width: usize) {
        let columns: Vec<Vec<String>> = std::iter::once(broken(label.0, label.1 - 2))
            .chain(cells.iter().map(|cell| broken(cell, width - 2)))
            .collect();
        let height = columns.iter().map(Vec::len).max().unwrap_or(0);
        for at in 0..height {
            let mut line = "  ".to_owned();
            for (column, width) in columns.iter().zip(std::iter::once(label.1).chain(std::iter::repeat(width))) {
                let words = column.get(at).map_or("", String::as_str);
                line.push_str(words);
                line.extend(std::iter::repeat_n(' ', width.saturating_sub(words.chars().count())));
            }
            self.line(&line);
        }
    }
}

/// Words broken at spaces, or within a word longer than a line. Never without a line.
fn broken(words: &str, room: usize) -> Vec<String> {
    let (mut lines, mut line, mut width) = (Vec::new(), String::new(), 0);
    let cleaned = words.replace(char::is_control, " ");
    for word in cleaned.split(' ').filter(|word| !word.is_empty()) {
        for chunk in word.chars().collect::<Vec<_>>().chunks(room) {
            if width > 0 && width + 1 + chunk.len() > room {
                lines.push(std::mem::take(&mut line));
                width = 0;
            }
            if width > 0 {
                line.push(' ');
                width += 1;
            }
            line.extend(chunk);
            width += chunk.len();
        }
    }
    lines.push(line);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_longer_than_its_columns_and_no_word_is_lost() {
        let words = "a residence budget that is used up \u{1b}[2J by anextraordinarilylongword and then some";
        let mut out = Lines::new(20);
        out.wrapped("- ", words);
        out.row(("label of a row", 8), &[words.to_owned(), "short".to_owned()], 12);
        let text = out.into_text();
        assert!(text.lines().all(|line| line.chars().count() <= 34) && !text.contains('\u{1b}'), "{text}");
        let letters = |text: &str| text.chars().filter(|letter| letter.is_alphabetic()).count();
        assert_eq!(letters(&text), 2 * letters(words) + letters("label of a row") + letters("short"));
    }
}
