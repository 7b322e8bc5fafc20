//! What is known of one tool in one print. Owns the list of factors, how each is read and what group it is of.

use crate::polymer::Material;
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};

/// One tool in one print.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToolRun {
    /// The caller's number of the print; runs of one print share it and stand together.
    pub print: usize,
    /// What the run was like.
    pub features: Features,
}

/// What somebody said of a run, and from when on it was known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// Which run, by its place.
    pub run: usize,
    /// The number of the first print that began after it was said, and after the run's own print.
    pub before: usize,
    /// Whether the failure mode happened, as known from then on; `None` takes back what was said.
    pub happened: Option<bool>,
}

/// What a run was like. `None` is not known, which is never the same as none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Features {
    /// Highest dose that the tool's melt reached.
    pub dose_max: Option<DoseMinutes>,
    /// Dose of all its idle spans.
    pub dose_sum: Option<DoseMinutes>,
    /// Time it waited hot.
    pub idle_hot: Option<Seconds>,
    /// Mean temperature while it waited.
    pub idle_mean: Option<Celsius>,
    /// Highest temperature while it waited.
    pub idle_max: Option<Celsius>,
    /// Longest that it waited hot within the print, at one go.
    pub wait_longest: Option<Seconds>,
    /// Dose of its stagnant melt, which extrusion hardly flushes, at the print's end.
    pub stagnant: Option<DoseMinutes>,
    /// Most that its melt was colder than its print set point when its turn came.
    pub restart_deficit: Option<CelsiusDelta>,
    /// Melt expected to have left the idle nozzle.
    pub ooze: Option<CubicMm>,
    /// Standby set point.
    pub standby: Option<Celsius>,
    /// Length of a retraction.
    pub retract: Option<Millimetres>,
    /// Speed of a retraction, mm/s.
    pub retract_mm_s: Option<f64>,
    /// Set point while printing.
    pub print_temperature: Option<Celsius>,
    /// Volume primed after a tool change.
    pub prime: Option<CubicMm>,
    /// Tool changes in the print.
    pub tool_changes: Option<usize>,
    /// How long the print lasted.
    pub print_length: Option<Seconds>,
    /// Hours that the liner has been hot since it was fitted.
    pub liner_hours: Option<f64>,
    /// The same hours, each weighted by its heat; see [`crate::wear`].
    pub liner_wear: Option<f64>,
    /// Times that the liner was heated since it was fitted.
    pub liner_cycles: Option<f64>,
    /// Hours that the nozzle has been hot since it was fitted.
    pub nozzle_hours: Option<f64>,
    /// What the tool held.
    pub material: Material,
    /// Whether the filament was dried before the print.
    pub dried: Option<bool>,
    /// Whether a wall around the part caught the ooze.
    pub ooze_shield: Option<bool>,
    /// Share of the job that was done when the print ended, 0 to 1; a print that ended early was exposed to no more.
    pub done: Option<f64>,
}

impl Features {
    /// A run of which only the material is known.
    #[must_use]
    pub const fn of(material: Material) -> Self {
        Self {
            dose_max: None,
            dose_sum: None,
            idle_hot: None,
            idle_mean: None,
            idle_max: None,
            wait_longest: None,
            stagnant: None,
            restart_deficit: None,
            ooze: None,
            standby: None,
            retract: None,
            retract_mm_s: None,
            print_temperature: None,
            prime: None,
            tool_changes: None,
            print_length: None,
            liner_hours: None,
            liner_wear: None,
            liner_cycles: None,
            nozzle_hours: None,
            material,
            dried: None,
            ooze_shield: None,
            done: None,
        }
    }
}

/// What a factor is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Group {
    /// Heat that a waiting tool took, and what it let go.
    IdleHeat,
    /// How filament is drawn back.
    Retraction,
    /// Heat while printing.
    PrintHeat,
    /// Age of the parts.
    Wear,
    /// How often tools change, for how long, and what is done about it at a change.
    Changes,
    /// Which material.
    Material,
    /// Moisture.
    Drying,
}

impl Group {
    /// Every group.
    pub const ALL: [Self; 7] =
        [Self::IdleHeat, Self::Retraction, Self::PrintHeat, Self::Wear, Self::Changes, Self::Material, Self::Drying];

    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::IdleHeat => "idle_heat",
            Self::Retraction => "retraction",
            Self::PrintHeat => "print_heat",
            Self::Wear => "wear",
            Self::Changes => "changes",
            Self::Material => "material",
            Self::Drying => "drying",
        }
    }
}

/// How a quantity enters the log-odds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// As it is.
    Plain,
    /// By `ln(1 + x)`: a doubling counts, not a minute more.
    Log,
    /// By its distance from the record's median, either way: too little and too much can both harm.
    Departure,
}

/// One factor: a column of the design.
#[derive(Debug)]
pub(super) struct Column {
    pub(super) name: &'static str,
    pub(super) group: Group,
    pub(super) shape: Shape,
    pub(super) read: fn(&Features) -> Option<f64>,
}

const fn column(name: &'static str, group: Group, shape: Shape, read: fn(&Features) -> Option<f64>) -> Column {
    Column { name, group, shape, read }
}

fn flag(told: Option<bool>) -> Option<f64> {
    told.map(|yes| if yes { 1.0 } else { 0.0 })
}

fn is(features: &Features, material: Material) -> Option<f64> {
    flag(Some(features.material == material))
}

/// Every factor. Where two say the same in a record, the one that stands first is kept, so causes stand before what
/// only goes along with them.
pub(super) const COLUMNS: [Column; 26] = [
    column("dose_max", Group::IdleHeat, Shape::Log, |f| f.dose_max.map(DoseMinutes::get)),
    column("dose_sum", Group::IdleHeat, Shape::Log, |f| f.dose_sum.map(DoseMinutes::get)),
    column("idle_hot", Group::IdleHeat, Shape::Log, |f| f.idle_hot.map(Seconds::as_minutes)),
    column("idle_mean", Group::IdleHeat, Shape::Plain, |f| f.idle_mean.map(Celsius::get)),
    column("idle_max", Group::IdleHeat, Shape::Plain, |f| f.idle_max.map(Celsius::get)),
    column("ooze", Group::IdleHeat, Shape::Log, |f| f.ooze.map(CubicMm::get)),
    column("standby", Group::IdleHeat, Shape::Plain, |f| f.standby.map(Celsius::get)),
    column("retract", Group::Retraction, Shape::Plain, |f| f.retract.map(Millimetres::get)),
    column("retract_departure", Group::Retraction, Shape::Departure, |f| f.retract.map(Millimetres::get)),
    column("retract_mm_s", Group::Retraction, Shape::Plain, |f| f.retract_mm_s),
    column("print_temperature", Group::PrintHeat, Shape::Plain, |f| f.print_temperature.map(Celsius::get)),
    column("liner_hours", Group::Wear, Shape::Log, |f| f.liner_hours),
    column("tool_changes", Group::Changes, Shape::Log, |f| f.tool_changes.map(crate::estimate::count)),
    column("print_length", Group::Changes, Shape::Log, |f| f.print_length.map(Seconds::as_minutes)),
    column("prime", Group::Changes, Shape::Plain, |f| f.prime.map(CubicMm::get)),
    column("ooze_shield", Group::Changes, Shape::Plain, |f| flag(f.ooze_shield)),
    column("dried", Group::Drying, Shape::Plain, |f| flag(f.dried)),
    column("material_pla", Group::Material, Shape::Plain, |f| is(f, Material::Pla)),
    column("material_petg", Group::Material, Shape::Plain, |f| is(f, Material::Petg)),
    column("material_tpu", Group::Material, Shape::Plain, |f| is(f, Material::Tpu)),
    column("material_pva", Group::Material, Shape::Plain, |f| is(f, Material::Pva)),
    column("material_abs", Group::Material, Shape::Plain, |f| is(f, Material::Abs)),
    column("material_asa", Group::Material, Shape::Plain, |f| is(f, Material::Asa)),
    column("material_pa", Group::Material, Shape::Plain, |f| is(f, Material::Pa)),
    column("material_pc", Group::Material, Shape::Plain, |f| is(f, Material::Pc)),
    column("material_other", Group::Material, Shape::Plain, |f| is(f, Material::Other)),
];
