//! Prints of a report's parts: a day, a week or a month each. Counts what began, and owns no word of it.

/// What is known of one part's prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DayRecord {
    /// It has not come yet.
    NotYet,
    /// No reading in it.
    NoRecord,
    /// Counted.
    Counted(DayCounts),
}

/// Prints that began in one part. The first five add up to all of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DayCounts {
    /// Ended by themselves.
    pub completed: u32,
    /// Ended by a person.
    pub cancelled: u32,
    /// Ended by a fault.
    pub failed: u32,
    /// Nobody saw the end.
    pub unknown: u32,
    /// Still running.
    pub running: u32,
    /// Of all these, with a reported failure (any mode but `clean`).
    pub with_failure: u32,
    /// Of all these, ended and without any reported outcome.
    pub unreported: u32,
}

impl DayCounts {
    /// All of them.
    #[must_use]
    pub const fn all(self) -> u32 {
        self.completed + self.cancelled + self.failed + self.unknown + self.running
    }
}
