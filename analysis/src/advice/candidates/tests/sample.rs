//! A bench whose tool can be made to be of any kind, and on which changes can be made.

use crate::advice::{Ages, Change, Course, Held, LinerKnown, Neighbour, PartKind, Situation, Times, Wait};
use crate::polymer::{Drive, Material, MaterialFacts};
use crate::risk::Features;
use crate::survival::Outlook;
use crate::thermal::{AMBIENT, Heater, HeaterFit};
use crate::units::{Celsius, CelsiusDelta, DoseMinutes, Millimetres, Probability, Seconds};

/// What a situation is made of.
pub(super) struct Bench {
    pub(super) facts: MaterialFacts,
    pub(super) held: Held,
    pub(super) liner: LinerKnown,
    pub(super) is_shared: bool,
    pub(super) drive: Option<Drive>,
    pub(super) heater: Heater,
    pub(super) fit: Option<HeaterFit>,
    pub(super) courses: Vec<Course>,
    pub(super) tried: Vec<Features>,
    pub(super) ages: Ages,
    pub(super) outlook: Option<Outlook>,
    pub(super) beside: Option<Beside>,
}

/// The tool beside it.
pub(super) struct Beside {
    pub(super) facts: MaterialFacts,
    pub(super) print: Option<Celsius>,
    pub(super) liner: LinerKnown,
    pub(super) waits: [f64; 2],
}

impl Bench {
    /// A short drive and dried material of which nothing stands out: printed in the middle of its range, 50 K lower while
    /// it waits, never run.
    pub(super) fn of(material: Material) -> Self {
        let facts = material.built_in();
        let print = facts.usual_print();
        let held = Held {
            print: Some(print),
            standby: Some(print - CelsiusDelta::new(50.0)),
            retract: Some(Millimetres::new(1.0)),
            dried: Some(true),
            ooze_shield: Some(true),
            ..Held::default()
        };
        Self {
            facts,
            held,
            liner: LinerKnown::Absent,
            is_shared: false,
            drive: Some(Drive::Short),
            heater: Heater::HOT_END,
            fit: None,
            courses: Vec::new(),
            tried: Vec::new(),
            ages: Ages::default(),
            outlook: None,
            beside: None,
        }
    }

    /// One printed at 210 °C.
    pub(super) fn pla() -> Self {
        let mut bench = Self::of(Material::Pla);
        (bench.held.print, bench.held.standby) = (Some(Celsius::new(210.0)), Some(Celsius::new(160.0)));
        bench
    }

    /// Adds a run at what is in force with these waits, s, each ended by its turn.
    pub(super) fn run(&mut self, waits: &[f64], mean: f64, deficit: Option<f64>) {
        let wait = |lasted: &f64| Wait {
            lasted: Seconds::new(*lasted),
            mean: Celsius::new(mean),
            max: Celsius::new(mean),
            end: None,
            dose: DoseMinutes::ZERO,
            ooze: None,
            is_followed: true,
        };
        let features = Features {
            standby: self.held.standby,
            restart_deficit: deficit.map(CelsiusDelta::new),
            ..Features::of(self.facts.kind)
        };
        self.courses.push(Course { features, waits: waits.iter().map(wait).collect() });
    }

    /// The newest run's features.
    pub(super) fn newest(&mut self) -> &mut Features {
        &mut self.courses.last_mut().unwrap().features
    }

    pub(super) fn situation(&self) -> Situation<'_> {
        Situation {
            facts: &self.facts,
            held: self.held,
            liner: self.liner,
            is_shared: self.is_shared,
            drive: self.drive,
            times: Times { heater: self.heater, surroundings: AMBIENT, fit: self.fit.as_ref() },
            courses: &self.courses,
            tried: &self.tried,
            ages: self.ages,
            liner_outlook: self.outlook.as_ref(),
            accepted: Probability::new(0.1).unwrap(),
            neighbour: self.beside.as_ref().map(|one| Neighbour {
                facts: &one.facts,
                print: one.print,
                liner: one.liner,
                waits: one.waits,
                situation: None,
            }),
            lessons: &[],
        }
    }

    /// Makes a change. What was seen with another material is not seen with the new one.
    pub(super) fn make(&mut self, change: &Change) {
        let held = &mut self.held;
        match change {
            Change::Standby(step) => held.standby = Some(step.to),
            Change::Retract(step) => held.retract = Some(step.to),
            Change::RetractSpeed(step) => held.retract_mm_s = Some(step.to),
            Change::Prime(step) => held.prime = Some(step.to),
            Change::OozeShield(step) => held.ooze_shield = Some(step.to),
            Change::PrintTemperature(step) => held.print = Some(step.to),
            Change::Dried(step) => held.dried = Some(step.to),
            Change::Material(_) => {
                let beside = self.beside.as_mut().unwrap();
                std::mem::swap(&mut self.facts, &mut beside.facts);
                std::mem::swap(&mut held.print, &mut beside.print);
                held.standby = None;
                self.courses.clear();
                self.tried.clear();
            }
            Change::Replace(PartKind::Liner) => {
                let nozzle_hours = self.ages.nozzle_hours;
                self.ages =
                    Ages { liner_hours: Some(0.0), liner_wear: Some(0.0), liner_cycles: Some(0.0), nozzle_hours };
            }
            Change::Replace(PartKind::Nozzle) => {
                self.ages.nozzle_hours = Some(0.0);
                self.clean();
            }
            Change::Clean => self.clean(),
            Change::AllMetal => self.liner = LinerKnown::Absent,
        }
    }

    fn clean(&mut self) {
        for course in &mut self.courses {
            course.features.stagnant = Some(DoseMinutes::ZERO);
        }
    }
}
