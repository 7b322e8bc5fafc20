//! What `check` shows of alarm rules: those that a person has tuned, as they are in force, each beside what is usual.

use super::table::Table;
use crate::alarm::Rules;
use crate::setup::tuned_rules;

/// A table of the tuned rules; empty where none is.
pub(super) fn shown(rules: &Rules) -> String {
    let mut table =
        Table::new(&["alarm rule", "printer", "material", "priority", "raised after", "returns after", "bound"]);
    let rows = tuned_rules(rules);
    let mut shown = String::new();
    let is_tuned = !rows.is_empty();
    for row in rows {
        table.row([row.rule.to_owned(), row.printer, row.material].into_iter().chain(row.figures));
    }
    if is_tuned {
        shown = table.text("");
    }
    for printer in &rules.commissioning {
        shown = format!("{shown}{printer} is being set up: its alarms are recorded, and call nobody\n");
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::{Change, Override, Rule};
    use crate::entry::PrinterName;
    use dwell_analysis::units::Seconds;

    #[test]
    fn tuned_rules_are_shown_as_in_force_beside_what_is_usual_and_no_others() {
        assert_eq!(shown(&Rules::default()), "");
        let bench = PrinterName::new("bench");
        let change = |bound, on_delay| Change { on_delay, bound, ..Change::default() };
        let of = |printer: &Option<PrinterName>, change| {
            let printer = printer.clone();
            Override { rule: Rule::IdleHot, printer, material: None, change }
        };
        let overrides = vec![of(&None, change(Some(195.0), None)), of(&bench, change(None, Some(Seconds::new(90.0))))];
        let commissioning = bench.into_iter().collect();
        let shown = shown(&Rules { overrides, commissioning, ..Rules::default() });
        let line = |piece: &str| shown.lines().find(|line| line.contains(piece)).unwrap_or_default();
        assert!(line("any").contains("over 195 °C, 3 K (usual: over its own, 3 K)"), "{shown}");
        let own = line("bench  ");
        assert!(
            own.contains("over 195 °C") && own.contains("90 s (usual: 600 s)") && own.contains("medium"),
            "{shown}"
        );
        assert!(!shown.contains("hot_no_print") && shown.contains("bench is being set up"), "{shown}");
    }
}
