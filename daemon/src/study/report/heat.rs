//! How long tools waited hot in a period, and what that did to their melt.

use super::{Stretch, small};
use crate::entry::{PrinterName, ToolNumber};
use crate::store::{GapRow, Reader, SettingsRow, SpanRow, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{DoseMinutes, Seconds};
use dwell_dashboards::view::{SpanRow as SpanView, ToolIdle};
use std::collections::HashMap;

/// The most idle spans that a report lists.
const WORST_MAX: usize = 10;

/// The residence limits of what tools held.
pub(super) struct Limits<'a> {
    materials: &'a Materials,
    changes: HashMap<PrinterName, Vec<SettingsRow>>,
}

impl<'a> Limits<'a> {
    pub(super) fn of(reader: &Reader, materials: &'a Materials) -> Result<Self, StoreError> {
        let mut changes = HashMap::new();
        for row in reader.printers()? {
            let told = reader.settings_changes(&row.name)?;
            changes.insert(row.name, told);
        }
        Ok(Self { materials, changes })
    }

    /// By what the tool held when it began to wait.
    fn at(&self, span: &SpanRow) -> DoseMinutes {
        let told = self.changes.get(&span.printer).into_iter().flatten().rev().map(|row| &row.change);
        let mut told = told.filter(|change| change.at <= span.began && change.tool == span.tool);
        let material = told.find_map(|change| change.settings.material.as_deref());
        self.materials.of(material).residence_limit.value
    }
}

/// Hot waiting, a part of the period at a time: what of each span lies in it, less the silence in that.
pub(super) fn idle(
    reader: &Reader,
    spans: &[SpanRow],
    gaps: &[GapRow],
    stretches: &[Stretch],
    until: Timestamp,
    limits: &Limits<'_>,
) -> Result<Vec<ToolIdle>, StoreError> {
    let mut rows = Vec::new();
    for row in reader.printers()? {
        // What is open lasts as far as the readings go, not to the end of the day.
        let last = reader.newest_of(&row.name)?.map_or(until, |newest| newest.min(until));
        let gaps: Vec<&GapRow> = gaps.iter().filter(|gap| gap.printer == row.name).collect();
        for tool in (0..row.n_tools).filter_map(ToolNumber::new) {
            let mine: Vec<&SpanRow> =
                spans.iter().filter(|span| span.printer == row.name && span.tool == tool).collect();
            let in_part = |stretch: &Stretch| {
                let each = mine.iter().map(|span| inside(span, &gaps, *stretch, last));
                stretch.has_readings.then(|| each.fold(Seconds::ZERO, |sum, part| sum + part))
            };
            let days: Vec<Option<Seconds>> = stretches.iter().map(in_part).collect();
            let ended = |span: &&&SpanRow| span.ended.is_some_and(|ended| ended <= until);
            let doses = mine.iter().filter(ended).filter_map(|span| Some((span.dose?, limits.at(span))));
            let doses: Vec<(DoseMinutes, DoseMinutes)> = doses.collect();
            let dose = doses.iter().map(|(dose, _)| *dose).reduce(|one, other| one + other);
            let over = small(doses.iter().filter(|(dose, limit)| dose > limit).count());
            let (printer, spans) = (row.name.to_string(), small(doses.len()));
            rows.push(ToolIdle { printer, tool: tool.idx(), days, dose, spans, over });
        }
    }
    Ok(rows)
}

fn inside(span: &SpanRow, gaps: &[&GapRow], stretch: Stretch, last: Timestamp) -> Seconds {
    let (from, to) = (span.began.max(stretch.from), span.ended.unwrap_or(last).min(stretch.to));
    let lasted = if from < to { (to - from) - silence(gaps, from, to) } else { Seconds::ZERO };
    // Time in contact without a temperature is no measured waiting either.
    match span.idle {
        Some(measured) if measured < lasted => measured,
        Some(_) | None => lasted,
    }
}

fn silence(gaps: &[&GapRow], from: Timestamp, to: Timestamp) -> Seconds {
    gaps.iter().fold(Seconds::ZERO, |sum, gap| sum + gap.lasts_within(from, to))
}

/// The spans that used up most of their material's residence limit.
pub(super) fn worst(spans: Vec<SpanRow>, limits: &Limits<'_>) -> Vec<SpanView> {
    let view = |span: SpanRow| Some(span_view(&span, span.dose.zip(span.idle)?, limits.at(&span)));
    let mut views: Vec<SpanView> = spans.into_iter().filter_map(view).collect();
    let share = |view: &SpanView| view.dose.map_or(0.0, |dose| dose.get() / view.limit.get());
    views.sort_by(|a, b| share(b).total_cmp(&share(a)));
    views.truncate(WORST_MAX);
    views
}

fn span_view(span: &SpanRow, (dose, idle): (DoseMinutes, Seconds), limit: DoseMinutes) -> SpanView {
    SpanView {
        printer: span.printer.to_string(),
        print: span.print,
        tool: span.tool.idx(),
        context: span.context.word(),
        began: span.began,
        ended: span.ended,
        idle,
        // A span whose idle time is known has ended, and its gaps are counted.
        gap: span.gap.unwrap_or(Seconds::ZERO),
        mean: span.mean,
        max: span.max,
        target: span.target,
        dose: Some(dose),
        limit,
        ooze: span.ooze,
    }
}
