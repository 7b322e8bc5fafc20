//! Alarms while the disk takes nothing: what waits in memory, taken over into what the record has. Owns that whoever shows
//! what stands shows these too.

use crate::alarm::{AlarmEffect, Event, State, Subject};
use crate::entry::{PrinterName, ToolNumber};
use crate::store::{Reader, StoreError};
use dwell_dashboards::view::AlarmView;

/// Takes changes that are not in the record yet, as `Store::unwritten_alarms` gave them before `alarms` were read, over
/// into these. Those that are new have no number.
///
/// # Errors
/// If the record can't be read.
pub fn told_in_memory(
    reader: &Reader,
    alarms: &mut Vec<AlarmView>,
    waiting: Vec<(Option<PrinterName>, AlarmEffect)>,
) -> Result<(), StoreError> {
    for (printer, change) in waiting {
        let (Subject { rule, tool }, raised) = change.key();
        let (name, tool, rule) = (printer.as_ref().map(ToString::to_string), tool.map(ToolNumber::idx), rule.word());
        let known = alarms
            .iter_mut()
            .find(|known| known.printer == name && known.tool == tool && known.rule == rule && known.raised == raised);
        match (known, change.is_raise()) {
            (Some(known), false) => returned(known, &change),
            (None, true) => alarms.extend(begun(reader, printer.as_ref(), change)?),
            // It has been written meanwhile; or its beginning was dropped, and nothing of it is left to show.
            (Some(_), true) | (None, false) => {}
        }
    }
    Ok(())
}

fn returned(known: &mut AlarmView, change: &AlarmEffect) {
    let AlarmEffect::Returned { at, is_superseded, .. } = change else { return };
    known.returned = Some(*at);
    let event = if *is_superseded { Event::Superseded } else { Event::Goes };
    if let Some(Ok(step)) = State::of_word(known.state).map(|state| state.step(event, true)) {
        known.state = step.to.word();
    }
}

/// An alarm that is raised; `None` if the record has it by now.
fn begun(reader: &Reader, printer: Option<&PrinterName>, change: AlarmEffect) -> Result<Option<AlarmView>, StoreError> {
    let ((subject, raised), is_suppressed) = (change.key(), change.is_suppressed());
    let AlarmEffect::Raised { priority, cause, consequence, action, .. } = change else { return Ok(None) };
    if reader.alarm_of(printer, subject, raised)?.is_some() {
        return Ok(None);
    }
    let state = reader.birth(printer, subject, raised, is_suppressed)?.word();
    Ok(Some(AlarmView {
        id: None,
        printer: printer.map(ToString::to_string),
        tool: subject.tool.map(ToolNumber::idx),
        rule: subject.rule.word(),
        priority: priority.word(),
        state,
        raised,
        returned: None,
        acknowledged: None,
        is_right: None,
        cause,
        consequence,
        action,
    }))
}
