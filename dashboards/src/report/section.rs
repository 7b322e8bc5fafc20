//! What a part of the report says, before anybody decides how it looks: a heading, sentences, a table.

/// One part.
pub(super) struct Section {
    pub(super) heading: &'static str,
    /// Each a paragraph.
    pub(super) lines: Vec<String>,
    pub(super) table: Option<Table>,
}

/// A table; the first cell of a row is what the row is of.
pub(super) struct Table {
    pub(super) head: Vec<String>,
    pub(super) rows: Vec<Vec<String>>,
}

impl Section {
    /// One of sentences alone.
    pub(super) const fn said(heading: &'static str, lines: Vec<String>) -> Self {
        Self { heading, lines, table: None }
    }

    /// One with a table below its sentences; without rows, of sentences alone.
    pub(super) fn tabled(heading: &'static str, lines: Vec<String>, head: &[&str], rows: Vec<Vec<String>>) -> Self {
        let head = head.iter().map(|word| (*word).to_owned()).collect();
        let table = (!rows.is_empty()).then_some(Table { head, rows });
        Self { heading, lines, table }
    }
}
