//! Alarm rules that a person has tuned, as they are in force, each figure beside what is usual.

use crate::alarm::{Bound, Rules, Tuning};
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::TunedRule;

/// A row a rule, printer and material; none where nothing is tuned.
pub(crate) fn tuned_rules(rules: &Rules) -> Vec<TunedRule> {
    let (mut rows, mut seen) = (Vec::new(), Vec::new());
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
        rows.push(TunedRule {
            rule: of.rule.word(),
            printer: of.printer.as_ref().map_or_else(|| "any".to_owned(), ToString::to_string),
            material: of.material.clone().unwrap_or_else(|| "any".to_owned()),
            figures: [
                both(|tuning| tuning.priority.to_string()),
                both(|tuning| delay(tuning.on_delay)),
                both(|tuning| delay(tuning.off_delay)),
                both(|tuning| bound(tuning.bound)),
            ],
        });
    }
    rows
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
