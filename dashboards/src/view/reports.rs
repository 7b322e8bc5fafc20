//! The archive of reports.

use super::Frame;
use crate::week::IsoWeek;

/// The list of weeks that can be reported on.
#[derive(Clone, Debug)]
pub struct ReportsView {
    /// Zone, week and rehearsal.
    pub frame: Frame,
    /// Weeks with a reading, newest first: a year of them at most.
    pub weeks: Vec<ArchiveWeek>,
    /// The newest week of those before them; `None` where the record begins.
    pub earlier: Option<IsoWeek>,
    /// Days that the form begins with, such as `2026-03-01`: those of the newest week, or what was refused.
    pub asked: [String; 2],
    /// Why what was asked for is no period; `None` if nothing was.
    pub refused: Option<String>,
}

/// A week in the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ArchiveWeek {
    /// Which.
    pub week: IsoWeek,
    /// Prints that began in it.
    pub prints: u32,
    /// Of these, with a reported failure.
    pub with_failure: u32,
    /// Of these, ended and without any outcome.
    pub unreported: u32,
}
