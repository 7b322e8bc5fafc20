//! The materials and their figures. Owns the table; what is done with a figure stands in `dose` and `ooze`.

use crate::units::{Celsius, DoseMinutes};

/// A filament material, by the trade's short name (ISO 1043-1 symbols where the standard has one).
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

/// One row of the material table.
#[derive(Clone, Copy, Debug)]
pub struct MaterialFacts {
    /// Glass transition.
    pub glass_transition: Celsius,
    /// The lowest temperature at which the melt starts to flow through a 0.4 mm nozzle.
    pub first_flow: Celsius,
    /// Activation energy of degradation, J/mol.
    pub degradation_energy: f64,
    /// Activation energy of flow, J/mol.
    pub flow_energy: f64,
    /// The dose at which a waiting melt is spent.
    pub residence_limit: DoseMinutes,
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

    /// The material of that short name, in any case; an unknown name is `Other`.
    #[must_use]
    pub fn named(name: &str) -> Self {
        Self::ALL.into_iter().find(|material| material.name().eq_ignore_ascii_case(name.trim())).unwrap_or(Self::Other)
    }

    /// The material's figures.
    ///
    /// Glass transitions, from general reference pages: PLA 57, TPU -20 (its soft phase), ASA 100; the middle of a
    /// printed range for PVA (72 partly, 79 fully hydrolysed), PA (50 to 57, PA 6 and 66) and PC (145 to 150); ABS 105
    /// is where the high-heat grades begin (common ones 90 to 102). PETG 80 is from memory; one grade is printed as 88.
    ///
    /// First flow: PLA 142 and ABS 167 measured through a 0.4 mm nozzle by Read et al., Integr. Mater. Manuf. Innov.
    /// 13 (2024) 541; the others are the usual print temperature, from memory, less the 80 K which that paper chose.
    ///
    /// Activation energy of degradation: PLA 119.4 kJ/mol, fitted between 180 and 210 °C, Ind. Eng. Chem. Res. 35
    /// (1996) 732; PETG 134 kJ/mol, that of PET by Marshall and Todd 1953; the others borrow PLA's for want of one.
    /// Activation energy of flow: 80 kJ/mol for all, from memory (PLA 70 to 100, PETG 70 to 90; no open figure found).
    ///
    /// Residence limits are proposals without a source: PLA 60 equivalent minutes at 200 °C; PVA less, because it
    /// decomposes fast above 200 °C; the others more, because they are moulded hotter.
    #[must_use]
    pub const fn facts(self) -> MaterialFacts {
        let (glass_transition, first_flow, degradation_kj, limit_min) = match self {
            Self::Pla | Self::Other => (57.0, 142.0, 119.4, 60.0),
            Self::Petg => (80.0, 155.0, 134.0, 200.0),
            Self::Tpu => (-20.0, 145.0, 119.4, 60.0),
            Self::Pva => (75.0, 120.0, 119.4, 20.0),
            Self::Abs => (105.0, 167.0, 119.4, 300.0),
            Self::Asa => (100.0, 170.0, 119.4, 300.0),
            Self::Pa => (53.0, 180.0, 119.4, 300.0),
            Self::Pc => (147.0, 200.0, 119.4, 600.0),
        };
        MaterialFacts {
            glass_transition: Celsius::new(glass_transition),
            first_flow: Celsius::new(first_flow),
            degradation_energy: degradation_kj * 1000.0,
            flow_energy: 80_000.0,
            residence_limit: DoseMinutes::new(limit_min),
        }
    }
}
