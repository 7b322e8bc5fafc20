//! One heater as a first-order process with dead time: `tau dT/dt = -(T - T_amb) + K u(t - theta)`, duty `u` between 0
//! and 1; `tau` and `theta` are apart for warming and for cooling, since real heaters differ in them. At full duty it
//! would settle `K` above its surroundings, so heating is slower the hotter it is; cooling is free. A step of the set
//! point upwards is followed at full duty, one downwards with none, and then it is held.

use crate::units::{Celsius, CelsiusDelta, Seconds};

/// A room (common practice, no source).
pub const AMBIENT: Celsius = Celsius::new(25.0);

/// Nearer than this to its set point a heater is there, K: what a wait for heat is content with (common practice, no
/// source).
const THERE: CelsiusDelta = CelsiusDelta::new(1.0);

/// A heater's parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heater {
    /// Time constant `tau` of warming.
    pub time_constant: Seconds,
    /// Time constant `tau` of cooling.
    pub cooling_constant: Seconds,
    /// Rise above the surroundings at full duty, `K`.
    pub gain: CelsiusDelta,
    /// Dead time `theta` before a rise of the duty is felt.
    pub dead_time: Seconds,
    /// Dead time `theta` before a fall of the duty is felt.
    pub cooling_dead_time: Seconds,
}

impl Heater {
    /// A 40 W cartridge in a small block without a part fan: order of magnitude from memory, until it is fitted.
    pub const HOT_END: Self = Self {
        time_constant: Seconds::new(200.0),
        cooling_constant: Seconds::new(200.0),
        gain: CelsiusDelta::new(700.0),
        dead_time: Seconds::new(3.5),
        cooling_dead_time: Seconds::ZERO,
    };

    /// A heated bed that takes four minutes to 60 °C: order of magnitude from memory, until it is fitted.
    pub const BED: Self = Self {
        time_constant: Seconds::new(600.0),
        cooling_constant: Seconds::new(600.0),
        gain: CelsiusDelta::new(110.0),
        dead_time: Seconds::new(5.0),
        cooling_dead_time: Seconds::ZERO,
    };

    /// Time to cool from `from` to `to` with no duty: `theta + tau ln((T1 - T_amb)/(T2 - T_amb))`; nothing where it is
    /// as cool already. `None` where its surroundings never let it.
    #[must_use]
    pub fn cooling(&self, from: Celsius, to: Celsius, ambient: Celsius) -> Option<Seconds> {
        if from <= to {
            return Some(Seconds::ZERO);
        }
        let ratio = (from - ambient).get() / (to - ambient).get();
        (to > ambient).then(|| self.cooling_dead_time + Seconds::new(self.cooling_constant.get() * ratio.ln()))
    }

    /// Time to heat from `from` to `to` at full duty: `theta + tau ln((K + T_amb - T1)/(K + T_amb - T2))`; nothing
    /// where it is as hot already. `None` where it never gets there.
    #[must_use]
    pub fn heating(&self, from: Celsius, to: Celsius, ambient: Celsius) -> Option<Seconds> {
        if from >= to {
            return Some(Seconds::ZERO);
        }
        let top = ambient + self.gain;
        let ratio = (top - from).get() / (top - to).get();
        (to < top).then(|| self.dead_time + Seconds::new(self.time_constant.get() * ratio.ln()))
    }
}

/// A heater under way to its set point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeaterState {
    heater: Heater,
    ambient: Celsius,
    actual: Celsius,
    /// `None` is off.
    target: Option<Celsius>,
    /// Left of the dead time after the set point was moved, in which the duty from before is still felt.
    dead: Seconds,
    before: Duty,
}

/// What a heater is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Duty {
    Off,
    /// What holds its temperature.
    Holding,
    Full,
}

impl HeaterState {
    /// A heater that is off, at `actual`.
    #[must_use]
    pub const fn new(heater: Heater, ambient: Celsius, actual: Celsius) -> Self {
        Self { heater, ambient, actual, target: None, dead: Seconds::ZERO, before: Duty::Off }
    }

    /// Sets it to `target`; a set point that is no warmer than the surroundings is off.
    pub fn set(&mut self, target: Celsius) {
        let target = (target > self.ambient).then_some(target);
        if target == self.target {
            return;
        }
        let (asked, asks) = (self.duty(self.target), self.duty(target));
        self.target = target;
        let is_dead = self.dead > Seconds::ZERO;
        if is_dead && asked == asks {
            return;
        }
        let felt = if is_dead { self.before } else { asked };
        self.before = felt;
        self.dead = match asks {
            // One that is heated at full duty already goes on, and so does one that cools.
            _ if felt == asks => Seconds::ZERO,
            Duty::Full => self.heater.dead_time,
            Duty::Off => self.heater.cooling_dead_time,
            Duty::Holding => Seconds::ZERO,
        };
    }

    /// What a set point asks for at its temperature.
    fn duty(&self, target: Option<Celsius>) -> Duty {
        match target {
            Some(target) if self.actual < target => Duty::Full,
            Some(target) if self.actual <= target => Duty::Holding,
            Some(_) | None => Duty::Off,
        }
    }

    /// Its temperature.
    #[must_use]
    pub const fn actual(&self) -> Celsius {
        self.actual
    }

    /// Its set point; `None` is off.
    #[must_use]
    pub const fn target(&self) -> Option<Celsius> {
        self.target
    }

    /// Time until it is within a kelvin of its set point from below; nothing where it is hotter. `None` where it never
    /// gets there.
    #[must_use]
    pub fn until_hot(&self) -> Option<Seconds> {
        let Some(target) = self.target else { return Some(Seconds::ZERO) };
        let there = target - THERE;
        if self.actual >= there {
            return Some(Seconds::ZERO);
        }
        let from = self.after_dead(self.dead);
        let rising = self.heater.heating(from, there, self.ambient)?;
        Some(rising - self.heater.dead_time + self.dead)
    }

    /// Time until it is within a kelvin of its set point from above or below; a heater that is off has none.
    #[must_use]
    pub fn until_there(&self) -> Option<Seconds> {
        match self.target {
            Some(target) if self.actual > target + THERE => {
                let falling = self.heater.cooling(self.after_dead(self.dead), target + THERE, self.ambient)?;
                Some(falling - self.heater.cooling_dead_time + self.dead)
            }
            Some(_) | None => self.until_hot(),
        }
    }

    /// Lets `lasted` pass.
    pub fn advance(&mut self, lasted: Seconds) {
        let dead = if lasted < self.dead { lasted } else { self.dead };
        if dead > Seconds::ZERO {
            self.actual = self.after_dead(dead);
            self.dead = self.dead - dead;
        }
        let rest = lasted - dead;
        if rest <= Seconds::ZERO {
            return;
        }
        self.actual = match self.target {
            Some(target) if self.actual < target => self.warmed(rest).min(target),
            Some(target) => self.cooled(rest).max(target),
            None => self.cooled(rest),
        };
    }

    /// Where it is after so much of the dead time.
    fn after_dead(&self, lasted: Seconds) -> Celsius {
        match self.before {
            Duty::Off => self.cooled(lasted),
            Duty::Holding => self.actual,
            Duty::Full => self.warmed(lasted),
        }
    }

    fn warmed(&self, lasted: Seconds) -> Celsius {
        self.toward(self.ambient + self.heater.gain, lasted, self.heater.time_constant)
    }

    fn cooled(&self, lasted: Seconds) -> Celsius {
        self.toward(self.ambient, lasted, self.heater.cooling_constant)
    }

    /// Where it is after `lasted` on its way to where it would settle.
    fn toward(&self, settles: Celsius, lasted: Seconds, tau: Seconds) -> Celsius {
        let left = (-lasted.get() / tau.get()).exp();
        settles + CelsiusDelta::new((self.actual - settles).get() * left)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// A worked example: 210 → 150 → 210 °C in a room of 25 °C, tau 200 s, K 700 K, theta 3.5 s:
    /// 200 ln(185/125) = 78.4 s and 3.5 + 200 ln(575/515) = 25.5 s.
    #[test]
    fn times_agree_with_the_worked_example() {
        let (hot, standby) = (Celsius::new(210.0), Celsius::new(150.0));
        let cooling = Heater::HOT_END.cooling(hot, standby, AMBIENT).unwrap();
        let heating = Heater::HOT_END.heating(standby, hot, AMBIENT).unwrap();
        assert!((cooling.get() - 78.4).abs() < 0.05 && (heating.get() - 25.5).abs() < 0.05, "{cooling:?} {heating:?}");
        assert_eq!(Heater::HOT_END.cooling(hot, AMBIENT, AMBIENT), None);
        assert_eq!(Heater::HOT_END.heating(hot, Celsius::new(725.0), AMBIENT), None);
    }

    /// Whatever the steps, the state goes the way that the times tell.
    #[test]
    fn state_reaches_its_set_point_when_the_times_say_so() {
        for step in [0.05, 0.5, 3.0] {
            let mut state = HeaterState::new(Heater::HOT_END, AMBIENT, Celsius::new(150.0));
            state.set(Celsius::new(150.0));
            state.set(Celsius::new(210.0));
            let told = state.until_hot().unwrap();
            let mut passed = Seconds::ZERO;
            while state.until_hot() != Some(Seconds::ZERO) {
                state.advance(Seconds::new(step));
                passed += Seconds::new(step);
            }
            let late = passed - told;
            assert!((-1e-6..=step).contains(&late.get()), "{step}: told {told:?}, took {passed:?}");
            state.set(Celsius::new(170.0));
            let told = state.until_there().unwrap();
            state.advance(told + Seconds::new(0.01));
            assert_eq!(state.until_there(), Some(Seconds::ZERO));
        }
    }

    /// Held at 190 °C it stays there while the raised duty is not felt; cooling from 210 °C, it goes on cooling.
    #[test]
    fn duty_from_before_is_felt_for_the_dead_time() {
        let mut held = HeaterState::new(Heater::HOT_END, AMBIENT, Celsius::new(190.0));
        held.set(Celsius::new(190.0));
        held.set(Celsius::new(235.0));
        held.advance(Seconds::new(3.0));
        assert!((held.actual() - Celsius::new(190.0)).get().abs() < 1e-9);
        let mut cooling = HeaterState::new(Heater::HOT_END, AMBIENT, Celsius::new(210.0));
        cooling.set(Celsius::new(150.0));
        cooling.set(Celsius::new(235.0));
        cooling.advance(Seconds::new(3.0));
        // 25 + 185 exp(-3/200)
        assert!((cooling.actual().get() - 207.25).abs() < 0.01, "{cooling:?}");
    }

    #[test]
    fn heater_that_is_off_cools_to_the_room_and_never_below() {
        let mut state = HeaterState::new(Heater::HOT_END, AMBIENT, Celsius::new(210.0));
        state.set(Celsius::new(0.0));
        state.advance(Seconds::new(100_000.0));
        assert!((state.actual() - AMBIENT).get().abs() < 1e-6 && state.target().is_none());
    }

    /// Held at 210 °C it stays there for 10 s after it was lowered, then falls with its own time constant.
    #[test]
    fn a_fall_has_a_dead_time_and_a_time_constant_of_its_own() {
        let heater =
            Heater { cooling_constant: Seconds::new(100.0), cooling_dead_time: Seconds::new(10.0), ..Heater::HOT_END };
        let (hot, standby) = (Celsius::new(210.0), Celsius::new(150.0));
        let mut state = HeaterState::new(heater, AMBIENT, hot);
        state.set(hot);
        state.set(standby);
        let told = state.until_there().unwrap();
        // 10 s and 100 ln(185/126).
        assert!((told.get() - (10.0 + 100.0 * (185.0_f64 / 126.0).ln())).abs() < 1e-9, "{told:?}");
        state.advance(Seconds::new(9.9));
        assert!((state.actual() - hot).get().abs() < 1e-9);
        state.advance(told - Seconds::new(9.9));
        assert!((state.actual() - standby - CelsiusDelta::new(1.0)).get().abs() < 1e-9, "{state:?}");
    }
}
