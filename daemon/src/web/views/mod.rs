//! From the record to the pages' views. Owns which rows a page needs and how rows become what it shows; decides
//! nothing, and leaves out what the record does not hold.

mod ahead;
mod alarms;
mod causes;
mod changes;
mod heard;
mod lanes;
mod now;
mod parts;
mod preflight;
mod prints;
mod reheat;
mod reports;
mod setup;

pub(super) use ahead::Paces;
pub(super) use alarms::alarms;
pub(super) use causes::causes;
pub(super) use changes::{adopted, changes, declined};
pub(super) use lanes::Past;
pub(super) use now::now;
pub(super) use parts::{parts, recorded};
pub(super) use preflight::{known, preflight};
pub(super) use prints::{print, prints};
pub(super) use reports::reports;
pub(super) use setup::{setup, size};

use crate::entry::{Severity, ToolNumber};
use crate::store::{OutcomeRow, StoreError, in_force};
use crate::web::Site;
use dwell_dashboards::view;
use dwell_dashboards::week::{IsoWeek, WeekError};

/// Why a view can't be filled.
#[derive(Debug, thiserror::Error)]
pub(super) enum ViewError {
    /// The record can't be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The clock stands outside the calendar.
    #[error(transparent)]
    Week(#[from] WeekError),
}

pub(super) fn frame(site: &Site) -> Result<view::Frame, WeekError> {
    let week = IsoWeek::of(site.clock.now().at, &site.zone)?;
    Ok(view::Frame { zone: site.zone.clone(), week, rehearsal: site.rehearsal, signs_in: site.gate.access().opens() })
}

fn outcomes(rows: &[OutcomeRow]) -> Vec<view::OutcomeRow> {
    in_force(rows).into_iter().map(outcome).collect()
}

fn outcome(row: OutcomeRow) -> view::OutcomeRow {
    view::OutcomeRow {
        at: row.at,
        tool: row.tool.map(ToolNumber::idx),
        mode: row.mode.word(),
        severity: row.severity.map(Severity::number),
        note: row.note,
    }
}
