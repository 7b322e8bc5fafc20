//! Alarms of the record as pages and reports show them, and how they did over a time. Owns which time is looked at; the
//! figures are `figures`' own.

mod figures;
mod unwritten;

pub use unwritten::told_in_memory;

use crate::alarm::State;
use crate::entry::ToolNumber;
use crate::store::{AlarmCall, AlarmRow, Reader, StoreError};
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{AlarmFigures, AlarmView};
use figures::{Call, Told, figures};
use std::collections::HashMap;

/// An alarm as it is shown.
#[must_use]
pub fn alarm_view(row: AlarmRow) -> AlarmView {
    AlarmView {
        id: Some(row.id),
        printer: row.printer.as_ref().map(ToString::to_string),
        tool: row.subject.tool.map(ToolNumber::idx),
        rule: row.subject.rule.word(),
        priority: row.priority.word(),
        state: row.state.word(),
        raised: row.raised,
        returned: row.returned,
        acknowledged: row.acknowledged,
        is_right: row.is_right,
        cause: row.cause,
        consequence: row.consequence,
        action: row.action,
    }
}

/// The figures of the alarms from an instant on and before another; from where the record begins, if that is later.
/// `None` without any record of that time.
///
/// # Errors
/// If the record can't be read.
pub fn alarm_figures(reader: &Reader, from: Timestamp, to: Timestamp) -> Result<Option<AlarmFigures>, StoreError> {
    let rows = reader.alarms(Some(from), Some(to))?;
    let first_reading = reader.oldest()?;
    let Some(began) = first_reading.into_iter().chain(rows.first().map(|row| row.raised)).min() else {
        return Ok(None);
    };
    let from = from.max(began);
    if from >= to {
        return Ok(None);
    }
    let calls = calls(reader, from, Some(to))?;
    let told: Vec<Told> = rows.iter().map(|row| told(row, calls.get(&row.id))).collect();
    Ok(Some(figures(&told, from, to)))
}

/// Of alarms that stood in a time, those that called somebody, and how many were recorded quietly.
///
/// # Errors
/// If the record can't be read.
pub fn called_alarms(
    reader: &Reader,
    mut rows: Vec<AlarmRow>,
    from: Timestamp,
    to: Option<Timestamp>,
) -> Result<(Vec<AlarmRow>, usize), StoreError> {
    let (calls, n_all) = (calls(reader, from, to)?, rows.len());
    rows.retain(|row| matches!(told(row, calls.get(&row.id)).call, Call::Called(_)));
    let n_quiet = n_all - rows.len();
    Ok((rows, n_quiet))
}

fn calls(reader: &Reader, from: Timestamp, to: Option<Timestamp>) -> Result<HashMap<i64, AlarmCall>, StoreError> {
    Ok(reader.alarm_calls(from, to)?.into_iter().map(|call| (call.alarm, call)).collect())
}

/// Without a recorded change, as from before changes were kept, an alarm called somebody when it was raised.
fn told(row: &AlarmRow, call: Option<&AlarmCall>) -> Told {
    let by_state = |state| match state {
        State::SuppressedByDesign => Call::Suppressed,
        State::Shelved => Call::Shelved,
        State::OutOfService => Call::OutOfService,
        State::Normal | State::Unacknowledged | State::Acknowledged | State::ReturnedUnacknowledged => {
            Call::Called(row.raised)
        }
    };
    let called = call.and_then(|call| call.called).map(Call::Called);
    let touched = call.and_then(|call| call.touched);
    Told {
        printer: row.printer.clone(),
        subject: row.subject,
        priority: row.priority,
        raised: row.raised,
        returned: row.returned,
        call: called.unwrap_or_else(|| by_state(call.map_or(row.state, |call| call.born))),
        seen: row.acknowledged.into_iter().chain(touched).min(),
        is_over: row.state == State::Normal,
        is_right: row.is_right,
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::alarm::{AlarmEffect, Priority, Rule, Subject, Suppressed};
    use crate::entry::{HotEnd, PrinterName};
    use crate::store::{Commit, Store};
    use dwell_analysis::units::Seconds;

    #[test]
    fn what_called_nobody_is_counted_and_what_called_is_listed() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("bench.db")).unwrap();
        let printer = PrinterName::new("bench").unwrap();
        store.ensure_printer(&printer, HotEnd::Separate, 1).unwrap();
        let start = Timestamp::from_ms(1_772_438_400_000);
        let subject = Subject { rule: Rule::IdleHot, tool: Some(ToolNumber::FIRST) };
        for (nth, suppressed) in (0..3).zip([None, Some(Suppressed::SaidLately), Some(Suppressed::Commissioning)]) {
            let [cause, consequence, action] = ["c", "d", "e"].map(str::to_owned);
            let (at, priority) = (start + Seconds::minutes(f64::from(nth)), Priority::Medium);
            let raised = AlarmEffect::Raised { subject, at, priority, suppressed, cause, consequence, action };
            let gone = AlarmEffect::Returned { subject, raised: at, at: at + Seconds::new(9.0), is_superseded: false };
            for alarm in [raised, gone] {
                let (printer, alarms) = (printer.clone(), vec![alarm]);
                store.commit(Commit { printer, effects: Vec::new(), alarms, notices: true }).unwrap();
            }
        }
        let reader = store.reader().unwrap();
        let rows = reader.alarms(Some(start), None).unwrap();
        let (called, n_quiet) = called_alarms(&reader, rows, start, None).unwrap();
        assert_eq!((called.iter().map(|row| row.raised).collect::<Vec<_>>(), n_quiet), (vec![start], 2));
        let n_known = |from| reader.alarm_calls(from, None).unwrap().len();
        assert_eq!((n_known(start), n_known(start + Seconds::new(70.0))), (3, 1), "those that stood since then");
    }
}
