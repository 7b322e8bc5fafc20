//! What the waits of a run come to, and what becomes of its features where they come to something else. Owns these sums;
//! each wait is `wait`'s.

use super::situation::Wait;
use crate::risk::{Features, Restarts};
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Seconds};

/// What waits come to.
pub(super) struct Sums {
    dose: DoseMinutes,
    dose_max: Option<DoseMinutes>,
    /// Integral of temperature, °C s, and the time of it.
    weighted: f64,
    lasted: Seconds,
    max: Option<Celsius>,
    ooze: CubicMm,
    restarts: Restarts,
    deficit: Option<CelsiusDelta>,
}

impl Sums {
    pub(super) fn of(waits: &[Wait], print: Option<Celsius>) -> Self {
        let mut sums = Self {
            dose: DoseMinutes::ZERO,
            dose_max: None,
            weighted: 0.0,
            lasted: Seconds::ZERO,
            max: None,
            ooze: CubicMm::ZERO,
            restarts: Restarts::default(),
            deficit: None,
        };
        for wait in waits {
            sums.dose += wait.dose;
            sums.dose_max = most(sums.dose_max, Some(wait.dose));
            sums.weighted += wait.mean.get() * wait.lasted.get();
            sums.lasted += wait.lasted;
            sums.max = most(sums.max, Some(wait.max));
            sums.ooze += wait.ooze.unwrap_or_default();
            if wait.is_followed {
                sums.restarts.add(wait.lasted, wait.mean, wait.dose);
                let colder = wait.end.zip(print).map(|(end, print)| CelsiusDelta::new((print - end).get().max(0.0)));
                sums.deficit = most(sums.deficit, colder);
            }
        }
        sums
    }

    /// The features of a run whose waits come to `new` in the place of these. What a run has beyond its waits in the
    /// print stays.
    pub(super) fn moved(&self, new: &Self, run: &Features, worked: [f64; 2]) -> Features {
        let lasted = run.idle_hot.filter(|hot| *hot > self.lasted).unwrap_or(self.lasted).get();
        let warmer = if lasted > 0.0 { (new.weighted - self.weighted) / lasted } else { 0.0 };
        let (before, after) = (worked[0] + self.dose.get(), worked[1] + new.dose.get());
        let scale = if before > 0.0 { after / before } else { 1.0 };
        Features {
            dose_max: peak(run.dose_max, self.dose_max, new.dose_max),
            dose_sum: run.dose_sum.map(|dose| dose + (new.dose - self.dose)),
            idle_mean: run.idle_mean.map(|mean| mean + CelsiusDelta::new(warmer)),
            idle_max: peak(run.idle_max, self.max, new.max),
            restarts: run.restarts.map(|told| restarted(told, &self.restarts, &new.restarts)),
            stagnant: run.stagnant.map(|dose| DoseMinutes::new(dose.get() * scale)),
            restart_deficit: peak(run.restart_deficit, self.deficit, new.deficit),
            ooze: run.ooze.map(|ooze| ooze + (new.ooze - self.ooze)),
            ..*run
        }
    }
}

fn most<T: PartialOrd>(a: Option<T>, b: Option<T>) -> Option<T> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b > a { b } else { a }),
        (a, b) => a.or(b),
    }
}

/// A run's highest figure where that of its waits moves from `old` to `new`: another one that was higher stays.
fn peak<T: PartialOrd + Copy>(told: Option<T>, old: Option<T>, new: Option<T>) -> Option<T> {
    let (Some(told), Some(old), Some(new)) = (told, old, new) else { return told };
    let is_its = told <= old;
    Some(if old == new || !is_its && told > new { told } else { new })
}

fn restarted(told: Restarts, old: &Restarts, new: &Restarts) -> Restarts {
    let peak = |told: f64, old: f64, new: f64| peak(Some(told), Some(old), Some(new)).unwrap_or(told);
    let dose = peak(told.dose_max.get(), old.dose_max.get(), new.dose_max.get());
    let mut over_max = told.over_max;
    for ((told, old), new) in over_max.iter_mut().zip(old.over_max).zip(new.over_max) {
        *told = Seconds::new(peak(told.get(), old.get(), new.get()));
    }
    Restarts {
        n: told.n,
        dose_max: DoseMinutes::new(dose),
        dose_sum: told.dose_sum + (new.dose_sum - old.dose_sum),
        load_max: peak(told.load_max, old.load_max, new.load_max),
        load_sum: told.load_sum + (new.load_sum - old.load_sum),
        over_max,
    }
}
