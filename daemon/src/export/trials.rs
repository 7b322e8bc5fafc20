//! `trials`: a row a trial of what was adopted, with what was drawn and what it came to. Stands in the month in which it
//! was adopted.

use super::column::{Column, whole};
use super::sheet::{Sheet, Target, Written};
use super::{ExportError, Progress, Source};
use crate::change;
use crate::store::{Figures, TrialRow};
use dwell_analysis::estimate::Estimate;

/// A trial with what is several words as one text.
struct Told {
    from: Option<String>,
    to: String,
    modes: String,
    draws: Option<String>,
    row: TrialRow,
}

pub(super) fn write(
    source: &Source<'_>,
    target: &mut Target<'_>,
    _progress: &mut Progress<'_>,
) -> Result<Written, ExportError> {
    let mut sheet = Sheet::new("trials", columns(), target);
    let rows = source.reader.trials()?;
    for printer in &source.printers {
        for row in rows.iter().filter(|row| row.printer == *printer && source.has(row.adopted)) {
            sheet.row(printer, row.adopted, Told::of(row))?;
        }
    }
    sheet.finish()
}

impl Told {
    fn of(row: &TrialRow) -> Self {
        let modes: Vec<&str> = row.modes.iter().map(|mode| mode.word()).collect();
        let draws: Vec<&str> = row.draws.iter().map(|drawn| drawn.arm.name()).collect();
        Self {
            from: change::from(&row.change).map(|value| value.to_string()),
            to: change::to(&row.change).to_string(),
            modes: modes.join(" "),
            draws: (!draws.is_empty()).then(|| draws.join(" ")),
            row: row.clone(),
        }
    }

    fn figures(&self) -> Option<&Figures> {
        self.row.ended.as_ref()?.figures.as_ref()
    }
}

fn columns() -> Vec<Column<Told>> {
    let mut columns = vec![
        Column::whole("id", |told: &Told| Some(told.row.id)),
        Column::text("suggestion", |told: &Told| Some(&told.row.suggestion)),
        Column::whole("tool", |told: &Told| whole(told.row.tool.idx())),
        Column::text("material", |told: &Told| told.row.material.as_deref()),
        Column::text("setting", |told: &Told| Some(change::setting(&told.row.change))),
        Column::text("from_value", |told: &Told| told.from.as_deref()),
        Column::text("to_value", |told: &Told| Some(&told.to)),
        Column::time("adopted", |told: &Told| Some(told.row.adopted)),
        Column::text("design", |told: &Told| Some(told.row.plan.design.name())),
        Column::text("draws", |told: &Told| told.draws.as_deref()),
        Column::whole("prints", |told: &Told| whole(told.row.plan.prints)),
        Column::number("ratio_expected", |told: &Told| Some(told.row.plan.ratio)),
        Column::number("power", |told: &Told| Some(told.row.plan.power)),
        Column::number("detects", |told: &Told| told.row.plan.detects),
        Column::text("modes", |told: &Told| Some(&told.modes)),
    ];
    columns.extend(interval("risk", |told| Some(&told.row.risk)));
    columns.extend(came_to());
    columns
}

fn came_to() -> Vec<Column<Told>> {
    let mut columns = vec![
        Column::time("ended", |told: &Told| Some(told.row.ended.as_ref()?.at)),
        Column::text("ending", |told: &Told| Some(told.row.ended.as_ref()?.ending.word())),
        Column::text("verdict", |told: &Told| Some(told.row.ended.as_ref()?.verdict.word())),
        Column::text("why", |told: &Told| Some(&told.row.ended.as_ref()?.why)),
        Column::whole("n_changed", |told: &Told| whole(told.figures()?.n_changed)),
        Column::whole("failures", |told: &Told| whole(told.figures()?.seen)),
        Column::whole("n_as_before", |told: &Told| whole(told.figures()?.n_as_before)),
        Column::whole("failures_as_before", |told: &Told| whole(told.figures()?.seen_as_before)),
        Column::number("sure", |told: &Told| Some(told.figures()?.sure)),
    ];
    columns.extend(interval("expected", |told| Some(&told.figures()?.expected)));
    columns.extend(interval("ratio", |told| Some(&told.figures()?.ratio)));
    columns
}

/// A mean and its 90 % interval.
fn interval(name: &str, of: fn(&Told) -> Option<&Estimate>) -> [Column<Told>; 3] {
    [
        Column::number(name, move |told: &Told| Some(of(told)?.value)),
        Column::number(&format!("{name}_low"), move |told: &Told| Some(of(told)?.low)),
        Column::number(&format!("{name}_high"), move |told: &Told| Some(of(told)?.high)),
    ]
}
