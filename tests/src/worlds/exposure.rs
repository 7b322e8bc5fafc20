//! What a tool-run was exposed to, from what really was, not from what the host told.

use super::heat::{Sample, State};
use super::person::{Material, Settings};

/// What a tool went through in one print.
#[derive(Clone, Copy, Debug)]
pub struct Exposure {
    /// In force.
    pub settings: Settings,
    /// Turns that began after a wait of some seconds.
    pub restarts: f64,
    /// Minutes above 195 °C in the longest wait that a turn ended.
    pub hot_min: f64,
    /// Kelvin above 160 °C times minutes, hundreds, in the worst wait that a turn ended.
    pub worst_warmth: f64,
    /// The same over all of them.
    pub warmth: f64,
    /// Hours above 150 °C since the liner was fitted, at the end of the run.
    pub liner_h: f64,
    /// The same, an hour at 220 °C counting one, at 240 °C e.
    pub liner_weighted_h: f64,
    /// The reading at which the worst wait ended.
    pub(super) worst_ended: usize,
}

/// A liner's age.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Age {
    pub(super) hours: f64,
    pub(super) weighted_h: f64,
}

impl Age {
    /// Older by what these readings hold.
    pub(super) fn after(mut self, samples: &[Sample], tool: usize, poll_s: f64) -> Self {
        for c in samples.iter().map(|sample| sample.real_c[tool]).filter(|c| *c > 150.0) {
            self.hours += poll_s / 3600.0;
            self.weighted_h += poll_s / 3600.0 * ((c - 220.0) / 20.0).exp();
        }
        self
    }
}

#[derive(Clone, Copy, Default)]
struct Wait {
    min: f64,
    hot_min: f64,
    warmth: f64,
    ended: usize,
}

/// Waits of a tool that ended with its turn. None if it had no turn.
fn waits(samples: &[Sample], tool: usize, poll_s: f64) -> Option<Vec<Wait>> {
    let (mut ended, mut has_worked, mut open) = (Vec::new(), false, Wait::default());
    let of_print = |(_, sample): &(usize, &Sample)| matches!(sample.state, State::Printing | State::Paused);
    for (idx, sample) in samples.iter().enumerate().filter(of_print) {
        let (c, min) = (sample.real_c[tool], poll_s / 60.0);
        if sample.state == State::Printing && sample.tool == tool {
            if open.min > 0.1 {
                ended.push(Wait { ended: idx, ..open });
            }
            (has_worked, open) = (true, Wait::default());
        } else if c > 50.0 {
            open.min += min;
            open.hot_min += if c > 195.0 { min } else { 0.0 };
            open.warmth += (c - 160.0).max(0.0) * min / 100.0;
        }
    }
    has_worked.then_some(ended)
}

impl Exposure {
    /// Of a tool in these readings; none if it had no turn.
    pub(super) fn of(samples: &[Sample], tool: usize, poll_s: f64, settings: Settings, liner: Age) -> Option<Self> {
        let waits = waits(samples, tool, poll_s)?;
        let most = |of: fn(&Wait) -> f64| waits.iter().map(of).fold(0.0, f64::max);
        Some(Self {
            settings,
            restarts: waits.iter().map(|_| 1.0).sum(),
            hot_min: most(|wait| wait.hot_min),
            worst_warmth: most(|wait| wait.warmth),
            warmth: waits.iter().map(|wait| wait.warmth).sum(),
            liner_h: liner.hours,
            liner_weighted_h: liner.weighted_h,
            worst_ended: waits.iter().max_by(|a, b| a.warmth.total_cmp(&b.warmth)).map_or(0, |wait| wait.ended),
        })
    }

    /// Whether the tool printed PETG.
    #[must_use]
    pub fn is_petg(&self) -> bool {
        self.settings.material == Material::Petg
    }
}
