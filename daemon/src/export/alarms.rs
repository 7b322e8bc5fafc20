//! `alarms`: a row an alarm of a printer, with what people said of it. Stands in the month in which it was raised. Alarms of
//! the record itself are of no printer, and have no row.

use super::column::{Column, whole};
use super::sheet::{Sheet, Target, Written};
use super::{ExportError, Progress, Source};
use crate::store::AlarmRow;

pub(super) fn write(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new("alarms", columns(), target);
    let rows = source.reader.alarms(None, None)?;
    for printer in &source.printers {
        for row in rows.iter().filter(|row| row.printer.as_ref() == Some(printer) && source.has(row.raised)) {
            sheet.row(printer, row.raised, row.clone())?;
        }
    }
    sheet.finish()
}

fn columns() -> Vec<Column<AlarmRow>> {
    vec![
        Column::whole("id", |row: &AlarmRow| Some(row.id)),
        Column::whole("tool", |row: &AlarmRow| whole(row.subject.tool?.idx())),
        Column::text("rule", |row: &AlarmRow| Some(row.subject.rule.word())),
        Column::text("priority", |row: &AlarmRow| Some(row.priority.word())),
        Column::time("raised", |row: &AlarmRow| Some(row.raised)),
        Column::time("returned", |row: &AlarmRow| row.returned),
        Column::text("state", |row: &AlarmRow| Some(row.state.word())),
        Column::time("acknowledged", |row: &AlarmRow| row.acknowledged),
        Column::text("acknowledged_by", |row: &AlarmRow| row.acknowledged_by.as_deref()),
        Column::truth("right", |row: &AlarmRow| row.is_right),
        Column::text("cause", |row: &AlarmRow| Some(&row.cause)),
        Column::text("consequence", |row: &AlarmRow| Some(&row.consequence)),
        Column::text("action", |row: &AlarmRow| Some(&row.action)),
    ]
}
