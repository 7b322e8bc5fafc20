//! Alarms of a record, for tests: some that people have said something of, and the rows that an export has to hold.

use crate::tables::{Cell, Row, row, text, time, whole};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::alarm::{AlarmEffect, Priority, Rule, Subject};
use dwellwatch::entry::{PrinterName, ToolNumber};
use dwellwatch::store::{Commit, Reader, Store};

/// Raises an alarm of a tool, which is acknowledged, goes and was wrong, and one of the printer, which stands.
///
/// # Panics
/// If the record can't be written.
pub fn alarm(store: &Store, printer: &PrinterName, at: Timestamp, words: &str) {
    let raised = |subject| {
        let [cause, consequence, action] = [words, "the melt; cooks", "look, \"then\" act"].map(str::to_owned);
        AlarmEffect::Raised { subject, at, priority: Priority::Low, suppressed: None, cause, consequence, action }
    };
    let commit = |alarms| {
        let commit = Commit { printer: printer.clone(), effects: Vec::new(), alarms, notices: false };
        store.commit(commit).unwrap();
    };
    let idle = Subject { rule: Rule::IdleHot, tool: ToolNumber::new(1) };
    let n_before = store.reader().unwrap().alarms(None, None).unwrap().len();
    commit(vec![raised(idle), raised(Subject { rule: Rule::HostSilent, tool: None })]);
    let alarms = store.reader().unwrap().alarms(None, None).unwrap();
    assert_eq!(alarms.len(), n_before + 2);
    let first = alarms.iter().find(|alarm| alarm.printer.as_ref() == Some(printer) && alarm.subject == idle).unwrap();
    store.acknowledge(first.id, words, None, at + Seconds::new(60.0)).unwrap();
    store.mark(first.id, false, "anna", at + Seconds::new(61.0)).unwrap();
    let gone = at + Seconds::new(90.5);
    commit(vec![AlarmEffect::Returned { subject: idle, raised: at, at: gone, is_superseded: false }]);
}

pub(crate) fn alarm_rows(
    reader: &Reader,
    printers: &[PrinterName],
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Vec<Row> {
    let is_in = |at: Timestamp| from.is_none_or(|from| at >= from) && to.is_none_or(|to| at < to);
    let alarms = reader.alarms(None, None).unwrap().into_iter().filter(|alarm| is_in(alarm.raised));
    let told = alarms.filter_map(|alarm| {
        let printer = alarm.printer.filter(|printer| printers.contains(printer))?;
        Some(row([
            ("printer", text(Some(printer))),
            ("id", Cell::Whole(alarm.id)),
            ("tool", whole(alarm.subject.tool.map(ToolNumber::idx))),
            ("rule", text(Some(alarm.subject.rule.word()))),
            ("priority", text(Some(alarm.priority))),
            ("raised", time(Some(alarm.raised))),
            ("returned", time(alarm.returned)),
            ("state", text(Some(alarm.state))),
            ("acknowledged", time(alarm.acknowledged)),
            ("acknowledged_by", text(alarm.acknowledged_by)),
            ("right", alarm.is_right.map_or(Cell::Nothing, Cell::Truth)),
            ("cause", text(Some(alarm.cause))),
            ("consequence", text(Some(alarm.consequence))),
            ("action", text(Some(alarm.action))),
        ]))
    });
    told.collect()
}
