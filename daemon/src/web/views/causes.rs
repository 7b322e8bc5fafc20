//! The view of *Causes*: what was worked out last of the whole record, and what was said since.

use super::{ViewError, frame};
use crate::web::Site;
use dwell_dashboards::view::{CausesTold, CausesView};

/// Hands the view to whoever shows it; it stands on what was worked out, which is not copied for a page.
pub(in crate::web) fn causes<T>(site: &Site, show: impl FnOnce(&CausesView<'_>) -> T) -> Result<T, ViewError> {
    let (frame, worked) = (frame(site)?, site.worked());
    let Some(worked) = worked else { return Ok(show(&CausesView { frame, told: None })) };
    let reader = site.store.reader()?;
    let (words_since, is_behind) = (reader.words_since(worked.last_word)?, reader.evidence(None)? != worked.evidence);
    let told = CausesTold { learned: &worked.learned, made: worked.made, words_since, is_behind };
    Ok(show(&CausesView { frame, told: Some(told) }))
}
