//! What a tool's waiting in one print came to. Owns the sums, and the single waits where somebody asks for them.

use crate::store::{HotDoing, HotTime};
use crate::tracker::Context;
use dwell_analysis::advice;
use dwell_analysis::risk::Restarts;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Seconds};

/// One wait, added up.
#[derive(Clone, Copy, Debug, Default)]
struct Wait {
    /// Integral of temperature over the time that it was measured, °C s.
    weighted: f64,
    lasted: Seconds,
    dose: DoseMinutes,
    max: Option<Celsius>,
    end: Option<Celsius>,
    ooze: Option<CubicMm>,
}

impl Wait {
    /// As it is asked of; `None` where nothing was measured.
    fn measured(&self, is_followed: bool) -> Option<advice::Wait> {
        let mean = (self.lasted > Seconds::ZERO).then(|| Celsius::new(self.weighted / self.lasted.get()))?;
        let max = self.max.unwrap_or(mean);
        let Self { lasted, dose, end, ooze, .. } = *self;
        Some(advice::Wait { lasted, mean, max, end, dose, ooze, is_followed })
    }
}

/// A tool's hot times in one print, added up.
#[derive(Clone, Debug, Default)]
pub(super) struct Waits {
    /// Whether it was hot in it at all.
    pub(super) any: bool,
    /// One has not ended.
    open: bool,
    idle: Seconds,
    pub(super) paused: Seconds,
    longest: Seconds,
    restarts: Restarts,
    /// What it waits since its last turn.
    wait: Wait,
    /// Each wait that a turn ended, where somebody asks for them: a record of years has millions.
    each: Option<Vec<advice::Wait>>,
    pub(super) dose_max: Option<DoseMinutes>,
    pub(super) dose_sum: Option<DoseMinutes>,
    /// Integral of temperature over the time that it was measured, °C s.
    weighted: f64,
    measured: Seconds,
    pub(super) max: Option<Celsius>,
    pub(super) ooze: Option<CubicMm>,
    /// The end of the newest wait for another tool, and how warm it was then.
    waited: Option<(Timestamp, Option<Celsius>)>,
    /// Its coldest return to work after such a wait.
    coldest: Option<Celsius>,
    /// It returned to work, and how warm it was is not recorded.
    untold: bool,
}

impl Waits {
    /// Sums that keep the single waits, too.
    pub(super) fn with_each() -> Self {
        Self { each: Some(Vec::new()), ..Self::default() }
    }

    /// The single waits, oldest first; none if they were not kept. One that a pause cut is one.
    pub(super) fn each(&self) -> Vec<advice::Wait> {
        let last = self.wait.measured(false);
        self.each.iter().flatten().copied().chain(last.filter(|_| self.each.is_some())).collect()
    }

    pub(super) fn add(&mut self, hot: &HotTime) {
        self.any = true;
        match hot.doing {
            HotDoing::Work => self.returned(hot.began),
            HotDoing::Wait { context, end, dose, ooze } => self.wait(hot, context, end, dose, ooze),
        }
    }

    fn returned(&mut self, at: Timestamp) {
        let wait = std::mem::take(&mut self.wait);
        if let Some(wait) = wait.measured(true) {
            self.restarts.add(wait.lasted, wait.mean, wait.dose);
            self.each.iter_mut().for_each(|each| each.push(wait));
        }
        match self.waited.take().filter(|(ended, _)| *ended == at) {
            Some((_, Some(end))) => self.coldest = Some(self.coldest.map_or(end, |coldest| coldest.min(end))),
            Some((_, None)) => self.untold = true,
            None => {}
        }
    }

    fn wait(
        &mut self,
        hot: &HotTime,
        context: Context,
        end: Option<Celsius>,
        dose: Option<DoseMinutes>,
        ooze: Option<CubicMm>,
    ) {
        let lasted = hot.lasted.unwrap_or(Seconds::ZERO);
        self.open |= hot.lasted.is_none();
        // Who clears a jam pauses the print: what tools wait meanwhile is its consequence.
        if context == Context::Paused {
            self.paused += lasted;
            return;
        }
        self.idle += lasted;
        let is_in_print = context == Context::InPrint;
        if is_in_print && lasted > self.longest {
            self.longest = lasted;
        }
        if let Some(mean) = hot.mean {
            self.weighted += mean.get() * lasted.get();
            self.measured += lasted;
            self.wait.weighted += mean.get() * lasted.get();
            self.wait.lasted += lasted;
            self.wait.dose += dose.unwrap_or_default();
            self.wait.max = hot.max.map(|max| self.wait.max.map_or(max, |before| before.max(max))).or(self.wait.max);
            self.wait.ooze = ooze.map(|ooze| self.wait.ooze.unwrap_or_default() + ooze).or(self.wait.ooze);
            self.wait.end = end;
        }
        self.max = hot.max.map(|max| self.max.map_or(max, |before| before.max(max))).or(self.max);
        if let Some(dose) = dose {
            let most = self.dose_max.filter(|most| *most > dose);
            (self.dose_max, self.dose_sum) =
                (Some(most.unwrap_or(dose)), Some(self.dose_sum.unwrap_or_default() + dose));
        }
        self.ooze = ooze.map(|ooze| self.ooze.unwrap_or_default() + ooze).or(self.ooze);
        self.waited = hot.ended.filter(|_| is_in_print).map(|ended| (ended, end));
    }

    /// Time waited hot; `None` while it waits.
    pub(super) fn idle(&self) -> Option<Seconds> {
        (!self.open).then_some(self.idle)
    }

    /// What the waits came to that its turn ended.
    pub(super) fn restarts(&self) -> Option<Restarts> {
        (!self.open).then_some(self.restarts)
    }

    /// The longest single wait for another tool.
    pub(super) fn longest(&self) -> Option<Seconds> {
        (!self.open).then_some(self.longest)
    }

    /// Time-weighted mean temperature.
    pub(super) fn mean(&self) -> Option<Celsius> {
        (self.measured > Seconds::ZERO).then(|| Celsius::new(self.weighted / self.measured.get()))
    }

    /// Most that it was colder than its print set point when it returned to work; none if it never had to.
    pub(super) fn restart_deficit(&self, print: Option<Celsius>) -> Option<CelsiusDelta> {
        let print = print.filter(|_| !self.untold)?;
        Some(CelsiusDelta::new(self.coldest.map_or(0.0, |coldest| (print - coldest).get().max(0.0))))
    }
}
