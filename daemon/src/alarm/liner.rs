//! The rule of the liner: a hot end over what the tube above its nozzle stands. Owns what is taken where nobody said what
//! liner it is.

use super::effect::{AlarmEffect, Subject};
use super::ledger::{Ledger, Moment, Words};
use super::rule::Rule;
use super::rulebook::Bound;
use crate::entry::ToolNumber;
use crate::tracker::ToolNow;
use dwell_analysis::units::Celsius;

impl Ledger {
    /// Weighs one tool's heat against its liner; a shared hot end is one, and goes by T0.
    pub(super) fn weigh_liner(&mut self, tool: ToolNumber, now: &ToolNow, moment: Moment) -> Option<AlarmEffect> {
        if self.heaters.is_shared() && tool != ToolNumber::FIRST {
            return None;
        }
        let subject = Subject::of_tool(Rule::OverLiner, tool);
        let Bound::Over { at: set, deadband } = self.tuning(subject).bound else { return None };
        let told = set.or_else(|| self.rules.liner_max(tool.idx()));
        let limit = self.too_hot_over(subject.rule, tool)?;
        // At its rating a liner is still within it.
        let gate = self.gate(subject);
        let runs_away = self.heaters.runs_away(tool);
        let is_over = |actual: Celsius| actual > limit || gate.stands() && actual >= limit - deadband;
        self.follow(subject, now.actual.map(is_over), moment, |_| {
            let cause = cause(tool, now.actual, limit, told.is_some());
            Words { cause, consequence: CONSEQUENCE, action: if runs_away { MAINS } else { LOWER } }
        })
    }
}

const CONSEQUENCE: &str = "A liner over its limit softens, grips the filament and ages fast. Overheated PTFE gives off \
     fumes that harm people and kill birds.";
const LOWER: &str = "Ventilate, keep birds out of the room, and lower the tool's set point. If its liner is rated for more, \
     or it has none, set liner_max_c of the tool in the configuration.";
/// A lower set point is no help to a heater that does not heed the one it has.
const MAINS: &str = "Switch the printer off at the mains now: it heats far over its set point. Ventilate, and keep birds \
     out of the room.";

fn cause(tool: ToolNumber, actual: Option<Celsius>, limit: Celsius, is_told: bool) -> String {
    let (actual, limit) = (actual.map_or_else(String::new, |actual| format!("{:.0}", actual.get())), limit.get());
    let stands = if is_told {
        format!("its liner is rated for {limit:.0} °C")
    } else {
        format!(
            "a PTFE liner is taken to last at up to {limit:.0} °C, and the configuration does not say what liner this is"
        )
    };
    format!("{tool} is at {actual} °C; {stands}.")
}
