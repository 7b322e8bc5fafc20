//! What nobody is to hear of, as it was when the record was read last: while the disk takes nothing, notices leave from
//! memory, and no person's word that is in the record may be broken by that.

use crate::alarm::{AlarmEffect, Subject};
use crate::entry::PrinterName;
use crate::store::read::{alarms, holds};
use crate::store::{HoldRow, StoreError};
use dwell_analysis::time::Timestamp;
use rusqlite::Connection;

#[derive(Debug, Default)]
pub(in crate::store) struct Quiet {
    holds: Vec<HoldRow>,
    /// Alarms that stand and call nobody.
    alarms: Vec<(Option<PrinterName>, Subject, Timestamp)>,
}

impl Quiet {
    pub(in crate::store) fn read(db: &Connection) -> Result<Self, StoreError> {
        let standing = alarms(db, "state <> 'normal' AND returned_ms IS NULL", [])?.into_iter();
        let held = standing.filter(|alarm| alarm.state.is_held());
        let alarms = held.map(|alarm| (alarm.printer, alarm.subject, alarm.raised)).collect();
        Ok(Self { holds: holds(db)?, alarms })
    }

    /// Whether a person does not want to be told of an alarm's change.
    pub(in crate::store) fn covers(&self, printer: Option<&PrinterName>, alarm: &AlarmEffect) -> bool {
        let (subject, raised) = alarm.key();
        let is_held = |held: &HoldRow| {
            held.printer.as_ref() == printer
                && held.subject == subject
                && held.began <= raised
                && held.until.is_none_or(|until| until > raised)
        };
        let is_over = |(whose, of, at): &(Option<PrinterName>, Subject, Timestamp)| {
            whose.as_ref() == printer && *of == subject && *at == raised
        };
        match alarm {
            AlarmEffect::Raised { .. } => self.holds.iter().any(is_held),
            AlarmEffect::Returned { .. } => self.alarms.iter().any(is_over),
        }
    }
}
