//! The heaters of one printer as they were last told of: what is hot, and what is on. Owns the temperatures that count as
//! either.

use crate::entry::{CentiCelsius, Heater, Reading, ToolNumber};
use dwell_analysis::units::Seconds;

/// A heater that is over this, or is to be, is hot: under it nothing softens and nobody is burnt (common practice, no
/// source).
const HOT_FROM: CentiCelsius = CentiCelsius::from_hundredths(50_00);
/// A set point over this heats: no room is as warm.
const ON_OVER: CentiCelsius = CentiCelsius::from_hundredths(45_00);
/// A heater that is off falls by this much …
const FALL: i32 = 2_00;
/// … in less than this: at 50 °C in a room of 25 °C, one with a time constant of an hour (a heavy bed's) takes 290 s.
const FALL_WITHIN: Seconds = Seconds::minutes(5.0);

/// The heaters at one reading.
#[derive(Clone, Debug, Default)]
pub(super) struct Heat {
    tools: Vec<Held>,
    bed: Option<Held>,
}

/// One heater as it was last told of.
#[derive(Clone, Copy, Debug, Default)]
struct Held {
    heater: Heater,
    /// From where its fall is measured.
    from: Option<CentiCelsius>,
    /// How long it has not fallen.
    still: Seconds,
}

impl Heat {
    /// Takes over what a reading tells. A heater of which it tells nothing stays as it was last known: with several
    /// documents, temperatures often go before the rest does.
    pub(super) fn note(&mut self, reading: &Reading, lasted: Seconds) {
        self.tools.resize(self.tools.len().max(reading.tools.len()), Held::default());
        for (held, told) in self.tools.iter_mut().zip(&reading.tools).filter(|(_, told)| is_told(told)) {
            held.note(told, lasted);
        }
        if let Some(told) = reading.bed.filter(is_told) {
            self.bed.get_or_insert_default().note(&told, lasted);
        }
    }

    /// What was hot, in words; `None` when nothing was.
    pub(super) fn hot(&self) -> Option<String> {
        let hot = self.named(Held::is_hot);
        (!hot.is_empty()).then_some(hot)
    }

    /// What is on, in words.
    pub(super) fn on(&self) -> String {
        self.named(|held| held.is_on() == Some(true))
    }

    /// Whether any heater is on; `None` where nothing tells.
    pub(super) fn is_on(&self) -> Option<bool> {
        any(self.tools.iter().chain(&self.bed))
    }

    /// Whether any tool's heater is on; `None` where nothing tells.
    pub(super) fn is_tool_on(&self) -> Option<bool> {
        any(&self.tools)
    }

    /// Whether that tool's heater is told to be off.
    pub(super) fn is_tool_off(&self, tool: ToolNumber) -> bool {
        let target = self.tools.get(tool.idx()).and_then(|held| held.heater.target);
        target.is_some_and(|target| target <= ON_OVER)
    }

    fn named(&self, is_meant: impl Fn(&Held) -> bool) -> String {
        let tool = |(idx, held)| (ToolNumber::new(idx).map_or_else(String::new, |tool| tool.to_string()), held);
        let tools = self.tools.iter().enumerate().map(tool);
        let bed = self.bed.iter().map(|bed| ("the bed".to_owned(), bed));
        let meant = tools.chain(bed).filter(|(_, held)| is_meant(held));
        meant.map(|(name, held)| words(&name, &held.heater)).collect::<Vec<_>>().join("; ")
    }
}

impl Held {
    fn note(&mut self, told: &Heater, lasted: Seconds) {
        self.heater = *told;
        let Some(actual) = told.actual else { return };
        let moved = self.from.map_or(0, |from| actual.hundredths() - from.hundredths());
        if self.from.is_none() || moved <= -FALL {
            (self.from, self.still) = (Some(actual), Seconds::ZERO);
        } else {
            // What rises is heated: its fall is measured from the top.
            if moved >= FALL {
                self.from = Some(actual);
            }
            self.still += lasted;
        }
    }

    fn is_hot(&self) -> bool {
        [self.heater.actual, self.heater.target].into_iter().flatten().any(|degrees| degrees >= HOT_FROM)
    }

    /// By its set point where that is told; else what is hot and does not fall is on.
    fn is_on(&self) -> Option<bool> {
        let by_heat = || self.heater.actual.map(|actual| actual >= HOT_FROM && self.still >= FALL_WITHIN);
        self.heater.target.map(|target| target > ON_OVER).or_else(by_heat)
    }
}

fn any<'h>(heaters: impl IntoIterator<Item = &'h Held>) -> Option<bool> {
    heaters.into_iter().filter_map(Held::is_on).reduce(|any, is_on| any || is_on)
}

fn is_told(heater: &Heater) -> bool {
    heater.actual.is_some() || heater.target.is_some()
}

fn words(name: &str, heater: &Heater) -> String {
    let whole = |degrees: CentiCelsius| format!("{:.0} °C", degrees.celsius().get());
    match (heater.actual.map(whole), heater.target.map(whole)) {
        (Some(actual), Some(target)) => format!("{name} at {actual}, set to {target}"),
        (Some(actual), None) => format!("{name} at {actual}"),
        (None, Some(target)) => format!("{name} set to {target}"),
        (None, None) => name.to_owned(),
    }
}
