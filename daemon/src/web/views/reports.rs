//! The archive's view.

use super::{Site, ViewError, frame};
use crate::study::archive;
use dwell_dashboards::period::Period;
use dwell_dashboards::view::ReportsView;

/// The weeks that can be reported on; with days that were asked for and why they are none.
pub(in crate::web) fn reports(site: &Site, refused: Option<([String; 2], String)>) -> Result<ReportsView, ViewError> {
    let frame = frame(site)?;
    let weeks = archive(&site.store.reader()?, &site.zone, site.clock.now().at)?;
    let newest = weeks.first().map_or(frame.week, |row| row.week);
    let (asked, refused) = match refused {
        Some((asked, why)) => (asked, Some(why)),
        None => (Period::from(newest).edges(), None),
    };
    Ok(ReportsView { frame, weeks, asked, refused })
}
