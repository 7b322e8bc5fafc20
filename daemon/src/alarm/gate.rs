//! When a condition that comes and goes becomes an alarm, and when that alarm returns: on-delay, off-delay, deadband. Owns
//! the counting, of one condition; what the condition is, a rule's own file says.

use super::rulebook::Tuning;
use dwell_analysis::units::Seconds;

/// What a gate did with a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use]
pub(crate) enum Turn {
    /// Nothing new.
    None,
    /// The condition has held for its on-delay.
    Raise,
    /// The condition has been away for its off-delay.
    Return,
}

/// One condition on its way to an alarm and back. Time counts in contact alone: what holds between two readings is what
/// the earlier one said, a gap or a reading that does not tell counts neither for nor against.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Gate {
    stands: bool,
    /// As the newest reading had it.
    is_true: Option<bool>,
    /// How long the condition has been other than what stands.
    turning: Seconds,
}

impl Gate {
    /// Takes the condition as of one reading, `lasted` after the one before (zero after a gap); `None` is not told.
    pub(crate) fn hold(&mut self, is_true: Option<bool>, lasted: Seconds, tuning: &Tuning) -> Turn {
        let was = std::mem::replace(&mut self.is_true, is_true);
        let Some(is_true) = is_true else { return Turn::None };
        if is_true == self.stands {
            self.turning = Seconds::ZERO;
            return Turn::None;
        }
        if was == Some(is_true) {
            self.turning += lasted;
        }
        let (delay, turn) = if is_true { (tuning.on_delay, Turn::Raise) } else { (tuning.off_delay, Turn::Return) };
        if self.turning < delay {
            return Turn::None;
        }
        self.resume(is_true);
        turn
    }

    /// Whether a value is over its limit: from the limit on, and while the alarm stands down to the deadband under it.
    pub(crate) fn is_over(&self, value: f64, limit: f64, deadband: f64) -> bool {
        value >= if self.stands { limit - deadband } else { limit }
    }

    /// Whether the alarm stands.
    pub(crate) fn stands(&self) -> bool {
        self.stands
    }

    /// Whether the condition is other than what stands, and a delay runs.
    pub(crate) fn is_turning(&self) -> bool {
        self.is_true.is_some_and(|is_true| is_true != self.stands)
    }

    /// Takes over whether the alarm stands, as the record has it; the delays begin anew.
    pub(crate) fn resume(&mut self, stands: bool) {
        self.stands = stands;
        self.turning = Seconds::ZERO;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::{Bound, Priority};

    fn tuning(on: f64, off: f64) -> Tuning {
        let (on_delay, off_delay) = (Seconds::new(on), Seconds::new(off));
        Tuning { priority: Priority::High, on_delay, off_delay, bound: Bound::None }
    }

    /// The turns of a gate over values a second apart, with a limit of 100 and a deadband of 2.
    fn turns(values: &[f64], tuning: &Tuning) -> Vec<(usize, Turn)> {
        let mut gate = Gate::default();
        let mut turn = |value: f64| {
            let is_over = gate.is_over(value, 100.0, 2.0);
            gate.hold(Some(is_over), Seconds::new(1.0), tuning)
        };
        let turns = values.iter().enumerate().map(|(second, value)| (second, turn(*value)));
        turns.filter(|(_, turn)| *turn != Turn::None).collect()
    }

    /// A trace worked out by hand from the definitions of IEC 62682.
    const TRACE: [f64; 21] = [
        99.0, 101.0, 101.0, 99.0, 101.0, 101.0, 101.0, 101.0, 99.0, 98.5, 97.0, 97.0, 97.0, 101.0, 97.0, 97.0, 97.0,
        97.0, 97.0, 97.0, 97.0,
    ];

    #[test]
    fn the_reference_trace_is_raised_at_7_and_returns_at_19() {
        assert_eq!(turns(&TRACE, &tuning(3.0, 5.0)), [(7, Turn::Raise), (19, Turn::Return)]);
    }

    #[test]
    fn without_delays_each_crossing_of_the_deadband_is_a_turn() {
        let (up, down) = (Turn::Raise, Turn::Return);
        assert_eq!(turns(&TRACE, &tuning(0.0, 0.0)), [(1, up), (10, down), (13, up), (14, down)]);
    }

    #[test]
    fn a_gap_and_a_reading_that_does_not_tell_count_neither_for_nor_against() {
        let tuning = tuning(3.0, 3.0);
        let mut gate = Gate::default();
        let mut hold = |is_true, lasted| gate.hold(is_true, Seconds::new(lasted), &tuning);
        assert_eq!(hold(Some(true), 1.0), Turn::None);
        assert_eq!(hold(Some(true), 2.0), Turn::None);
        // An hour of which nothing is known, and a gap.
        assert_eq!(hold(None, 3600.0), Turn::None);
        assert_eq!(hold(Some(true), 3600.0), Turn::None);
        assert_eq!(hold(Some(true), 0.0), Turn::None);
        assert_eq!(hold(Some(true), 1.0), Turn::Raise);
        assert_eq!(hold(None, 3600.0), Turn::None);
        assert_eq!(hold(Some(false), 3600.0), Turn::None);
        assert_eq!(hold(Some(false), 3.0), Turn::Return);
    }

    #[test]
    fn a_resumed_gate_says_nothing_of_what_stands_already() {
        let tuning = tuning(0.0, 2.0);
        let mut gate = Gate::default();
        gate.resume(true);
        assert!(gate.stands());
        assert_eq!(gate.hold(Some(true), Seconds::ZERO, &tuning), Turn::None);
        assert_eq!(gate.hold(Some(false), Seconds::new(9.0), &tuning), Turn::None);
        assert_eq!(gate.hold(Some(false), Seconds::new(2.0), &tuning), Turn::Return);
        assert!(!gate.stands());
    }
}
