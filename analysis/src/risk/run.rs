//! What is known of one tool in one print, and what was said of it. Owns what there is to know; how it is measured and
//! weighed stands elsewhere.

use crate::polymer::Material;
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};

/// Plain limits of a waiting tool, from which on its minutes are counted: around and above the usual print
/// temperatures of the commonest filaments (common practice, no source).
pub const HOT_OVER: [Celsius; 3] = [Celsius::new(180.0), Celsius::new(195.0), Celsius::new(210.0)];

/// What waits came to that ended with the tool's own turn. Waiting after its last turn harms the part, and nothing that
/// is restarted.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Restarts {
    /// Turns that began after a wait.
    pub n: usize,
    /// Highest and summed dose of these waits.
    pub dose_max: DoseMinutes,
    /// See `dose_max`.
    pub dose_sum: DoseMinutes,
    /// Kelvin above 140 °C times minutes, K min: most of one of them, and of all.
    pub load_max: f64,
    /// See `load_max`.
    pub load_sum: f64,
    /// The longest of them that was hotter than each of [`HOT_OVER`] on its mean.
    pub over_max: [Seconds; 3],
}

/// What waits under this temperature is not heat that harms (common practice, no source).
pub(super) const HARMLESS: Celsius = Celsius::new(140.0);

impl Restarts {
    /// Takes in a wait that a turn ended.
    pub fn add(&mut self, lasted: Seconds, mean: Celsius, dose: DoseMinutes) {
        self.n += 1;
        self.dose_max = if dose > self.dose_max { dose } else { self.dose_max };
        self.dose_sum += dose;
        let load = (mean - HARMLESS).get().max(0.0) * lasted.as_minutes();
        self.load_max = self.load_max.max(load);
        self.load_sum += load;
        for (most, limit) in self.over_max.iter_mut().zip(HOT_OVER) {
            if mean > limit && lasted > *most {
                *most = lasted;
            }
        }
    }
}

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
    /// Whether it was noted as another mode that this one is mixed up with: then it did not happen as far as is known,
    /// and says nothing of what goes with the mode.
    pub is_doubtful: bool,
}

impl Told {
    /// A plain word.
    #[must_use]
    pub const fn of(run: usize, before: usize, happened: Option<bool>) -> Self {
        Self { run, before, happened, is_doubtful: false }
    }
}

/// What a run was like. `None` is not known, which is never the same as none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Features {
    /// Highest dose that the tool took in one wait.
    pub dose_max: Option<DoseMinutes>,
    /// Dose of all its idle spans.
    pub dose_sum: Option<DoseMinutes>,
    /// Time it waited hot.
    pub idle_hot: Option<Seconds>,
    /// Mean temperature while it waited.
    pub idle_mean: Option<Celsius>,
    /// Highest temperature while it waited.
    pub idle_max: Option<Celsius>,
    /// Waits that its turn ended: what harms at a restart.
    pub restarts: Option<Restarts>,
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
    /// `None` is an early end of which it is not told how far it came.
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
            restarts: None,
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
