//! The *Parts* view: what was told of parts, and what was worked out of those in use. Owns that it takes a few reads of
//! rows: what a part went through is never summed here.

use super::{ViewError, frame};
use crate::entry::{PartChange, PartEvent, PartReason, PrinterName, ToolNumber};
use crate::preflight::Liner;
use crate::store::{PartRow, PrinterRow, Reader, StoreError};
use crate::study::{Worked, in_use};
use crate::web::Site;
use dwell_analysis::time::Timestamp;
use dwell_analysis::wear::LINER_CAUTIOUS;
use dwell_dashboards::format;
use dwell_dashboards::view::{
    LinerStands, PageNotice, PartNow, PartTold, PartTyped, PartsPage, PrinterParts, ToolParts,
};

/// Fills the page.
pub(in crate::web) fn parts(
    site: &Site,
    notice: Option<PageNotice>,
    typed: Option<PartTyped>,
) -> Result<PartsPage, ViewError> {
    let reader = site.store.reader()?;
    let (worked, rows) = (site.worked(), reader.printers()?);
    let names = site.printer_names(&reader)?;
    let known = names.iter().filter_map(|name| rows.iter().find(|row| row.name == *name));
    let printers = known.map(|row| of_printer(site, &reader, row, worked.as_deref()));
    Ok(PartsPage {
        frame: frame(site)?,
        at: site.clock.now().at,
        token: site.token.clone(),
        notice,
        typed,
        printers: printers.collect::<Result<_, StoreError>>()?,
        lives: worked.as_ref().map_or_else(Vec::new, |worked| worked.lives.clone()),
    })
}

/// What is said of changes of this instant that were just recorded; nothing if there is none.
pub(in crate::web) fn recorded(site: &Site, at: Timestamp) -> Result<Option<PageNotice>, StoreError> {
    let rows = site.store.reader()?.parts(None)?;
    Ok(rows.iter().rfind(|row| row.change.at == at).map(|row| {
        let PartRow { printer, change } = row;
        let (part, event) = (format::word(change.part.word()), change.event.word());
        let when = format::moment(at, &site.zone);
        let before = rows.iter().filter(|row| row.printer == *printer && row.change.at < at);
        let before: Vec<PartChange> = before.map(|row| row.change.clone()).collect();
        let was_fitted = in_use(&before).iter().any(|(tool, part, _)| (*tool, *part) == (change.tool, change.part));
        let is_uncounted = change.event == PartEvent::Removed && !was_fitted;
        let uncounted = " When it was fitted was never told, so its life can't be counted.";
        let more = if is_uncounted { uncounted } else { "" };
        PageNotice::Done(format!("Recorded: {printer} {}, {part} {event}, {when}.{more}", change.tool))
    }))
}

fn of_printer(
    site: &Site,
    reader: &Reader,
    row: &PrinterRow,
    worked: Option<&Worked>,
) -> Result<PrinterParts, StoreError> {
    let changes: Vec<PartChange> = reader.parts(Some(&row.name))?.into_iter().map(|row| row.change).collect();
    let told = changes.iter().map(|change| change.tool.idx() + 1).max();
    let tools = (0..row.n_tools.max(told.unwrap_or(0))).filter_map(ToolNumber::new);
    let tools = tools.map(|tool| of_tool(site, &row.name, tool, &changes, worked)).collect();
    Ok(PrinterParts { name: row.name.to_string(), tools })
}

fn of_tool(
    site: &Site,
    printer: &PrinterName,
    tool: ToolNumber,
    changes: &[PartChange],
    worked: Option<&Worked>,
) -> ToolParts {
    let known = site.printers.iter().find(|known| known.printer.as_ref() == Some(printer));
    let liner = known.and_then(|known| known.tools.get(tool.idx())).map_or(Liner::Assumed, |tool| tool.liner);
    let in_use = in_use(changes).into_iter().filter(|(of, ..)| *of == tool).map(|(_, part, fitted)| {
        let figures = worked.and_then(|worked| {
            let is_it = |view: &&dwell_dashboards::view::PartView| {
                (view.printer.as_str(), view.tool, view.part, view.fitted)
                    == (printer.as_str(), tool.idx(), part.word(), fitted)
            };
            worked.learned.parts.iter().find(is_it).cloned()
        });
        PartNow { part: part.word(), fitted, figures }
    });
    let changes = changes.iter().rev().filter(|change| change.tool == tool);
    ToolParts {
        number: tool.idx(),
        liner: match liner {
            Liner::Assumed => LinerStands::Assumed(LINER_CAUTIOUS.value),
            Liner::Rated(rating) => LinerStands::Rated(rating),
            Liner::Absent => LinerStands::Absent,
        },
        in_use: in_use.collect(),
        changes: changes.map(|change| told(printer, change, worked)).collect(),
    }
}

/// A change, with the lives that it ended.
fn told(printer: &PrinterName, change: &PartChange, worked: Option<&Worked>) -> PartTold {
    let past = worked.into_iter().flat_map(|worked| &worked.lives).flat_map(|lives| &lives.past);
    let is_ended = |past: &&dwell_dashboards::view::PastPart| {
        (past.printer.as_str(), past.tool, past.ended) == (printer.as_str(), change.tool.idx(), change.at)
            && (past.part == change.part.word() || change.part == crate::entry::Part::HotEnd)
    };
    PartTold {
        at: change.at,
        part: change.part.word(),
        event: change.event.word(),
        reason: change.reason.map(PartReason::word),
        note: change.note.clone(),
        ended: past.filter(is_ended).cloned().collect(),
    }
}
