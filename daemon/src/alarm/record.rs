//! The words of the record's own alarm: that the disk takes nothing. Who watches the disk raises it.

use super::effect::{AlarmEffect, Subject};
use super::rule::{Priority, Rule};
use dwell_analysis::time::Timestamp;

/// What it is about.
pub const RECORD_FULL: Subject = Subject { rule: Rule::RecordFull, tool: None };

/// The alarm that the disk takes nothing: why, since when, and until when the memory lasts, as far as that is known.
#[must_use]
pub fn record_full(
    at: Timestamp,
    priority: Priority,
    why: &str,
    since: Option<&str>,
    until: Option<&str>,
) -> AlarmEffect {
    let since = since.map_or_else(String::new, |since| format!(" since {since}"));
    let cause = format!("The record has not been written{since}: {why}.");
    let lasts = match until {
        Some(until) => format!("The memory lasts until about {until}; then the oldest readings are dropped first."),
        None => "How long the memory lasts can't be told yet.".to_owned(),
    };
    let consequence = format!(
        "What has been seen since then is kept in memory alone: it is lost if dwellwatch stops or the power fails. {lasts}"
    );
    let action =
        "Make room on the disk of the record, or put right what the cause names. Leave dwellwatch running until \
        this alarm has gone."
            .to_owned();
    AlarmEffect::Raised { subject: RECORD_FULL, at, priority, suppressed: None, cause, consequence, action }
}
