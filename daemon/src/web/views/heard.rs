//! How well a printer was heard of late: time in contact, gaps, and how old the newest reading is.

use super::now::LOOK_BACK;
use crate::entry::PrinterName;
use crate::store::{GapRow, Reader, StoreError};
use crate::tracker::SILENCE_MAX;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::Heard;

/// Of a printer whose newest reading is of `newest`, as of `now`; `gaps` are those of all printers since then.
pub(super) fn heard(
    reader: &Reader,
    printer: &PrinterName,
    gaps: &[GapRow],
    newest: Timestamp,
    now: Timestamp,
) -> Result<Heard, StoreError> {
    let from = reader.contact_began(printer)?.unwrap_or(newest).min(newest).max(now - LOOK_BACK);
    let age = now - newest;
    // What has been silent for so long is a gap, though the record may not hold it yet.
    let until = if age > SILENCE_MAX { newest } else { now };
    let mine = gaps.iter().filter(|gap| gap.printer == *printer);
    let mine = mine.filter_map(|gap| gap.within(from, until));
    let silence = (until < now).then_some((until.max(from), now));
    let lasted: Vec<Seconds> =
        mine.chain(silence).filter(|(began, ended)| began < ended).map(|(began, ended)| ended - began).collect();
    let lost = lasted.iter().fold(Seconds::ZERO, |sum, gap| sum + *gap);
    let longest = lasted.iter().copied().max_by(|a, b| a.get().total_cmp(&b.get())).unwrap_or(Seconds::ZERO);
    let (gaps, over) = (u32::try_from(lasted.len()).unwrap_or(u32::MAX), now.max(from) - from);
    Ok(Heard { over, contact: over - lost, gaps, longest, age: now.max(newest) - newest })
}
