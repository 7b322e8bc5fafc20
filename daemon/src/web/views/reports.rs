//! The archive's view.

use super::{Site, ViewError, frame};
use crate::study::archive;
use dwell_dashboards::period::Period;
use dwell_dashboards::view::ReportsView;
use dwell_dashboards::week::IsoWeek;

/// The weeks that can be reported on, up to one of them or the present one; with days that were asked for and why they are
/// none.
pub(in crate::web) fn reports(
    site: &Site,
    until: Option<IsoWeek>,
    refused: Option<([String; 2], String)>,
) -> Result<ReportsView, ViewError> {
    let frame = frame(site)?;
    let (weeks, earlier) = archive(&site.store.reader()?, &site.zone, until.unwrap_or(frame.week).min(frame.week))?;
    let newest = weeks.first().map_or(frame.week, |row| row.week);
    let (asked, refused) = match refused {
        Some((asked, why)) => (asked, Some(why)),
        None => (Period::from(newest).edges(), None),
    };
    Ok(ReportsView { frame, weeks, earlier, asked, refused })
}
