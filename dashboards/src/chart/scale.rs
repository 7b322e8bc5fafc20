//! Scales: where a value lies between two ends, and which round numbers stand beside it. Never draws.

/// Room that the labels along x have on the narrowest phone, in pixels, and what a letter of them takes.
const LABELS_PX: f64 = 270.0;
const LETTER_PX: f64 = 7.0;
/// Room between two labels.
const LABEL_GAP_PX: f64 = 12.0;

/// No scale reaches further from zero; beyond it a double can't tell neighbours apart.
const FAR: f64 = 1e12;

/// An axis: what it measures, from where to where, and how a number on it is written.
#[derive(Clone, Debug)]
pub(crate) struct Scale {
    /// The lower end; above zero where the scale is logarithmic.
    pub(crate) from: f64,
    /// The upper end.
    pub(crate) to: f64,
    /// What it measures, with the unit.
    pub(crate) name: String,
    /// A value on it as people read it.
    pub(crate) show: fn(f64) -> String,
    /// Whether equal steps are equal factors.
    pub(crate) is_log: bool,
}

impl Scale {
    /// Where a value lies, 0 at the lower end to 1 at the upper one; what lies beyond is at the end. `None` for what is
    /// no number.
    pub(super) fn place(&self, value: f64) -> Option<f64> {
        if value.is_nan() {
            return None;
        }
        let (from, to) = self.ends();
        let share =
            if self.is_log { (value.max(from) / from).ln() / (to / from).ln() } else { (value - from) / (to - from) };
        Some(share.clamp(0.0, 1.0))
    }

    /// The value at a share of the way from the lower end to the upper one.
    pub(super) fn at(&self, share: f64) -> f64 {
        let (from, to) = self.ends();
        if self.is_log { from * (to / from).powf(share) } else { from + (to - from) * share }
    }

    /// Whether a value lies between the ends.
    pub(super) fn holds(&self, value: f64) -> bool {
        let (from, to) = self.ends();
        (from..=to).contains(&value)
    }

    /// The numbers that stand beside the axis, at most `most`, round and each told differently.
    pub(super) fn ticks(&self, most: usize) -> Vec<f64> {
        self.fewer(most, |_| true)
    }

    /// As [`Scale::ticks`], for an axis along x: so few that their labels stand side by side at 360 px.
    pub(super) fn ticks_along(&self, most: usize) -> Vec<f64> {
        self.fewer(most, |labels| {
            let letters: usize = labels.iter().map(|label| label.chars().count()).sum();
            let gaps = labels.len().saturating_sub(1);
            super::count(letters) * LETTER_PX + super::count(gaps) * LABEL_GAP_PX <= LABELS_PX
        })
    }

    /// The most ticks whose labels differ and fit.
    fn fewer(&self, most: usize, fits: impl Fn(&[String]) -> bool) -> Vec<f64> {
        let tried = (1..=most).rev().map(|most| self.round(most));
        let differ = |labels: &[String]| labels.windows(2).all(|pair| pair[0] != pair[1]);
        let told = |ticks: &[f64]| ticks.iter().map(|tick| (self.show)(*tick)).collect::<Vec<_>>();
        let mut good = tried.filter(|ticks| {
            let labels = told(ticks);
            differ(&labels) && fits(&labels)
        });
        good.next().unwrap_or_default()
    }

    /// At most `most` round numbers between the ends.
    fn round(&self, most: usize) -> Vec<f64> {
        let (from, to) = self.ends();
        if self.is_log {
            return round_factors(from, to, most);
        }
        let mut step = round_step((to - from) / super::count(most));
        let mut ticks = multiples(from, to, step);
        while ticks.len() > most.max(1) {
            step = round_step(step * 1.5);
            ticks = multiples(from, to, step);
        }
        ticks
    }

    /// The ends, or what stands for them where they span nothing that can be told apart.
    fn ends(&self) -> (f64, f64) {
        let told = |end: f64, instead: f64| if end.is_finite() { end.clamp(-FAR, FAR) } else { instead };
        if self.is_log {
            let from = if self.from > 0.0 { told(self.from, 0.1).max(1.0 / FAR) } else { 0.1 };
            let to = told(self.to, from);
            return (from, if to > from * 1.001 { to } else { from * 10.0 });
        }
        let from = told(self.from, 0.0);
        let to = told(self.to, from);
        (from, if to - from > from.abs() * 1e-6 { to } else { from + from.abs().max(1.0) })
    }
}

/// The least of 1, 2 and 5 times a power of ten that is not under `rough`.
fn round_step(rough: f64) -> f64 {
    let magnitude = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].map(|digit| digit * magnitude).into_iter().find(|step| *step >= rough);
    step.unwrap_or(rough)
}

/// The multiples of `step` from one end to the other; none but them, so that a zero is a zero.
fn multiples(from: f64, to: f64, step: f64) -> Vec<f64> {
    let slack = step / 1e6;
    let first = ((from - slack) / step).ceil();
    let steps = std::iter::successors(Some(first), |n| Some(n + 1.0));
    // Adding zero takes the sign off a zero.
    steps.map(|n| n * step + 0.0).take_while(|tick| *tick <= to + slack).take(100).collect()
}

/// Powers of ten with their doubles and fives, or powers alone, or some of them: the most that are allowed.
fn round_factors(from: f64, to: f64, most: usize) -> Vec<f64> {
    let (first, last) = (from.log10().floor(), to.log10().ceil());
    let powers: Vec<f64> =
        std::iter::successors(Some(first), |power| Some(power + 1.0)).take_while(|power| *power <= last).collect();
    let within = |ticks: Vec<f64>| {
        let (low, high) = (from * (1.0 - 1e-9), to * (1.0 + 1e-9));
        ticks.into_iter().filter(|tick| (low..=high).contains(tick)).collect::<Vec<_>>()
    };
    let of = |digits: &[f64]| {
        within(powers.iter().flat_map(|power| digits.iter().map(move |digit| digit * 10_f64.powf(*power))).collect())
    };
    let mut ticks = of(&[1.0, 2.0, 5.0]);
    if ticks.len() > most {
        ticks = of(&[1.0]);
    }
    let stride = ticks.len().div_ceil(most.max(1)).max(1);
    ticks.into_iter().step_by(stride).collect()
}

/// A scale's step and top: whole, round, at most four steps, never empty.
pub(crate) fn round_scale(highest: f64) -> (f64, f64) {
    let step = round_step((highest / 4.0).max(1.0));
    (step, step * (highest / step).ceil().max(1.0))
}

/// A round upper end for what reaches up to `highest` from zero, also where that is a fraction.
pub(crate) fn round_top(highest: f64) -> f64 {
    if !(highest > 0.0 && highest.is_finite()) {
        return 1.0;
    }
    let step = round_step(highest / 4.0);
    step * (highest / step - 1e-9).ceil().max(1.0)
}

/// The multiples of `step` from 0 to `top`.
pub(crate) fn ticks(step: f64, top: f64) -> impl Iterator<Item = f64> {
    std::iter::successors(Some(0.0), move |tick| Some(tick + step)).take_while(move |tick| *tick <= top + step / 100.0)
}
