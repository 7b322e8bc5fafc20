//! What is worth a change, best first.

use super::situation::Situation;
use super::suggestion::Suggestion;

/// Nothing yet.
#[must_use]
pub fn advise(_situation: &Situation<'_>) -> Vec<Suggestion> {
    Vec::new()
}
