//! `suggestions`: a row a suggestion that was ever made, with what became of it. Stands in the month in which it was said
//! first.

use super::column::{Column, whole};
use super::sheet::{Sheet, Target, Written};
use super::{ExportError, Progress, Source};
use crate::change;
use crate::store::SuggestionRow;

/// A suggestion with its values as texts: a column has one kind, and settings have several.
struct Told {
    from: Option<String>,
    to: String,
    row: SuggestionRow,
}

pub(super) fn write(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new("suggestions", columns(), target);
    let mut rows = source.reader.suggestions()?;
    rows.sort_by_key(|row| row.first);
    for printer in &source.printers {
        for row in rows.iter().filter(|row| row.printer == *printer && source.has(row.first)) {
            let from = change::from(&row.change).map(|value| value.to_string());
            let told = Told { from, to: change::to(&row.change).to_string(), row: row.clone() };
            sheet.row(printer, row.first, told)?;
        }
    }
    sheet.finish()
}

fn columns() -> Vec<Column<Told>> {
    vec![
        Column::text("id", |told: &Told| Some(&told.row.id)),
        Column::whole("tool", |told: &Told| whole(told.row.tool.idx())),
        Column::text("material", |told: &Told| told.row.material.as_deref()),
        Column::text("setting", |told: &Told| Some(change::setting(&told.row.change))),
        Column::text("from_value", |told: &Told| told.from.as_deref()),
        Column::text("to_value", |told: &Told| Some(&told.to)),
        Column::time("first_said", |told: &Told| Some(told.row.first)),
        Column::time("last_said", |told: &Told| Some(told.row.last)),
        Column::text("state", |told: &Told| Some(told.row.standing.word())),
        Column::time("since", |told: &Told| Some(told.row.since)),
        Column::text("why", |told: &Told| told.row.why.as_deref()),
        Column::text("body", |told: &Told| Some(&told.row.body)),
    ]
}
