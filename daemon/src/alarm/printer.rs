//! The rules of a printer's heaters as a whole: on with nothing to print, and on through a pause. Owns what counts as on.

use super::effect::{AlarmEffect, Subject};
use super::ledger::{Ledger, Moment, Words};
use super::rule::Rule;
use super::waiting::minutes;
use crate::entry::JobState;

impl Ledger {
    /// Weighs the printer's heaters against what its job asks for.
    pub(super) fn weigh_printer(&mut self, job: JobState, moment: Moment) -> Vec<AlarmEffect> {
        let no_print = if job.is_on() { Some(false) } else { self.heat.is_on() };
        // A bed that stays warm keeps the part where it is: that is how a pause should be.
        let paused = if job == JobState::Paused { self.heat.is_tool_on() } else { Some(false) };
        let words = |cause, consequence, action| Words { cause, consequence, action };
        let no_print = self.follow(Subject::of_printer(Rule::HotNoPrint), no_print, moment, |ledger| {
            let (lasting, on) = (ledger.lasting(Rule::HotNoPrint), ledger.heat.on());
            words(
                format!("Nothing prints, and for {lasting} heaters have been on: {on}."),
                "A heater that nobody needs is a fire risk while nobody is there, and what waits in the nozzles cooks.",
                "Switch the heaters off, unless a print is about to begin.",
            )
        });
        let paused = self.follow(Subject::of_printer(Rule::PausedHot), paused, moment, |ledger| {
            let (lasting, on) = (ledger.lasting(Rule::PausedHot), ledger.heat.on());
            words(
                format!("The print has been paused for {lasting} with nozzles heated: {on}."),
                "What waits in the nozzles cooks and drools onto the part, and a hot printer stands unattended.",
                "Go on with the print, or let the nozzles cool until it goes on; the bed may stay warm.",
            )
        });
        no_print.into_iter().chain(paused).collect()
    }

    fn lasting(&self, rule: Rule) -> String {
        minutes(self.tuning(Subject::of_printer(rule)).on_delay.as_minutes())
    }
}
