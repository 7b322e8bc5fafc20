//! The built-in table: each figure of each material, with what it rests on. Owns the figures; what a person sets
//! over them is `materials`', what is done with them stands in `dose`, `ooze` and `retraction`.

use super::Material;
use super::source::Source::{self, Borrowed, Memory, Proposal, Read};
use super::source::{Band, Sourced};
use crate::units::{Celsius, DoseMinutes};

/// One row of the material table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaterialFacts {
    /// Which family it is of; what a person named is of the family that it was said to be like.
    pub kind: Material,
    /// Glass transition.
    pub glass_transition: Sourced<Celsius>,
    /// The lowest temperature at which the melt starts to flow through a 0.4 mm nozzle.
    pub first_flow: Sourced<Celsius>,
    /// Lowest usual print temperature.
    pub print_low: Sourced<Celsius>,
    /// Highest usual print temperature.
    pub print_high: Sourced<Celsius>,
    /// The dose at which a waiting melt is spent.
    pub residence_limit: Sourced<DoseMinutes>,
    /// Activation energy of degradation, J/mol.
    pub degradation: Sourced<Band>,
    /// Activation energy of flow, J/mol.
    pub flow: Sourced<Band>,
    /// Zero-shear viscosity.
    pub viscosity: Sourced<Viscosity>,
}

/// A viscosity and the temperature it holds at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Viscosity {
    /// Pa s.
    pub pa_s: f64,
    /// The temperature.
    pub at: Celsius,
}

const READ_2024: &str = "Read et al., Integr. Mater. Manuf. Innov. 13 (2024) 541, 0.4 mm nozzle";
const PLA_ENERGY: &str =
    "fitted from 180 to 210 °C, Ind. Eng. Chem. Res. 35 (1996) 732; 80 to 170 is a proposal, mass loss says 96";
const BORROWED_ENERGY: &str = "PLA's; 60 to 200 is a proposal";
const PET_ENERGY: &str = "PET's melt scission, Marshall and Todd 1953; 120 by Polym. Degrad. Stab. 120 (2015) 70, \
                          218 the highest of mass loss in air, Thermochim. Acta";
const PLA_VISCOSITY: &str = "Materials 16 (2023) 7664, table 1: middle of 1480 to 9460 Pa s fitted; its temperature \
                             from memory";
const HEAT_OF_MOULDING: &str = "no source; more than PLA's, because it is moulded hotter";

/// A row's figures in table order, units as people write them: °C, min, kJ/mol, Pa s.
struct Row {
    glass: (f64, Source),
    first_flow: (f64, Source),
    print: (f64, f64, Source),
    limit: (f64, Source),
    degradation: (f64, f64, f64, Source),
    flow: (f64, f64, f64, Source),
    viscosity: (f64, f64, Source),
}

impl Row {
    const fn facts(&self, kind: Material) -> MaterialFacts {
        const fn celsius((value, source): (f64, Source)) -> Sourced<Celsius> {
            Sourced::new(Celsius::new(value), source)
        }
        const fn energy((value, low, high, source): (f64, f64, f64, Source)) -> Sourced<Band> {
            Sourced::new(Band::new(value * 1000.0, low * 1000.0, high * 1000.0), source)
        }
        let (pa_s, at, source) = self.viscosity;
        MaterialFacts {
            kind,
            glass_transition: celsius(self.glass),
            first_flow: celsius(self.first_flow),
            print_low: celsius((self.print.0, self.print.2)),
            print_high: celsius((self.print.1, self.print.2)),
            residence_limit: Sourced::new(DoseMinutes::new(self.limit.0), self.limit.1),
            degradation: energy(self.degradation),
            flow: energy(self.flow),
            viscosity: Sourced::new(Viscosity { pa_s, at: Celsius::new(at) }, source),
        }
    }
}

const PLA: Row = Row {
    glass: (57.0, Read("general reference page; others print 60 to 65")),
    first_flow: (142.0, Read(READ_2024)),
    print: (190.0, 220.0, Memory("")),
    limit: (60.0, Proposal("no source; 30 min at about 215 °C, 75 equivalent minutes, ruined nozzles in one workshop")),
    degradation: (119.4, 80.0, 170.0, Read(PLA_ENERGY)),
    flow: (80.0, 70.0, 100.0, Memory("70 to 100; no open figure found")),
    viscosity: (3000.0, 200.0, Read(PLA_VISCOSITY)),
};

const PETG: Row = Row {
    glass: (80.0, Memory("one grade is printed as 88 °C")),
    first_flow: (155.0, Memory("usual print temperature, less the 80 K that Read et al. chose")),
    print: (210.0, 255.0, Read("range studied in Polymers 11 (2019) 1220")),
    limit: (200.0, Proposal(HEAT_OF_MOULDING)),
    degradation: (134.0, 120.0, 218.0, Borrowed(PET_ENERGY)),
    flow: (80.0, 65.0, 90.0, Memory("70 to 90; PET's is 65, Polym. Degrad. Stab. 120 (2015) 70")),
    viscosity: (3000.0, 200.0, Borrowed("PLA's; none found")),
};

const TPU: Row = Row {
    glass: (-20.0, Read("general reference page: of its soft phase, about")),
    first_flow: (145.0, Memory("usual print temperature, less 80 K; it melts over 160 to 220 °C by grade")),
    print: (210.0, 235.0, Memory("")),
    limit: (60.0, Proposal("no source; PLA's")),
    degradation: (119.4, 60.0, 200.0, Borrowed(BORROWED_ENERGY)),
    flow: (80.0, 50.0, 100.0, Memory("no open figure found")),
    viscosity: (3000.0, 200.0, Borrowed("PLA's; none found")),
};

const PVA: Row = Row {
    glass: (75.0, Read("general reference page: middle of 72 partly and 79 fully hydrolysed")),
    first_flow: (120.0, Memory("usual print temperature, less 80 K")),
    print: (185.0, 210.0, Memory("a plasticised blend is printed as 175 °C")),
    limit: (20.0, Proposal("no source; a third of PLA's, because it decomposes fast over 200 °C")),
    degradation: (119.4, 60.0, 200.0, Borrowed(BORROWED_ENERGY)),
    flow: (80.0, 50.0, 100.0, Memory("no open figure found")),
    viscosity: (3000.0, 200.0, Borrowed("PLA's; none found")),
};

const ABS: Row = Row {
    glass: (105.0, Read("general reference page: where high-heat grades begin, to 115; common ones 90 to 102")),
    first_flow: (167.0, Read(READ_2024)),
    print: (220.0, 260.0, Read("melt range in a compounder's processing guide")),
    limit: (300.0, Proposal(HEAT_OF_MOULDING)),
    degradation: (119.4, 60.0, 200.0, Borrowed(BORROWED_ENERGY)),
    flow: (100.0, 40.0, 100.0, Read("Read et al. 2024: pressure falls by 4.7 % a kelvin at 5 mm3/s, by 2 % at 25")),
    viscosity: (
        9000.0,
        230.0,
        Read("Materials 16 (2023) 7664, table 1: power law at 1/s; its temperature from memory"),
    ),
};

const ASA: Row = Row {
    glass: (100.0, Read("general reference page")),
    first_flow: (170.0, Memory("usual print temperature, less 80 K")),
    print: (240.0, 280.0, Read("a maker's guide: 240 to 280 °C, no long residence over 280")),
    limit: (300.0, Proposal(HEAT_OF_MOULDING)),
    degradation: (119.4, 60.0, 200.0, Borrowed(BORROWED_ENERGY)),
    flow: (100.0, 40.0, 100.0, Borrowed("ABS's")),
    viscosity: (9000.0, 230.0, Borrowed("ABS's")),
};

const PA: Row = Row {
    glass: (53.0, Read("general reference page: middle of 50 to 57, PA 6 and 66")),
    first_flow: (180.0, Memory("usual print temperature, less 80 K; PA 6 melts at 220 °C only")),
    print: (240.0, 270.0, Memory("")),
    limit: (300.0, Proposal(HEAT_OF_MOULDING)),
    degradation: (119.4, 60.0, 200.0, Borrowed(BORROWED_ENERGY)),
    flow: (80.0, 50.0, 100.0, Memory("no open figure found")),
    viscosity: (500.0, 250.0, Memory("order of magnitude")),
};

const PC: Row = Row {
    glass: (147.0, Read("general reference page: middle of 145 to 150")),
    first_flow: (200.0, Memory("usual print temperature, less 80 K")),
    print: (260.0, 310.0, Memory("")),
    limit: (600.0, Proposal(HEAT_OF_MOULDING)),
    degradation: (119.4, 60.0, 200.0, Borrowed(BORROWED_ENERGY)),
    flow: (80.0, 50.0, 110.0, Memory("no open figure found")),
    viscosity: (2000.0, 280.0, Memory("order of magnitude")),
};

/// PLA's are the best documented.
const OTHER: Row = Row {
    glass: (57.0, Borrowed("PLA's")),
    first_flow: (142.0, Borrowed("PLA's")),
    print: (190.0, 220.0, Borrowed("PLA's")),
    limit: (60.0, Borrowed("PLA's")),
    degradation: (119.4, 60.0, 200.0, Borrowed(BORROWED_ENERGY)),
    flow: (80.0, 50.0, 110.0, Borrowed("PLA's")),
    viscosity: (3000.0, 200.0, Borrowed("PLA's")),
};

impl Material {
    /// The built-in row. What a person has set stands over it in [`super::Materials`], which is what to ask wherever a
    /// configuration may be there.
    #[must_use]
    pub const fn built_in(self) -> MaterialFacts {
        let row = match self {
            Self::Pla => PLA,
            Self::Petg => PETG,
            Self::Tpu => TPU,
            Self::Pva => PVA,
            Self::Abs => ABS,
            Self::Asa => ASA,
            Self::Pa => PA,
            Self::Pc => PC,
            Self::Other => OTHER,
        };
        row.facts(self)
    }
}

impl MaterialFacts {
    /// The middle of the usual print temperatures.
    #[must_use]
    pub fn usual_print(&self) -> Celsius {
        self.print_low.value.midway(self.print_high.value)
    }
}
