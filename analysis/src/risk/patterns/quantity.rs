//! What patterns may speak of. Owns which quantities of a run a person can read, and in which units.

use crate::estimate::count;
use crate::polymer::Material;
use crate::risk::run::Features;
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};

/// A quantity, known of some runs.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    /// Its name, one word throughout.
    pub name: &'static str,
    /// Whether its values are 1 for yes and 0 for no.
    pub is_flag: bool,
    /// Its value for each run, in its unit. What is not finite is not known.
    pub values: Vec<Option<f64>>,
}

impl Quantity {
    /// Whether two runs are known to differ in it.
    pub(super) fn varies(&self) -> bool {
        let mut known = self.known();
        let first = known.next();
        known.any(|value| first.is_some_and(|first| (value - first).abs() > 0.0))
    }

    /// Whether it is known of four runs in five.
    pub(super) fn is_known_enough(&self, runs: usize) -> bool {
        5 * self.known().count() >= 4 * runs
    }

    /// Its value for a run, if that is known.
    pub(super) fn of(&self, run: usize) -> Option<f64> {
        self.values.get(run).copied().flatten().filter(|value| value.is_finite())
    }

    fn known(&self) -> impl Iterator<Item = f64> {
        self.values.iter().flatten().copied().filter(|value| value.is_finite())
    }
}

type Read = fn(&Features) -> Option<f64>;

fn flag(told: Option<bool>) -> Option<f64> {
    told.map(|yes| if yes { 1.0 } else { 0.0 })
}

fn is(features: &Features, material: Material) -> Option<f64> {
    flag(Some(features.material == material))
}

/// Minutes, °C, K, mm, mm/s, mm3, hours or plain counts. Of two that split equally well, the first one is taken.
const NUMBERS: [(&str, Read); 14] = [
    ("dose_max", |f| f.dose_max.map(DoseMinutes::get)),
    ("wait_longest", |f| f.wait_longest.map(Seconds::as_minutes)),
    ("idle_mean", |f| f.idle_mean.map(Celsius::get)),
    ("restart_deficit", |f| f.restart_deficit.map(CelsiusDelta::get)),
    ("ooze", |f| f.ooze.map(CubicMm::get)),
    ("standby", |f| f.standby.map(Celsius::get)),
    ("retract", |f| f.retract.map(Millimetres::get)),
    ("retract_mm_s", |f| f.retract_mm_s),
    ("print_temperature", |f| f.print_temperature.map(Celsius::get)),
    ("prime", |f| f.prime.map(CubicMm::get)),
    ("tool_changes", |f| f.tool_changes.map(count)),
    ("print_length", |f| f.print_length.map(Seconds::as_minutes)),
    ("liner_hours", |f| f.liner_hours),
    ("nozzle_hours", |f| f.nozzle_hours),
];

const FLAGS: [(&str, Read); 11] = [
    ("dried", |f| flag(f.dried)),
    ("ooze_shield", |f| flag(f.ooze_shield)),
    ("material_pla", |f| is(f, Material::Pla)),
    ("material_petg", |f| is(f, Material::Petg)),
    ("material_tpu", |f| is(f, Material::Tpu)),
    ("material_pva", |f| is(f, Material::Pva)),
    ("material_abs", |f| is(f, Material::Abs)),
    ("material_asa", |f| is(f, Material::Asa)),
    ("material_pa", |f| is(f, Material::Pa)),
    ("material_pc", |f| is(f, Material::Pc)),
    ("material_other", |f| is(f, Material::Other)),
];

/// The quantities of runs that a person can read.
pub(super) fn readable(runs: &[&Features]) -> Vec<Quantity> {
    let read =
        |name, is_flag, read: Read| Quantity { name, is_flag, values: runs.iter().map(|run| read(run)).collect() };
    let numbers = NUMBERS.iter().map(|(name, of)| read(name, false, *of));
    numbers.chain(FLAGS.iter().map(|(name, of)| read(name, true, *of))).collect()
}
