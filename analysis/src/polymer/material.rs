//! The material families and their names. Owns which there are; their figures are `facts`'.

/// A family of filament materials, by the trade's short name (ISO 1043-1 symbols where the standard has one).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Material {
    /// Polylactide.
    Pla,
    /// Glycol-modified polyethylene terephthalate.
    Petg,
    /// Thermoplastic polyurethane.
    Tpu,
    /// Polyvinyl alcohol, a support material.
    Pva,
    /// Acrylonitrile butadiene styrene.
    Abs,
    /// Acrylonitrile styrene acrylate.
    Asa,
    /// Polyamide.
    Pa,
    /// Polycarbonate.
    Pc,
    /// Anything else, or not told: the figures of PLA, the best documented, are used and named as an assumption.
    Other,
}

impl Material {
    /// Every material, in table order.
    pub const ALL: [Self; 9] =
        [Self::Pla, Self::Petg, Self::Tpu, Self::Pva, Self::Abs, Self::Asa, Self::Pa, Self::Pc, Self::Other];

    /// The short name that people write on a spool.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pla => "PLA",
            Self::Petg => "PETG",
            Self::Tpu => "TPU",
            Self::Pva => "PVA",
            Self::Abs => "ABS",
            Self::Asa => "ASA",
            Self::Pa => "PA",
            Self::Pc => "PC",
            Self::Other => "other",
        }
    }

    /// The material of that short name, in any case; an unknown name is `Other`. Asks no configuration: where one may
    /// name materials of its own, [`super::Materials::of`] is right.
    #[must_use]
    pub fn named(name: &str) -> Self {
        Self::with_name(name).unwrap_or(Self::Other)
    }

    /// The material of that short name, in any case, if it is one of these.
    #[must_use]
    pub fn with_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|material| material.name().eq_ignore_ascii_case(name.trim()))
    }

    /// Its place in table order.
    pub(super) const fn place(self) -> usize {
        match self {
            Self::Pla => 0,
            Self::Petg => 1,
            Self::Tpu => 2,
            Self::Pva => 3,
            Self::Abs => 4,
            Self::Asa => 5,
            Self::Pa => 6,
            Self::Pc => 7,
            Self::Other => 8,
        }
    }
}
