//! One heater at one reading, as far as its rules ask. Owns what counts as off.

use super::{Weighed, Which};
use crate::entry::{CentiCelsius, Heater, HeaterFact, JobState};
use crate::tracker::Doing;
use dwell_analysis::units::{Celsius, Seconds};

/// A set point under this heats nothing: a room on a hot day, °C (common practice, no source).
const OFF_UNDER: CentiCelsius = CentiCelsius::from_hundredths(30_00);

/// What a heater is set to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Target {
    Off,
    At(Celsius),
}

/// One heater at one reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) which: Which,
    pub(super) actual: Celsius,
    /// `None` where it is not told.
    pub(super) target: Option<Target>,
    /// Since the reading before, in contact.
    pub(super) lasted: Seconds,
    pub(super) after_gap: bool,
    /// A job prints: fans and flow may take heat away.
    pub(super) is_printing: bool,
    /// Nothing flows through it, and no part fan is told to blow at it.
    pub(super) is_resting: bool,
    /// Share of full duty.
    pub(super) duty: Option<f64>,
    pub(super) fact: Option<HeaterFact>,
}

impl Seen {
    /// `None` where no temperature is told.
    pub(super) fn of(which: Which, told: &Heater, weighed: &Weighed<'_>) -> Option<Self> {
        let target = |set: CentiCelsius| if set < OFF_UNDER { Target::Off } else { Target::At(set.celsius()) };
        let number = which.number();
        let doing = number.and_then(|number| weighed.tools.get(number.idx())).map(|tool| tool.doing);
        Some(Self {
            which,
            actual: told.actual?.celsius(),
            target: told.target.map(target),
            duty: told.duty_thousandths.map(|duty| f64::from(duty) / 1000.0),
            lasted: weighed.lasted,
            after_gap: weighed.after_gap,
            is_printing: weighed.reading.job.state == JobState::Printing,
            is_resting: which.waits(doing, weighed) && told.fan_thousandths.is_none_or(|fan| fan == 0),
            fact: number.and_then(|number| weighed.facts.get(&number)).copied(),
        })
    }
}

impl Which {
    /// Whether nothing flows through it: a shared hot end waits only where no tool works.
    fn waits(self, doing: Option<Doing>, weighed: &Weighed<'_>) -> bool {
        let waits = |doing: &Doing| matches!(doing, Doing::Waiting { .. });
        match self {
            Self::Tool { is_shared: false, .. } => doing.as_ref().is_some_and(waits),
            Self::Tool { is_shared: true, .. } => weighed.tools.iter().all(|tool| waits(&tool.doing)),
            Self::Bed => false,
        }
    }
}
