//! What alarm rules must be beside each other: each thing said once, and the residence ladder's shares rising.

use crate::alarm::{Bound, Override, Rule, Rules};
use crate::config::fault::{Key, Wrong, Wrongs};
use crate::entry::PrinterName;
use std::collections::BTreeSet;

/// The rules of the ladder, each with the one above it.
const STEPS: [[Rule; 2]; 2] =
    [[Rule::ResidenceNote, Rule::ResidenceWarn], [Rule::ResidenceWarn, Rule::ResidenceBudget]];

/// Checks the section's rules, in the order of the configuration.
pub(super) fn check(key: &Key, rules: &[Override]) -> Result<(), Wrongs> {
    Wrongs::each((0..rules.len()).map(|idx| once(key, rules, idx)))?;
    ladder(key, rules)
}

fn once(key: &Key, rules: &[Override], idx: usize) -> Result<(), Wrong> {
    let Some(rule) = rules.get(idx) else { return Ok(()) };
    let is_same = |other: &Override| {
        let [own, others] = [rule, other].map(|rule| rule.material.as_ref().map(|name| name.to_lowercase()));
        other.rule == rule.rule && other.printer == rule.printer && others == own
    };
    let Some(first) = rules.iter().take(idx).position(is_same) else { return Ok(()) };
    let found = format!("found {}, {}, as in {} too", rule.rule.word(), scope(rule), key.nth(first));
    Err(Wrong::new(key.nth(idx), found, "one of them with the keys of both"))
}

/// Wherever rules of the ladder meet, in a printer and a material, the graver one has to begin at a larger share.
fn ladder(key: &Key, rules: &[Override]) -> Result<(), Wrongs> {
    let all = Rules { overrides: rules.to_vec(), ..Rules::default() };
    let printers: BTreeSet<Option<&PrinterName>> = rules.iter().map(|rule| rule.printer.as_ref()).collect();
    let materials: BTreeSet<Option<&str>> = rules.iter().map(|rule| rule.material.as_deref()).collect();
    let mut blamed = BTreeSet::new();
    let mut wrongs = Wrongs::default();
    for (printer, material) in printers.iter().flat_map(|printer| materials.iter().map(move |other| (*printer, *other)))
    {
        let book = printer.map_or_else(|| all.of_any(), |printer| all.of(printer));
        for [lower, upper] in STEPS {
            let [low, high] = [lower, upper].map(|rule| share(book.tuning(rule, material).bound));
            if low < high {
                continue;
            }
            let concerns = |rule: &Override| {
                [lower, upper].contains(&rule.rule)
                    && rule.change.bound.is_some()
                    && rule.printer.as_ref().is_none_or(|named| Some(named) == printer)
                    && rule.material.as_ref().is_none_or(|named| Some(named.as_str()) == material)
            };
            let last = rules.iter().enumerate().rev().find(|(_, rule)| concerns(rule));
            let Some((idx, rule)) = last.filter(|(idx, _)| blamed.insert(*idx)) else { continue };
            let (own, right) = if rule.rule == lower {
                (low, format!("under {}'s {high:.2}", upper.word()))
            } else {
                (high, format!("over {}'s {low:.2}", lower.word()))
            };
            let found = format!("found {own}, {}", scope(rule));
            let wrong: Result<(), Wrong> = Err(Wrong::new(key.nth(idx).name("share"), found, right));
            wrongs.keep(wrong);
        }
    }
    wrongs.none()
}

fn share(bound: Bound) -> f64 {
    match bound {
        Bound::Share { at, .. } => at,
        Bound::Over { .. } | Bound::OffBy { .. } | Bound::None => f64::NAN,
    }
}

/// For which printer and material a rule is.
fn scope(rule: &Override) -> String {
    let printer = rule.printer.as_ref().map_or_else(|| "every printer".to_owned(), ToString::to_string);
    let material = rule.material.as_deref().unwrap_or("any material");
    format!("for {printer} and {material}")
}
