//! What a suggestion is called. Owns the words for what is changed and the suggestion's id.

use crate::entry::{PrinterName, ToolNumber};
use dwell_analysis::advice::{Change, PartKind};

/// What a change sets: a key of the journal's settings, or a part.
#[must_use]
pub const fn setting(change: &Change) -> &'static str {
    match change {
        Change::Standby(_) => "standby_c",
        Change::Retract(_) => "retract_mm",
        Change::RetractSpeed(_) => "retract_mm_s",
        Change::Prime(_) => "prime_mm3",
        Change::OozeShield(_) => "ooze_shield",
        Change::PrintTemperature(_) => "print_c",
        Change::Dried(_) => "dried",
        Change::Material(_) => "material",
        Change::Replace(PartKind::Liner) => "part:liner",
        Change::Replace(PartKind::Nozzle) | Change::Clean => "part:nozzle",
        Change::AllMetal => "part:heat_break",
    }
}

/// One name a printer, tool, material and setting, such as `bench-t1-pla-standby_c`: it stays while the value moves.
#[must_use]
pub fn suggestion_id(printer: &PrinterName, tool: ToolNumber, material: Option<&str>, setting: &str) -> String {
    let material = material.map(str::trim).filter(|name| !name.is_empty()).unwrap_or("any");
    let whole = format!("{printer}-{tool}-{material}-{setting}").to_lowercase();
    let mut id = String::with_capacity(whole.len());
    for letter in whole.chars() {
        if matches!(letter, 'a'..='z' | '0'..='9' | '_') {
            id.push(letter);
        } else if !id.ends_with('-') {
            id.push('-');
        }
    }
    id
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_lower_case_and_has_no_letter_that_a_shell_reads() {
        let id = |printer: &str, material, setting| {
            suggestion_id(&PrinterName::new(printer).unwrap(), ToolNumber::new(1).unwrap(), material, setting)
        };
        assert_eq!(id("bench", Some("PLA"), "standby_c"), "bench-t1-pla-standby_c");
        assert_eq!(id("bench", Some("PETG"), "part:liner"), "bench-t1-petg-part-liner");
        assert_eq!(id("The  gull's $(bench)", None, "dried"), "the-gull-s-bench-t1-any-dried");
        assert_eq!(id("bench", Some("  "), "dried"), "bench-t1-any-dried");
    }
}
