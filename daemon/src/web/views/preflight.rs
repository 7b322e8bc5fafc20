//! The view of *Preflight*: its form, and which printer a job file is judged for.

use super::{ViewError, frame};
use crate::entry::PrinterName;
use crate::gather::recorded;
use crate::preflight::Known;
use crate::web::Site;
use crate::web::preflight::UPLOAD_MAX;
use dwell_dashboards::view::{PreflightCame, PreflightForm, PreflightPage};

/// Fills the view.
pub(in crate::web) fn preflight(
    site: &Site,
    chosen: Option<String>,
    came: PreflightCame,
) -> Result<PreflightPage, ViewError> {
    let printers = site.printer_names(&site.store.reader()?)?;
    let form = PreflightForm {
        token: site.token.clone(),
        printers: printers.iter().map(ToString::to_string).collect(),
        chosen,
        bytes_max: u64::try_from(UPLOAD_MAX).unwrap_or(u64::MAX),
    };
    Ok(PreflightPage { frame: frame(site)?, form, came })
}

/// What is known of the printer that is asked for, or of the only one; nothing of any without one. `None` if there is
/// none of that name, or several to choose from.
pub(in crate::web) fn known(site: &Site, asked: Option<&str>) -> Result<Option<Known>, ViewError> {
    let reader = site.store.reader()?;
    let printers = site.printer_names(&reader)?;
    let meant = match (asked, printers.as_slice()) {
        (None, []) => return Ok(Some(Known::default())),
        (None, [only]) => Some(only),
        (None, _) => None,
        (Some(asked), all) => all.iter().find(|name| name.as_str() == asked),
    };
    let of = |name: &PrinterName| {
        let configured = site.printers.iter().find(|known| known.printer.as_ref() == Some(name));
        recorded(configured.cloned().unwrap_or_default(), &reader, name)
    };
    Ok(meant.map(of).transpose()?)
}
