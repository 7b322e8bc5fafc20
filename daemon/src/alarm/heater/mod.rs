//! What readings tell of the heaters themselves: a set point that is not reached or not held, a temperature that jumps.
//! Owns what is followed of each heater between readings, and which conditions hold now; delays, and whether an alarm
//! stands, are the ledger's.

mod course;
mod creep;
mod hold;
mod jump;
mod pace;
mod raise;
mod seen;
mod steady;
mod still;
#[cfg(test)]
mod tests;
mod told;
mod words;

use super::effect::Subject;
use super::ledger::Words;
use super::rule::Rule;
use super::rulebook::{Bound, Tuning};
use crate::entry::{Heater, HeaterFact, HotEnd, Reading, ToolNumber};
use crate::tracker::ToolNow;
use course::Course;
use creep::{Creep, Duty};
use dwell_analysis::units::{CelsiusDelta, Seconds};
use jump::Jump;
use seen::Seen;
use std::collections::BTreeMap;
use steady::Settling;
use still::Still;
use told::Told;

/// Which heater.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Which {
    /// A tool's; of a shared hot end the one heater, which goes by T0 whichever tool is at work.
    Tool {
        number: ToolNumber,
        is_shared: bool,
    },
    Bed,
}

/// What is asked of a heater.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Question {
    Late,
    Lost,
    Jump,
    Frozen,
    Drift,
    Duty,
}

impl Which {
    /// The alarm that answers it; of a bed's drift and duty nothing is asked.
    fn subject(self, question: Question) -> Option<Subject> {
        let (of_tool, of_bed) = match question {
            Question::Late => (Rule::HeatLate, Some(Rule::BedLate)),
            Question::Lost => (Rule::HeatLost, Some(Rule::BedLost)),
            Question::Jump => (Rule::TempJump, Some(Rule::BedJump)),
            Question::Frozen => (Rule::TempFrozen, Some(Rule::BedFrozen)),
            Question::Drift => (Rule::TempDrift, None),
            Question::Duty => (Rule::DutyUnlike, None),
        };
        match self {
            Self::Tool { number, .. } => Some(Subject { rule: of_tool, tool: Some(number) }),
            Self::Bed => of_bed.map(|rule| Subject { rule, tool: None }),
        }
    }

    fn number(self) -> Option<ToolNumber> {
        match self {
            Self::Tool { number, .. } => Some(number),
            Self::Bed => None,
        }
    }
}

/// Whether a condition holds as of a reading.
pub(in crate::alarm) enum Found {
    /// The reading does not tell.
    Untold,
    /// It does not hold.
    Sound,
    /// It holds, and this is what the alarm would say.
    Fault(Words),
    /// It holds, and no on-delay is for it.
    AtOnce(Words),
}

/// A subject and whether its condition holds.
pub(in crate::alarm) struct Finding {
    pub(in crate::alarm) subject: Subject,
    pub(in crate::alarm) found: Found,
}

/// One reading, and what the ledger knows beside it.
pub(in crate::alarm) struct Weighed<'a> {
    pub(in crate::alarm) reading: &'a Reading,
    /// Since the reading before, in contact; zero after a gap.
    pub(in crate::alarm) lasted: Seconds,
    pub(in crate::alarm) after_gap: bool,
    pub(in crate::alarm) tools: &'a [ToolNow],
    pub(in crate::alarm) facts: &'a BTreeMap<ToolNumber, HeaterFact>,
    /// How a subject is tuned.
    pub(in crate::alarm) tuning: &'a dyn Fn(Subject) -> Tuning,
}

/// One heater as it is followed.
#[derive(Clone, Debug, Default)]
struct Watch {
    course: Course,
    jump: Jump,
    still: Still,
    settling: Settling,
    creep: Creep,
    duty: Duty,
}

/// All heaters of one printer.
#[derive(Clone, Debug, Default)]
pub(in crate::alarm) struct Heaters {
    hot_end: HotEnd,
    tools: Vec<Watch>,
    bed: Watch,
    told: Told,
}

impl Heaters {
    /// Heaters of which nothing is known yet.
    pub(in crate::alarm) fn new(hot_end: HotEnd) -> Self {
        Self { hot_end, ..Self::default() }
    }

    /// Whether all tools have one heater.
    pub(in crate::alarm) fn is_shared(&self) -> bool {
        self.hot_end == HotEnd::Shared
    }

    /// Whether the heater of a tool is heated though nobody asks for it: far over a set point that it had reached, or
    /// not cooling to a lower one.
    pub(in crate::alarm) fn runs_away(&self, tool: ToolNumber) -> bool {
        let place = if self.is_shared() { 0 } else { tool.idx() };
        self.tools.get(place).is_some_and(|watch| watch.course.runs_away())
    }

    /// Takes a reading and tells which conditions hold as of it. A heater of which it tells no temperature is not asked.
    pub(in crate::alarm) fn weigh(&mut self, weighed: &Weighed<'_>) -> Vec<Finding> {
        let mut findings = Vec::new();
        let is_shared = self.is_shared();
        let reading = weighed.reading;
        let n = if is_shared { reading.tools.len().min(1) } else { reading.tools.len() };
        self.tools.resize(n, Watch::default());
        let moved = self.told.take(reading, n);
        for (idx, watch) in self.tools.iter_mut().enumerate() {
            let Some(number) = ToolNumber::new(idx) else { continue };
            let told = if is_shared { shared(reading) } else { reading.tools.get(idx).copied() };
            let which = Which::Tool { number, is_shared };
            watch.weigh(which, (told, moved.is_beside(idx)), weighed, &mut findings);
        }
        self.bed.weigh(Which::Bed, (reading.bed, moved.is_beside(n)), weighed, &mut findings);
        findings
    }
}

impl Watch {
    fn weigh(
        &mut self,
        which: Which,
        (told, is_alive): (Option<Heater>, bool),
        weighed: &Weighed<'_>,
        findings: &mut Vec<Finding>,
    ) {
        let Some(seen) = told.and_then(|told| Seen::of(which, &told, weighed)) else {
            self.jump.miss(weighed.lasted);
            self.course.miss(weighed.after_gap);
            return;
        };
        let bound = |question| which.subject(question).map(|subject| OffBy::of(&(weighed.tuning)(subject)));
        let bounds = (bound(Question::Jump), bound(Question::Late), bound(Question::Lost));
        let mut tell = |question, found| {
            findings.extend(which.subject(question).map(|subject| Finding { subject, found }));
        };
        if let (Some(jump), Some(late), Some(lost)) = bounds {
            tell(Question::Jump, self.jump.take(&seen, jump));
            if self.jump.is_doubtful() {
                self.course.miss(weighed.after_gap);
                return;
            }
            let (late, lost) = self.course.take(&seen, late, lost);
            tell(Question::Late, late);
            tell(Question::Lost, lost);
        }
        tell(Question::Frozen, self.still.take(&seen, is_alive, &self.course));
        if which != Which::Bed {
            let is_settled = self.settling.take(&seen, &self.course);
            tell(Question::Drift, self.creep.take(&seen, is_settled));
            tell(Question::Duty, self.duty.take(&seen, is_settled));
        }
    }
}

/// How far from what it should be a temperature may be, and how far it must be back.
#[derive(Clone, Copy, Debug)]
struct OffBy {
    by: CelsiusDelta,
    back: CelsiusDelta,
}

impl OffBy {
    fn of(tuning: &Tuning) -> Self {
        match tuning.bound {
            Bound::OffBy { by, deadband } => Self { by, back: by - deadband },
            // Not of this kind by any tuning that the configuration takes; ten kelvin are no rule's noise.
            Bound::Over { .. } | Bound::Share { .. } | Bound::None => {
                Self { by: CelsiusDelta::new(10.0), back: CelsiusDelta::new(7.0) }
            }
        }
    }
}

/// The one heater of a shared hot end: as the tool at work tells it; without one, only where all tools agree.
fn shared(reading: &Reading) -> Option<Heater> {
    let at_work = reading.active_tool.and_then(|tool| reading.tools.get(tool));
    if let Some(told) = at_work.filter(|told| told.actual.is_some()) {
        return Some(*told);
    }
    let first = reading.tools.iter().find(|tool| tool.actual.is_some())?;
    let is_agreed = reading.tools.iter().all(|tool| tool.target.is_none() || tool.target == first.target);
    Some(Heater { target: first.target.filter(|_| is_agreed), ..*first })
}
