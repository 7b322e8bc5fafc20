//! The person at the printer: which material is in, which settings are tried, and what is tied to what. Must not know
//! what fails.

use super::chance::Chance;

/// What a tool prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Material {
    /// Polylactide.
    Pla,
    /// Glycol-modified polyester.
    Petg,
    /// Styrene copolymer, the hottest of the three.
    Abs,
}

impl Material {
    /// Every one.
    pub(super) const ALL: [Self; 3] = [Self::Pla, Self::Petg, Self::Abs];

    /// As a journal writes it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Pla => "PLA",
            Self::Petg => "PETG",
            Self::Abs => "ABS",
        }
    }

    fn print_c(self) -> f64 {
        match self {
            Self::Pla => 208.0,
            Self::Petg => 236.0,
            Self::Abs => 246.0,
        }
    }

    /// The coolest that anybody tries to print it at, °C.
    pub(super) fn coolest_c(self) -> f64 {
        self.print_c() + PRINT_OFF[0]
    }
}

/// A tool's settings in force.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// What is in.
    pub material: Material,
    /// While at work, °C.
    pub print_c: f64,
    /// While waiting, °C.
    pub standby_c: f64,
    /// Length of a retraction, mm.
    pub retract_mm: f64,
    /// Its speed, mm/s.
    pub retract_mm_s: f64,
    /// Pushed out after a change, mm3.
    pub prime_mm3: f64,
    /// Whether a shield catches what drips.
    pub ooze_shield: bool,
    /// Whether the spool was dried.
    pub dried: bool,
}

/// How often settings are tried anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// Every few prints.
    Often,
    /// They stay for weeks.
    Regimes,
}

/// What the person does together, though only one of it matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tie {
    /// Nothing.
    Free,
    /// Hot materials wait hot, mostly; weekends see longer prints.
    HotWithPetg,
    /// Standby and retraction are changed on the same day, mostly the same way.
    SameDay,
    /// PETG always with long retraction, PLA always with short: nobody can tell them apart.
    LongWithPetg,
}

/// Which retractions are tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tube {
    /// Short drive: about a millimetre.
    Short,
    /// Long tube: millimetres.
    Long,
}

/// What a person is like.
#[derive(Clone, Copy, Debug)]
pub struct Habits {
    /// How often settings change.
    pub pace: Pace,
    /// What changes together.
    pub tie: Tie,
    /// Which retractions are tried.
    pub tube: Tube,
}

impl Settings {
    /// Whether no sensible person would try these: too cold to be at work in time, or far off what suits the material.
    pub(super) fn are_senseless(&self) -> bool {
        let off_k = (self.print_c - self.material.print_c()).abs();
        let waits_well = (100.0..=self.print_c).contains(&self.standby_c);
        !waits_well || off_k > 15.0 || !(0.2..=8.0).contains(&self.retract_mm)
    }
}

impl Habits {
    /// Every retraction that such a person tries, mm.
    pub(super) fn retractions_mm(self) -> &'static [f64] {
        match (self.tie, self.tube) {
            (Tie::LongWithPetg, _) => &TWINS_MM,
            (Tie::Free | Tie::HotWithPetg | Tie::SameDay, Tube::Short) => &SHORT_MM,
            (Tie::Free | Tie::HotWithPetg | Tie::SameDay, Tube::Long) => &LONG_MM,
        }
    }
}

/// Every standby temperature that is tried, coolest first, °C.
pub(super) const STANDBYS: [f64; 9] = [140.0, 150.0, 160.0, 170.0, 180.0, 190.0, 200.0, 205.0, 210.0];
/// What is tried at work, off what suits the material, K.
const PRINT_OFF: [f64; 5] = [-8.0, -4.0, 0.0, 4.0, 8.0];
const SHORT_MM: [f64; 8] = [0.4, 0.6, 0.8, 1.0, 1.4, 1.8, 2.2, 3.0];
const LONG_MM: [f64; 8] = [1.0, 2.0, 3.0, 4.0, 4.6, 5.4, 6.0, 7.0];
const TWINS_MM: [f64; 4] = [2.0, 2.5, 6.0, 6.5];

/// The person and what is set now.
#[derive(Clone)]
pub(super) struct Person {
    habits: Habits,
    tools: [Tool; 2],
}

#[derive(Clone)]
struct Tool {
    settings: Settings,
    spool_left: usize,
    fresh_left: usize,
}

impl Person {
    pub(super) fn new(habits: Habits, chance: &mut Chance) -> Self {
        let tools = [0, 1].map(|_| {
            let mut tool = Tool { settings: unset(), spool_left: 0, fresh_left: 0 };
            tool.load(habits, chance);
            tool.try_standby(habits, chance);
            tool.try_retraction(habits, chance);
            tool
        });
        Self { habits, tools }
    }

    pub(super) fn settings(&self) -> [Settings; 2] {
        [self.tools[0].settings, self.tools[1].settings]
    }

    /// What each tool holds goes into the other, with what it is printed at; how it waits and retracts stays.
    pub(super) fn swap_spools(&mut self) {
        let [a, b] = &mut self.tools;
        std::mem::swap(&mut a.settings.material, &mut b.settings.material);
        std::mem::swap(&mut a.settings.print_c, &mut b.settings.print_c);
        std::mem::swap(&mut a.settings.dried, &mut b.settings.dried);
        std::mem::swap(&mut a.spool_left, &mut b.spool_left);
        std::mem::swap(&mut a.fresh_left, &mut b.fresh_left);
    }

    /// What is done to the tools before the next print.
    pub(super) fn prepare(&mut self, chance: &mut Chance) {
        for tool in &mut self.tools {
            tool.wear(self.habits, chance);
            tool.tinker(self.habits, chance);
        }
    }
}

fn unset() -> Settings {
    Settings {
        material: Material::Pla,
        print_c: 208.0,
        standby_c: 170.0,
        retract_mm: 2.0,
        retract_mm_s: 35.0,
        prime_mm3: 20.0,
        ooze_shield: false,
        dried: true,
    }
}

impl Tool {
    fn wear(&mut self, habits: Habits, chance: &mut Chance) {
        self.fresh_left = self.fresh_left.saturating_sub(1);
        if self.fresh_left == 0 {
            self.settings.dried = false;
        }
        self.spool_left = self.spool_left.saturating_sub(1);
        if self.spool_left == 0 {
            self.load(habits, chance);
        }
    }

    /// A new spool.
    fn load(&mut self, habits: Habits, chance: &mut Chance) {
        use Material::{Abs, Petg, Pla};
        let before = self.settings.material;
        self.settings.material = chance.one_of(&[Pla, Pla, Pla, Pla, Pla, Petg, Petg, Petg, Petg, Abs]);
        if habits.tie == Tie::LongWithPetg {
            self.settings.material = chance.one_of(&[Pla, Pla, Petg]);
        }
        self.settings.print_c = self.settings.material.print_c() + chance.one_of(&[-4.0, 0.0, 0.0, 4.0]);
        self.settings.dried = chance.happens(0.6);
        self.fresh_left = chance.whole(6, 20);
        self.spool_left = match habits.pace {
            Pace::Often => chance.whole(3, 14),
            Pace::Regimes => chance.whole(8, 30),
        };
        match habits.tie {
            Tie::LongWithPetg => self.try_retraction(habits, chance),
            Tie::HotWithPetg if before != self.settings.material => self.try_standby(habits, chance),
            Tie::HotWithPetg | Tie::Free | Tie::SameDay => {}
        }
        self.settings.standby_c = self.settings.standby_c.min(self.settings.print_c - 5.0);
    }

    /// The changes that a person makes now and then.
    fn tinker(&mut self, habits: Habits, chance: &mut Chance) {
        let tries = match habits.pace {
            Pace::Often => 0.3,
            Pace::Regimes => 0.05,
        };
        if chance.happens(tries) {
            self.try_standby(habits, chance);
            if habits.tie == Tie::SameDay {
                self.try_retraction(habits, chance);
            }
        }
        if habits.tie != Tie::SameDay && chance.happens(tries) {
            self.try_retraction(habits, chance);
        }
        if chance.happens(tries / 3.0) {
            self.settings.print_c = self.settings.material.print_c() + chance.one_of(&PRINT_OFF);
            self.settings.standby_c = self.settings.standby_c.min(self.settings.print_c - 5.0);
        }
        if chance.happens(tries / 3.0) {
            self.settings.retract_mm_s = chance.one_of(&[25.0, 30.0, 35.0, 45.0]);
        }
        if chance.happens(tries / 3.0) {
            self.settings.prime_mm3 = chance.one_of(&[8.0, 15.0, 20.0, 35.0]);
        }
        if chance.happens(tries / 6.0) {
            self.settings.ooze_shield = !self.settings.ooze_shield;
        }
    }

    fn try_standby(&mut self, habits: Habits, chance: &mut Chance) {
        let is_hot = match (habits.tie, self.settings.material) {
            (Tie::HotWithPetg, Material::Pla) => chance.happens(0.2),
            (Tie::HotWithPetg, Material::Petg | Material::Abs) => chance.happens(0.75),
            (Tie::Free | Tie::SameDay | Tie::LongWithPetg, _) => chance.happens(0.45),
        };
        let standby_c = chance.one_of(if is_hot { &STANDBYS[5..] } else { &STANDBYS[..5] });
        self.settings.standby_c = standby_c.min(self.settings.print_c - 5.0);
    }

    fn try_retraction(&mut self, habits: Habits, chance: &mut Chance) {
        let tried = habits.retractions_mm();
        let upper = tried.len() * 5 / 8;
        self.settings.retract_mm = match habits.tie {
            Tie::Free | Tie::HotWithPetg => chance.one_of(tried),
            Tie::SameDay => {
                let is_long = chance.happens(if self.settings.standby_c > 185.0 { 0.6 } else { 0.25 });
                chance.one_of(if is_long { &tried[upper..] } else { &tried[..upper] })
            }
            Tie::LongWithPetg if self.settings.material == Material::Pla => chance.one_of(&TWINS_MM[..2]),
            Tie::LongWithPetg => chance.one_of(&TWINS_MM[2..]),
        };
    }
}
