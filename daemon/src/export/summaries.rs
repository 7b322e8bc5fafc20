//! `minutes` and `hours`: a row a step that readings came to, of the time of which the readings themselves are let go.

use super::column::Column;
use super::sheet::{Sheet, Target, Written};
use super::{ExportError, Progress, Source};
use crate::store::{Heat, Step, Summary};

pub(super) fn write_minutes(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    write(source, target, "minutes", Step::Minute)
}

pub(super) fn write_hours(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    write(source, target, "hours", Step::Hour)
}

fn write(source: &Source<'_>, target: &mut Target<'_>, name: &'static str, step: Step) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new(name, columns(source.n_tools), target);
    for printer in &source.printers {
        for summary in source.reader.summaries(printer, step, source.from, source.to)? {
            let summary = summary?;
            sheet.row(printer, summary.began, summary)?;
        }
    }
    sheet.finish()
}

fn columns(n_tools: usize) -> Vec<Column<Summary>> {
    let mut columns = vec![
        Column::time("began", |summary: &Summary| Some(summary.began)),
        Column::whole("readings", |summary: &Summary| Some(i64::from(summary.n))),
    ];
    for idx in 0..n_tools {
        columns.extend(heat(&format!("t{idx}"), move |summary| *summary.tools.get(idx)?));
    }
    columns.extend(heat("bed", |summary| summary.bed));
    columns
}

fn heat(name: &str, find: impl Fn(&Summary) -> Option<Heat> + Copy + 'static) -> [Column<Summary>; 4] {
    [
        Column::number(&format!("{name}_min_c"), move |summary| Some(find(summary)?.min.celsius().get())),
        Column::number(&format!("{name}_mean_c"), move |summary| Some(find(summary)?.mean.celsius().get())),
        Column::number(&format!("{name}_max_c"), move |summary| Some(find(summary)?.max.celsius().get())),
        Column::number(&format!("{name}_target_c"), move |summary| Some(find(summary)?.target?.celsius().get())),
    ]
}
