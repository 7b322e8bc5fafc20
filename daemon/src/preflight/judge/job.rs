//! Rules on the job as a whole: what was not read, not counted, or can't be run.

use crate::entry::ToolNumber;
use crate::jobfile::JobOutline;
use crate::preflight::finding::Matter;
use crate::preflight::known::Known;

/// The matters, as they come up.
pub(super) fn matters(outline: &JobOutline, known: &Known) -> impl Iterator<Item = Matter> {
    let unread = &outline.unread;
    let n = outline.visits_left_out;
    let each = [
        no_such_tool(outline, known),
        outline.begins.is_none().then_some(Matter::NoFilament),
        (!unread.macros.is_empty()).then(|| Matter::Macros { names: unread.macros.clone() }),
        (outline.pauses > 0).then_some(Matter::Pauses { n: outline.pauses }),
        lines_not_read(outline),
        (!unread.codes.is_empty() || unread.other > 0)
            .then(|| Matter::UnknownCodes { codes: unread.codes.clone(), other: unread.other }),
        (outline.homings > 0).then_some(Matter::Homings { n: outline.homings }),
        (outline.chamber_waits > 0).then_some(Matter::ChamberWaits { n: outline.chamber_waits }),
        (n > 0).then_some(Matter::VisitsLeftOut { n }),
    ];
    each.into_iter().flatten()
}

fn no_such_tool(outline: &JobOutline, known: &Known) -> Option<Matter> {
    let (n_tools, out_of_range) = (known.n_tools, outline.unread.tool_out_of_range);
    let is_beyond = |tool: &ToolNumber| n_tools.is_some_and(|n_tools| tool.idx() >= n_tools);
    let tools: Vec<ToolNumber> = outline.tools.iter().map(|tool| tool.tool).filter(is_beyond).collect();
    (out_of_range > 0 || !tools.is_empty()).then_some(Matter::NoSuchTool { tools, n_tools, out_of_range })
}

fn lines_not_read(outline: &JobOutline) -> Option<Matter> {
    let faults = || outline.unread.faults.iter().filter(|(fault, _, _)| !fault.is_harmless());
    let (fault, _, _) = faults().max_by_key(|(_, n, _)| *n)?;
    let first_line = faults().map(|(_, _, line)| *line).min()?;
    Some(Matter::LinesNotRead { n: faults().map(|(_, n, _)| n).sum(), fault: fault.to_string(), first_line })
}
