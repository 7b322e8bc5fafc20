//! What a person can change about a tool. Owns the kinds of change; whether one is worth it stands elsewhere.

use crate::polymer::Material;
use crate::risk::Group;
use crate::units::{Celsius, CubicMm, Millimetres};

/// From what is, as far as it is known, to what would be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step<T> {
    /// What is in force.
    pub from: Option<T>,
    /// What would be.
    pub to: T,
}

/// One change of one tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// Set point while it waits. One that is as hot as its print temperature is no drop at all.
    Standby(Step<Celsius>),
    /// Length of a retraction.
    Retract(Step<Millimetres>),
    /// Speed of a retraction, mm/s.
    RetractSpeed(Step<f64>),
    /// Volume primed after a tool change.
    Prime(Step<CubicMm>),
    /// A wall around the part that catches the ooze.
    OozeShield(Step<bool>),
    /// Set point while it prints.
    PrintTemperature(Step<Celsius>),
    /// Filament dried before the print.
    Dried(Step<bool>),
    /// Which material it holds: that of the other tool, which then holds this one's.
    Material(Step<Material>),
    /// A new part in the place of the one in use.
    Replace(PartKind),
    /// The nozzle cleaned by a cold pull.
    Clean,
    /// A heat break of metal alone, where a PTFE liner reaches into the heat.
    AllMetal,
}

/// A part that wears.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PartKind {
    /// The PTFE tube above the nozzle.
    Liner,
    /// The nozzle.
    Nozzle,
}

impl Change {
    /// Whether both set the same thing, so that only one of them can be taken.
    #[must_use]
    pub fn is_of_kind(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Replace(part), Self::Replace(another)) => part == another,
            (Self::Clean, Self::Replace(part)) | (Self::Replace(part), Self::Clean) => *part == PartKind::Nozzle,
            _ => std::mem::discriminant(self) == std::mem::discriminant(other),
        }
    }

    /// The group of factors that it moves.
    #[must_use]
    pub const fn group(&self) -> Group {
        match self {
            Self::Standby(_) | Self::Clean => Group::IdleHeat,
            Self::Retract(_) | Self::RetractSpeed(_) => Group::Retraction,
            Self::Prime(_) | Self::OozeShield(_) => Group::Changes,
            Self::PrintTemperature(_) => Group::PrintHeat,
            Self::Dried(_) => Group::Drying,
            Self::Material(_) => Group::Material,
            Self::Replace(_) | Self::AllMetal => Group::Wear,
        }
    }

    /// Whether it holds for a material whenever that is printed, and not only for the spool and the parts that are in now.
    #[must_use]
    pub const fn goes_with_material(&self) -> bool {
        match self {
            Self::Standby(_)
            | Self::Retract(_)
            | Self::RetractSpeed(_)
            | Self::Prime(_)
            | Self::OozeShield(_)
            | Self::PrintTemperature(_) => true,
            Self::Dried(_) | Self::Material(_) | Self::Replace(_) | Self::Clean | Self::AllMetal => false,
        }
    }

    /// How far it goes from what is in force, in the setting's own unit; nothing where that is not known or no quantity.
    #[must_use]
    pub fn reach(&self) -> f64 {
        let far = |from: Option<f64>, to: f64| from.map_or(0.0, |from| (to - from).abs());
        match self {
            Self::Standby(step) | Self::PrintTemperature(step) => far(step.from.map(Celsius::get), step.to.get()),
            Self::Retract(step) => far(step.from.map(Millimetres::get), step.to.get()),
            Self::RetractSpeed(step) => far(step.from, step.to),
            Self::Prime(step) => far(step.from.map(CubicMm::get), step.to.get()),
            Self::OozeShield(_)
            | Self::Dried(_)
            | Self::Material(_)
            | Self::Replace(_)
            | Self::Clean
            | Self::AllMetal => 0.0,
        }
    }
}
