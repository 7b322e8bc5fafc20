//! What was learned, as it is kept in the record: what it is made from, and whether it still holds.

mod form;

use super::Learning;
use super::learned::{Known, Study, study};
use super::runs::runs_as;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::{MaterialFacts, Materials};
use dwell_analysis::units::Seconds;

/// Which learner, and which form of its body: another one learns anew. To be counted on with either.
const FORM: u32 = 3;
/// After so long a print that nobody said a word of counts as clean, if silence means that.
pub const SILENT_AFTER: Seconds = Seconds::minutes(24.0 * 60.0);

/// A name of all that a study of this record would be made from.
///
/// # Errors
/// If the record can't be read.
pub fn source(reader: &Reader, materials: &Materials, learning: Learning) -> Result<String, StoreError> {
    let newest = if learning.silence_means_clean { reader.newest()? } else { None };
    let silence = if learning.silence_means_clean { "clean" } else { "unknown" };
    let evidence = reader.evidence(newest.map(|newest| newest - SILENT_AFTER))?;
    let mut source = format!("{} {FORM} {silence} {evidence}", env!("CARGO_PKG_VERSION"));
    // Of a material its family is learned from, and how it ages: a stagnant melt's dose is reckoned anew.
    let row =
        |(name, facts): (_, &MaterialFacts)| format!(" {name}={}/{}", facts.kind.name(), facts.degradation.value.value);
    source.extend(materials.rows().map(row));
    Ok(source)
}

/// Whether silence meant clean in what this names.
fn means_clean(source: &str) -> bool {
    source.split(' ').nth(2) == Some("clean")
}

/// The settings by which was learned last, as far as they count in learning.
pub(super) fn last(reader: &Reader) -> Result<Learning, StoreError> {
    let from = reader.learned_from()?.map(|(from, _)| from);
    Ok(Learning { silence_means_clean: from.as_deref().is_some_and(means_clean), ..Learning::default() })
}

/// What is learned of what is known of the record that is read, for being kept: what it was made from, and the body.
///
/// # Errors
/// If the record can't be read.
pub fn fitted(reader: &Reader, materials: &Materials, known: &Known) -> Result<(String, Vec<u8>), StoreError> {
    let learned = known.learned();
    let body = form::pack(learned.iter().map(|(mode, learned)| (*mode, learned)));
    Ok((source(reader, materials, known.learning)?, body))
}

/// What the record says: as it is kept if that still holds, else learned now. Whoever has no settings sees it as it was
/// learned last.
///
/// # Errors
/// If the record can't be read.
pub fn studied(reader: &Reader, materials: &Materials, learning: Option<Learning>) -> Result<Study, StoreError> {
    let learning = learning.map_or_else(|| last(reader), Ok)?;
    let from = reader.learned_from()?.map(|(from, _)| from);
    let holds = from == Some(source(reader, materials, learning)?);
    let kept = if holds { reader.learned()? } else { None };
    let held = kept.and_then(|kept| form::unpack(&kept.body));
    let Some(held) = held else { return study(reader, materials, learning) };
    let runs = runs_as(reader, materials, learning)?;
    if held.iter().any(|(_, learned)| learned.predictions.len() != runs.len()) {
        return study(reader, materials, learning);
    }
    Ok(Study::of(runs, held, learning))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
