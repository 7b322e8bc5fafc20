//! The views of *Prints*: the list, and one print.

use super::lanes::{Window, lanes};
use super::{ViewError, frame, outcome, outcomes};
use crate::entry::{JobFile, Mode, PrintEnd, PrinterName, ToolNumber};
use crate::store::{
    GapRow, OutcomeRow, PrintRow, PrinterRow, Reader, SpanFilter, SpanRow, StoreError, in_force, replaced_at,
};
use crate::study::{SILENT_AFTER, foreseen, settings_view, typed_history};
use crate::web::Site;
use crate::web::prints::{Done, Listed, Part};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view;

/// How many prints a page of the list shows.
const ROWS_MAX: u32 = 25;
/// How many prints that wait for a word are shown at once.
const SILENT_MAX: u32 = 4;

/// A page of the list.
pub(in crate::web) fn prints(site: &Site, listed: &Listed) -> Result<view::PrintsView, ViewError> {
    let reader = site.store.reader()?;
    let skipped = (listed.page - 1).saturating_mul(ROWS_MAX);
    let found = reader.find_prints(&listed.search, skipped, ROWS_MAX)?;
    let is_start = listed.filter == view::PrintsFilter::default() && listed.page == 1;
    let done = listed.done.map(|done| just_done(&reader, done)).transpose()?.flatten();
    Ok(view::PrintsView {
        frame: frame(site)?,
        rows: found.rows.into_iter().map(row).collect(),
        n_found: found.n_found,
        n_all: found.n_all,
        page: listed.page,
        n_pages: found.n_found.div_ceil(ROWS_MAX).max(1),
        filter: listed.filter.clone(),
        printers: reader.printers()?.into_iter().map(|row| row.name.to_string()).collect(),
        form: form(site),
        silent: if is_start { silent(site, &reader)? } else { view::SilentPrints::default() },
        done,
    })
}

/// The prints that wait for a word.
fn silent(site: &Site, reader: &Reader) -> Result<view::SilentPrints, StoreError> {
    let (rows, n) = reader.unreported_prints(silent_since(site), SILENT_MAX)?;
    let printers = reader.printers()?;
    let silent = |print: PrintRow| {
        Some(view::SilentPrint {
            id: print.id,
            n_tools: n_tools(&printers, &print),
            printer: print.printer.to_string(),
            ended: print.ended?,
            end: print.end?.word(),
            started: print.started,
            name: print.name,
        })
    };
    Ok(view::SilentPrints { rows: rows.into_iter().filter_map(silent).collect(), n })
}

/// From when on silence is not yet a word; `None` where it never is one.
pub(super) fn silent_since(site: &Site) -> Option<Timestamp> {
    let silence_is_clean = site.worked().is_some_and(|worked| worked.study.silence_means_clean);
    silence_is_clean.then(|| site.clock.now().at - SILENT_AFTER)
}

fn form(site: &Site) -> view::OutcomeForm {
    let modes = Mode::ALL.iter().filter(|mode| **mode != Mode::Clean).map(|mode| mode.word()).collect();
    view::OutcomeForm { token: site.token.clone(), modes }
}

fn just_done(reader: &Reader, done: Done) -> Result<Option<view::JustDone>, StoreError> {
    let Some(print) = reader.print(done.print)? else { return Ok(None) };
    let newest = outcomes(&print.outcomes).pop();
    Ok(Some(view::JustDone { print: print.id, name: print.name, newest, is_undo: done.is_undo }))
}

/// One print and what of it is asked for; `None` if the record has none of that number.
pub(in crate::web) fn print(site: &Site, id: i64, part: Part) -> Result<Option<view::PrintView>, ViewError> {
    let reader = site.store.reader()?;
    let Some(print) = reader.print(id)? else { return Ok(None) };
    let latest = site.store.latest(&print.printer);
    let newest = latest.as_ref().map(|latest| latest.reading.at).max(reader.newest_of(&print.printer)?);
    let until = print.ended.or(newest).unwrap_or(print.started).max(print.started);
    let inside = |at: Option<Timestamp>, otherwise: Timestamp| at.unwrap_or(otherwise).clamp(print.started, until);
    let shown = (inside(part.from, print.started), inside(part.to, until));
    let reading = latest.as_ref().map(|latest| &latest.reading).filter(|reading| reading.at <= shown.1);
    let spans = reader.spans(&SpanFilter { print: Some(id), ..SpanFilter::default() })?;
    let window = Window { printer: &print.printer, from: shown.0, newest: shown.1, latest: reading };
    let n_tools = n_tools(&reader.printers()?, &print);
    let changes = reader.tool_changes(id)?.into_iter();
    let file = reader.job_file(id)?;
    let disagreements = reader.disagreements(id)?.into_iter();
    let own_file = file.as_ref().filter(|row| row.dropped.is_none()).map(|row| &row.file);
    let done = part.done.map(|is_undo| just_done(&reader, Done { print: id, is_undo })).transpose()?.flatten();
    Ok(Some(view::PrintView {
        frame: frame(site)?,
        until,
        gap: gap_time(&reader.gaps(Some(print.started), Some(until))?, &print.printer, print.started, until),
        shown,
        tools: tools(&reader, &print, window, n_tools, own_file)?,
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
        words: words(&print.outcomes),
        foreseen: foreseen_of(site, &print),
        form: form(site),
        done,
        print: row(print),
    }))
}

/// Every word on a print with what became of it.
fn words(rows: &[OutcomeRow]) -> Vec<view::WordRow> {
    let word = |(idx, row): (usize, &OutcomeRow)| view::WordRow {
        said: outcome(row.clone()),
        fate: match (row.undone, replaced_at(rows, idx)) {
            (Some(at), _) => view::WordFate::TakenBack(at),
            (None, Some(at)) => view::WordFate::Replaced(at),
            (None, None) => view::WordFate::Stands,
        },
    };
    rows.iter().enumerate().map(word).collect()
}

fn foreseen_of(site: &Site, print: &PrintRow) -> view::Foreseen {
    if print.ended.is_none() {
        return view::Foreseen::Running;
    }
    let held = in_force(&print.outcomes);
    site.worked().map_or(view::Foreseen::NotYet, |worked| foreseen(&worked.study, print.id, print.started, &held))
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
fn n_tools(printers: &[PrinterRow], print: &PrintRow) -> usize {
    let configured = printers.iter().find(|row| row.name == print.printer).map_or(0, |row| row.n_tools);
    let seen = print.tools.iter().map(|tool| tool.tool.idx() + 1).max().unwrap_or(0);
    configured.max(seen)
}

fn tools(
    reader: &Reader,
    print: &PrintRow,
    window: Window<'_>,
    n_tools: usize,
    file: Option<&JobFile>,
) -> Result<Vec<view::PrintTool>, StoreError> {
    let typed = typed_history(reader, &print.printer, print.started, n_tools)?;
    let lanes = lanes(reader, window, n_tools)?;
    let each = lanes.into_iter().zip(typed).enumerate();
    Ok(each
        .map(|(number, (lane, typed))| {
            let asked = file.zip(ToolNumber::new(number)).and_then(|(file, tool)| file.settings(tool));
            let measured = print.tools.iter().find(|tool| tool.tool.idx() == number);
            view::PrintTool {
                number,
                settings: settings_view(&typed.settings, asked),
                typed: typed.since,
                before: settings_view(&typed.before, None),
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
    mine.fold(Seconds::ZERO, |sum, gap| sum + gap.lasts_within(from, to))
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
