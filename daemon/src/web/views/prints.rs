//! The views of *Prints*: the list, and one print.

use super::lanes::{Window, lanes};
use super::{ViewError, frame, outcomes};
use crate::entry::{JobFile, Mode, PrintEnd, PrinterName, ToolNumber};
use crate::store::{GapRow, PrintFilter, PrintRow, Reader, SpanFilter, SpanRow, StoreError};
use crate::study::{settings_view, typed_at};
use crate::web::Site;
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view;

/// How many prints the list shows at once.
const ROWS_MAX: u32 = 100;

/// The newest prints, or the newest that began before an instant.
pub(in crate::web) fn prints(site: &Site, before: Option<Timestamp>) -> Result<view::PrintsView, ViewError> {
    let reader = site.store.reader()?;
    let filter = PrintFilter { to: before, limit: Some(ROWS_MAX), ..PrintFilter::default() };
    let rows = reader.prints(&filter)?.into_iter().map(row).collect();
    Ok(view::PrintsView { frame: frame(site)?, rows })
}

/// One print; `None` if the record has none of that number.
pub(in crate::web) fn print(site: &Site, id: i64) -> Result<Option<view::PrintView>, ViewError> {
    let reader = site.store.reader()?;
    let Some(print) = reader.print(id)? else { return Ok(None) };
    let latest = site.store.latest(&print.printer);
    let newest = latest.as_ref().map(|latest| latest.reading.at).max(reader.newest_of(&print.printer)?);
    let until = print.ended.or(newest).unwrap_or(print.started).max(print.started);
    let reading = latest.as_ref().map(|latest| &latest.reading).filter(|reading| reading.at <= until);
    let spans = reader.spans(&SpanFilter { print: Some(id), ..SpanFilter::default() })?;
    let window = Window { printer: &print.printer, from: print.started, newest: until, latest: reading };
    let n_tools = n_tools(&reader, &print)?;
    let changes = reader.tool_changes(id)?.into_iter();
    let file = reader.job_file(id)?;
    let disagreements = reader.disagreements(id)?.into_iter();
    Ok(Some(view::PrintView {
        frame: frame(site)?,
        until,
        gap: gap_time(&reader.gaps(Some(print.started), Some(until))?, &print.printer, print.started, until),
        tools: tools(
            &reader,
            &print,
            window,
            n_tools,
            file.as_ref().filter(|row| row.dropped.is_none()).map(|row| &row.file),
        )?,
        job_file: file.as_ref().map(|row| view::JobFileView {
            from: row.file.from.word(),
            expected: row.file.expected,
            is_foreign: row.dropped.is_some(),
        }),
        disagreements: disagreements
            .map(|row| view::DisagreementRow { at: row.at, host: row.host.idx(), file: row.file.idx() })
            .collect(),
        changes: changes
            .map(|row| view::ChangeRow { at: row.at, from: row.from.idx(), to: row.to.idx(), source: row.source })
            .collect(),
        spans: span_views(&reader, &site.materials, spans, until)?,
        form: view::OutcomeForm {
            token: site.token.clone(),
            modes: Mode::ALL.iter().filter(|mode| **mode != Mode::Clean).map(|mode| mode.word()).collect(),
        },
        print: row(print),
    }))
}

fn row(print: PrintRow) -> view::PrintRow {
    let doses = print.tools.iter().filter_map(|tool| tool.dose_max);
    view::PrintRow {
        id: print.id,
        printer: print.printer.to_string(),
        name: print.name,
        started: print.started,
        ended: print.ended,
        end: print.end.map(PrintEnd::word),
        tool_changes: print.tool_changes,
        dose_worst: doses.max_by(|a, b| a.get().total_cmp(&b.get())),
        outcomes: outcomes(&print.outcomes),
    }
}

/// As many as the printer has; the record's number only grows.
fn n_tools(reader: &Reader, print: &PrintRow) -> Result<usize, StoreError> {
    let printers = reader.printers()?;
    let configured = printers.iter().find(|row| row.name == print.printer).map_or(0, |row| row.n_tools);
    let seen = print.tools.iter().map(|tool| tool.tool.idx() + 1).max().unwrap_or(0);
    Ok(configured.max(seen))
}

fn tools(
    reader: &Reader,
    print: &PrintRow,
    window: Window<'_>,
    n_tools: usize,
    file: Option<&JobFile>,
) -> Result<Vec<view::PrintTool>, StoreError> {
    let settings = typed_at(reader, &print.printer, print.started, n_tools)?;
    let lanes = lanes(reader, window, n_tools)?;
    let each = lanes.into_iter().zip(settings).enumerate();
    Ok(each
        .map(|(number, (lane, settings))| {
            let asked = file.zip(ToolNumber::new(number)).and_then(|(file, tool)| file.settings(tool));
            let measured = print.tools.iter().find(|tool| tool.tool.idx() == number);
            view::PrintTool {
                number,
                settings: settings_view(&settings, asked),
                lane,
                idle: measured.and_then(|tool| tool.idle),
                idle_max: measured.and_then(|tool| tool.idle_max).filter(|idle| *idle > Seconds::ZERO),
                dose_max: measured.and_then(|tool| tool.dose_max),
                ooze: measured.and_then(|tool| tool.ooze),
            }
        })
        .collect())
}

fn gap_time(gaps: &[GapRow], printer: &PrinterName, from: Timestamp, to: Timestamp) -> Seconds {
    let mine = gaps.iter().filter(|gap| gap.printer == *printer);
    mine.map(|gap| (gap.began.max(from), gap.ended.unwrap_or(to).min(to)))
        .filter(|(from, to)| from < to)
        .fold(Seconds::ZERO, |sum, (from, to)| sum + (to - from))
}

fn span_views(
    reader: &Reader,
    materials: &Materials,
    spans: Vec<SpanRow>,
    until: Timestamp,
) -> Result<Vec<view::SpanRow>, StoreError> {
    let Some(printer) = spans.first().map(|span| span.printer.clone()) else { return Ok(Vec::new()) };
    let changes = reader.settings_changes(&printer)?;
    let gaps = reader.gaps(spans.first().map(|span| span.began), Some(until))?;
    let material = |span: &SpanRow| {
        let told = changes.iter().map(|row| &row.change);
        let told = told.filter(|change| change.tool == span.tool && change.at <= span.began);
        materials.of(told.filter_map(|change| change.settings.material.as_deref()).next_back())
    };
    let view = |span: SpanRow| {
        // What lasts has no measure yet: its length so far is reckoned from the gaps.
        let open_gap = gap_time(&gaps, &printer, span.began, until);
        view::SpanRow {
            printer: printer.to_string(),
            print: span.print,
            tool: span.tool.idx(),
            context: span.context.word(),
            began: span.began,
            ended: span.ended,
            idle: span.idle.unwrap_or_else(|| until - span.began - open_gap),
            gap: span.gap.unwrap_or(open_gap),
            mean: span.mean,
            max: span.max,
            target: span.target,
            dose: span.dose,
            limit: material(&span).residence_limit.value,
            ooze: span.ooze,
        }
    };
    Ok(spans.into_iter().map(view).collect())
}
