//! What is measured of a run: the list of factors, how each is read, and on which scale it counts. Owns no weight and
//! no verdict.

use super::run::{Features, Group, HARMLESS, Restarts};
use crate::estimate::count;
use crate::polymer::Material;
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};

/// No run counts as further out than so many standard deviations, so that one odd reading does not decide.
const FAR: f64 = 4.0;
/// How a quantity is scaled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scale {
    /// As it is.
    Plain,
    /// By `ln(1 + x)`: a doubling counts, not a minute more.
    Log,
    /// By its distance from the record's median, either way: too little and too much can both harm.
    Departure,
}

/// One factor.
#[derive(Debug)]
pub(super) struct Measure {
    pub(super) name: &'static str,
    pub(super) group: Group,
    pub(super) scale: Scale,
    pub(super) read: fn(&Features) -> Option<f64>,
}

const fn measure(name: &'static str, group: Group, scale: Scale, read: fn(&Features) -> Option<f64>) -> Measure {
    Measure { name, group, scale, read }
}

fn flag(told: Option<bool>) -> Option<f64> {
    told.map(|yes| if yes { 1.0 } else { 0.0 })
}

fn is(features: &Features, material: Material) -> Option<f64> {
    flag(Some(features.material == material))
}

/// Kelvin times minutes above what is harmless: heat and time as a product.
fn heat_load(features: &Features) -> Option<f64> {
    let above = (features.idle_mean? - HARMLESS).get().max(0.0);
    Some(above * features.idle_hot?.as_minutes())
}

fn restarts(features: &Features, read: impl Fn(&Restarts) -> f64) -> Option<f64> {
    features.restarts.as_ref().map(read)
}

/// A sum over the run, as it would have been over the whole job: what ended early was cut short of the rest. Where it
/// is not told how far a job came, or it hardly began, its sums are not known: taken as they are, a print that failed
/// and ended would tell of its end.
fn whole(features: &Features, sum: f64) -> Option<f64> {
    /// Under this share of a job the rest is not known from it.
    const SEEN_LEAST: f64 = 0.1;
    features.done.filter(|done| *done >= SEEN_LEAST).map(|done| sum / done.min(1.0))
}

/// Number of factors.
pub(super) const MEASURES_N: usize = 40;

/// Every factor, causes before what only goes along with them. The last nine are the materials.
pub(super) static MEASURES: [Measure; MEASURES_N] = [
    measure("dose_max", Group::IdleHeat, Scale::Log, |f| f.dose_max.map(DoseMinutes::get)),
    measure("dose_sum", Group::IdleHeat, Scale::Log, |f| f.dose_sum.and_then(|dose| whole(f, dose.get()))),
    measure("heat_load", Group::IdleHeat, Scale::Log, |f| heat_load(f).and_then(|load| whole(f, load))),
    measure("restart_dose_max", Group::IdleHeat, Scale::Log, |f| restarts(f, |of| of.dose_max.get())),
    measure("restart_dose_sum", Group::IdleHeat, Scale::Log, |f| whole(f, f.restarts?.dose_sum.get())),
    measure("restart_load", Group::IdleHeat, Scale::Log, |f| restarts(f, |of| of.load_max)),
    measure("restart_load_sum", Group::IdleHeat, Scale::Log, |f| whole(f, f.restarts?.load_sum)),
    measure("wait_over_180", Group::IdleHeat, Scale::Log, |f| restarts(f, |of| of.over_max[0].as_minutes())),
    measure("wait_over_195", Group::IdleHeat, Scale::Log, |f| restarts(f, |of| of.over_max[1].as_minutes())),
    measure("wait_over_210", Group::IdleHeat, Scale::Log, |f| restarts(f, |of| of.over_max[2].as_minutes())),
    measure("wait_longest", Group::IdleHeat, Scale::Log, |f| f.wait_longest.map(Seconds::as_minutes)),
    measure("idle_hot", Group::IdleHeat, Scale::Log, |f| f.idle_hot.and_then(|hot| whole(f, hot.as_minutes()))),
    measure("idle_mean", Group::IdleHeat, Scale::Plain, |f| f.idle_mean.map(Celsius::get)),
    measure("idle_max", Group::IdleHeat, Scale::Plain, |f| f.idle_max.map(Celsius::get)),
    measure("stagnant", Group::IdleHeat, Scale::Log, |f| f.stagnant.map(DoseMinutes::get)),
    measure("restart_deficit", Group::IdleHeat, Scale::Plain, |f| f.restart_deficit.map(CelsiusDelta::get)),
    measure("ooze", Group::IdleHeat, Scale::Log, |f| f.ooze.and_then(|ooze| whole(f, ooze.get()))),
    measure("standby", Group::IdleHeat, Scale::Plain, |f| f.standby.map(Celsius::get)),
    measure("retract", Group::Retraction, Scale::Plain, |f| f.retract.map(Millimetres::get)),
    measure("retract_departure", Group::Retraction, Scale::Departure, |f| f.retract.map(Millimetres::get)),
    measure("retract_mm_s", Group::Retraction, Scale::Plain, |f| f.retract_mm_s),
    measure("print_temperature", Group::PrintHeat, Scale::Plain, |f| f.print_temperature.map(Celsius::get)),
    measure("liner_hours", Group::Wear, Scale::Log, |f| f.liner_hours),
    measure("liner_wear", Group::Wear, Scale::Log, |f| f.liner_wear),
    measure("liner_cycles", Group::Wear, Scale::Log, |f| f.liner_cycles),
    measure("nozzle_hours", Group::Wear, Scale::Log, |f| f.nozzle_hours),
    measure("tool_changes", Group::Changes, Scale::Log, |f| f.tool_changes.and_then(|n| whole(f, count(n)))),
    measure("print_length", Group::Changes, Scale::Log, |f| {
        f.print_length.and_then(|took| whole(f, took.as_minutes()))
    }),
    measure("prime", Group::Changes, Scale::Plain, |f| f.prime.map(CubicMm::get)),
    measure("ooze_shield", Group::Changes, Scale::Plain, |f| flag(f.ooze_shield)),
    measure("dried", Group::Drying, Scale::Plain, |f| flag(f.dried)),
    measure("material_pla", Group::Material, Scale::Plain, |f| is(f, Material::Pla)),
    measure("material_petg", Group::Material, Scale::Plain, |f| is(f, Material::Petg)),
    measure("material_tpu", Group::Material, Scale::Plain, |f| is(f, Material::Tpu)),
    measure("material_pva", Group::Material, Scale::Plain, |f| is(f, Material::Pva)),
    measure("material_abs", Group::Material, Scale::Plain, |f| is(f, Material::Abs)),
    measure("material_asa", Group::Material, Scale::Plain, |f| is(f, Material::Asa)),
    measure("material_pa", Group::Material, Scale::Plain, |f| is(f, Material::Pa)),
    measure("material_pc", Group::Material, Scale::Plain, |f| is(f, Material::Pc)),
    measure("material_other", Group::Material, Scale::Plain, |f| is(f, Material::Other)),
];

/// The factor of that name, as what was learned tells it; `None` if there is none.
#[must_use]
pub fn factor_named(name: &str) -> Option<&'static str> {
    MEASURES.iter().map(|measure| measure.name).find(|own| *own == name)
}

/// A run as numbers, one a factor, logarithms taken where it counts by them; what is not known is not a number.
pub(super) type Numbers = [f64; MEASURES_N];

/// Reads a run.
pub(super) fn numbers(features: &Features) -> Numbers {
    let mut read = [f64::NAN; MEASURES_N];
    for (cell, measure) in read.iter_mut().zip(&MEASURES) {
        let value = (measure.read)(features).filter(|value| value.is_finite()).unwrap_or(f64::NAN);
        *cell = match measure.scale {
            Scale::Log if !value.is_nan() => value.max(0.0).ln_1p(),
            Scale::Log | Scale::Plain | Scale::Departure => value,
        };
    }
    read
}

/// A factor's place among the runs of a record: known in at least half of them, and not the same in all.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed {
    /// Which factor.
    pub(super) idx: usize,
    /// Where it counts by its distance from it, else nought.
    median: f64,
    pub(super) mean: f64,
    pub(super) deviation: f64,
}

impl Placed {
    pub(super) fn of(idx: usize, runs: &[&Numbers]) -> Option<Self> {
        let mut known: Vec<f64> = runs.iter().map(|run| run[idx]).filter(|value| !value.is_nan()).collect();
        if known.is_empty() || known.len() * 2 < runs.len() {
            return None;
        }
        let mut plain = Self { idx, median: 0.0, mean: 0.0, deviation: 1.0 };
        if plain.measure().scale == Scale::Departure {
            let middle = known.len() / 2;
            plain.median = *known.select_nth_unstable_by(middle, f64::total_cmp).1;
        }
        let n = count(known.len());
        let mean = known.iter().map(|value| plain.scaled(*value)).sum::<f64>() / n;
        let variance = known.iter().map(|value| (plain.scaled(*value) - mean).powi(2)).sum::<f64>() / n;
        let deviation = variance.sqrt();
        // A temperature that differs in its last bit only does not vary.
        (deviation > 1e-9 * (1.0 + mean.abs())).then_some(Self { mean, deviation, ..plain })
    }

    pub(super) fn measure(&self) -> &'static Measure {
        &MEASURES[self.idx]
    }

    fn scaled(&self, value: f64) -> f64 {
        match self.measure().scale {
            Scale::Plain | Scale::Log => value,
            Scale::Departure => (value - self.median).abs(),
        }
    }

    /// Standard deviations from the record's mean. What is not known is taken as average, so that it moves the risk
    /// neither way.
    pub(super) fn standard(&self, run: &Numbers) -> f64 {
        let value = run[self.idx];
        if value.is_nan() { 0.0 } else { ((self.scaled(value) - self.mean) / self.deviation).clamp(-FAR, FAR) }
    }
}

/// Pearson's correlation of two columns; 0 where one of them does not vary.
pub(super) fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let n = count(a.len().min(b.len()));
    let mean = |x: &[f64]| x.iter().sum::<f64>() / n;
    let (at, bt) = (mean(a), mean(b));
    let (mut product, mut square_a, mut square_b) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        product += (x - at) * (y - bt);
        square_a += (x - at).powi(2);
        square_b += (y - bt).powi(2);
    }
    let scale = (square_a * square_b).sqrt();
    if scale > 0.0 { product / scale } else { 0.0 }
}
