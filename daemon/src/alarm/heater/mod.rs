//! What readings tell of the heaters themselves: a set point that is not reached or not held, a temperature that jumps.
//! Owns what is followed of each heater between readings, and which conditions hold now; delays, and whether an alarm
//! stands, are the ledger's.

mod course;
mod hold;
mod jump;
mod pace;
mod raise;
mod seen;
mod words;

use super::effect::Subject;
use super::ledger::Words;
use super::rule::Rule;
use super::rulebook::{Bound, Tuning};
use crate::entry::{Heater, HeaterFact, HotEnd, Reading, ToolNumber};
use crate::tracker::ToolNow;
use course::Course;
use dwell_analysis::units::{CelsiusDelta, Seconds};
use jump::Jump;
use seen::Seen;
use std::collections::BTreeMap;

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
}

impl Which {
    fn subject(self, question: Question) -> Subject {
        let (tool, of_tool, of_bed) = match question {
            Question::Late => (self.number(), Rule::HeatLate, Rule::BedLate),
            Question::Lost => (self.number(), Rule::HeatLost, Rule::BedLost),
            Question::Jump => (self.number(), Rule::TempJump, Rule::BedJump),
        };
        Subject { rule: if tool.is_some() { of_tool } else { of_bed }, tool }
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
}

/// All heaters of one printer.
#[derive(Clone, Debug, Default)]
pub(in crate::alarm) struct Heaters {
    hot_end: HotEnd,
    tools: Vec<Watch>,
    bed: Watch,
}

impl Heaters {
    /// Heaters of which nothing is known yet.
    pub(in crate::alarm) fn new(hot_end: HotEnd) -> Self {
        Self { hot_end, tools: Vec::new(), bed: Watch::default() }
    }

    /// Takes a reading and tells which conditions hold as of it. A heater of which it tells no temperature is not asked.
    pub(in crate::alarm) fn weigh(&mut self, weighed: &Weighed<'_>) -> Vec<Finding> {
        let mut findings = Vec::new();
        let is_shared = self.hot_end == HotEnd::Shared;
        let n = if is_shared { 1 } else { weighed.reading.tools.len() };
        self.tools.resize(n, Watch::default());
        for (idx, watch) in self.tools.iter_mut().enumerate() {
            let Some(number) = ToolNumber::new(idx) else { continue };
            let told = if is_shared { shared(weighed.reading) } else { weighed.reading.tools.get(idx).copied() };
            let which = Which::Tool { number, is_shared };
            watch.weigh(which, told, weighed, &mut findings);
        }
        self.bed.weigh(Which::Bed, weighed.reading.bed, weighed, &mut findings);
        findings
    }
}

impl Watch {
    fn weigh(&mut self, which: Which, told: Option<Heater>, weighed: &Weighed<'_>, findings: &mut Vec<Finding>) {
        let Some(seen) = told.and_then(|told| Seen::of(which, &told, weighed)) else {
            self.jump.miss(weighed.lasted);
            self.course.miss(weighed.after_gap);
            return;
        };
        let mut tell = |question, found| findings.push(Finding { subject: which.subject(question), found });
        let bound = |question| OffBy::of(&(weighed.tuning)(which.subject(question)));
        tell(Question::Jump, self.jump.take(&seen, bound(Question::Jump)));
        let (late, lost) = self.course.take(&seen, bound(Question::Late), bound(Question::Lost));
        tell(Question::Late, late);
        tell(Question::Lost, lost);
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
    if let Some(at_work) = reading.active_tool.and_then(|tool| reading.tools.get(tool)) {
        if at_work.actual.is_some() {
            return Some(*at_work);
        }
    }
    let first = reading.tools.iter().find(|tool| tool.actual.is_some())?;
    let is_agreed = reading.tools.iter().all(|tool| tool.target.is_none() || tool.target == first.target);
    Some(Heater { target: first.target.filter(|_| is_agreed), ..*first })
}
