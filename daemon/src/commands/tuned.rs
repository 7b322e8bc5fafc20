//! What `check` shows of alarm rules: those that a person has tuned, as they are in force, each beside what is usual.

use super::table::Table;
use crate::alarm::{Bound, Rules, Tuning};
use dwell_analysis::units::Seconds;

/// A table of the tuned rules; empty where none is.
pub(super) fn shown(rules: &Rules) -> String {
    let mut table =
        Table::new(&["alarm rule", "printer", "material", "priority", "raised after", "returns after", "bound"]);
    let mut seen = Vec::new();
    for of in &rules.overrides {
        let whom = (of.rule, &of.printer, &of.material);
        if seen.contains(&whom) {
            continue;
        }
        seen.push(whom);
        let book = of.printer.as_ref().map_or_else(|| rules.of_any(), |printer| rules.of(printer));
        let (now, usual) = (book.tuning(of.rule, of.material.as_deref()), Tuning::usual(of.rule));
        let both = |show: fn(&Tuning) -> String| {
            let (now, usual) = (show(&now), show(&usual));
            if now == usual { now } else { format!("{now} (usual: {usual})") }
        };
        table.row([
            of.rule.word().to_owned(),
            of.printer.as_ref().map_or_else(|| "any".to_owned(), ToString::to_string),
            of.material.clone().unwrap_or_else(|| "any".to_owned()),
            both(|tuning| tuning.priority.to_string()),
            both(|tuning| delay(tuning.on_delay)),
            both(|tuning| delay(tuning.off_delay)),
            both(|tuning| bound(tuning.bound)),
        ]);
    }
    let mut shown = if seen.is_empty() { String::new() } else { table.text("") };
    for printer in &rules.commissioning {
        shown = format!("{shown}{printer} is being set up: its alarms are recorded, and call nobody\n");
    }
    shown
}

fn delay(delay: Seconds) -> String {
    format!("{} s", delay.get())
}

fn bound(bound: Bound) -> String {
    match bound {
        Bound::Over { at: Some(at), deadband } => format!("over {} °C, {} K", at.get(), deadband.get()),
        Bound::Over { at: None, deadband } => format!("over its own, {} K", deadband.get()),
        Bound::OffBy { by, deadband } => format!("off by {} K, {} K", by.get(), deadband.get()),
        Bound::Share { at, deadband } => format!("{at:.2} of the limit, {deadband:.2} of that"),
        Bound::None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::{Change, Override, Rule};
    use crate::entry::PrinterName;

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
