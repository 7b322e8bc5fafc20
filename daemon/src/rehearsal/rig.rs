//! One simulated printer: machine, plant and the melt in each nozzle together. Owns what a poll of it reads and what
//! each idle gap truly came to; which of the gaps do harm is `hazard`'s.

use super::broken::HeaterFault;
use super::machine::Machine;
use super::plant::{Load, Plant, STEP_S, Seat};
use super::sensor::{SENSOR_STEPS_PER_K, sensed};
use crate::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, Reading};
use dwell_analysis::polymer::{self, Material, dose_rate};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

/// Below this a tool is not hot, °C: nothing ages and a hand can touch it.
pub const HOT_C: f64 = 60.0;

/// The melt that waits in one nozzle.
#[derive(Clone, Copy, Debug)]
struct Melt {
    material: Material,
    taken: polymer::Melt,
    idle_s: f64,
    /// Integral of temperature over the gap, K s.
    weighted: f64,
}

/// An idle gap as it truly was, told when the tool goes to work again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Which tool waited.
    pub tool: usize,
    /// What it held.
    pub material: Material,
    /// How long, s.
    pub idle_s: f64,
    /// Its mean temperature, °C.
    pub mean_c: f64,
    /// Dose of the melt at the restart, on true temperatures.
    pub dose: DoseMinutes,
    /// Filament drawn back meanwhile, mm.
    pub retract_mm: f64,
}

/// The printer.
#[derive(Debug)]
pub struct Rig {
    hot_end: HotEnd,
    machine: Machine,
    plant: Plant,
    melts: [Melt; 2],
    job: Option<Arc<str>>,
    ended: Option<JobState>,
    paused: bool,
    working: Option<usize>,
    sensors: ChaCha8Rng,
    steps_per_k: f64,
}

impl Rig {
    /// A cold printer without a job.
    #[must_use]
    pub fn new(hot_end: HotEnd, materials: [Material; 2], seed: u64) -> Self {
        let melt = |material| Melt { material, taken: polymer::Melt::FRESH, idle_s: 0.0, weighted: 0.0 };
        Self {
            hot_end,
            machine: Machine::new(hot_end),
            plant: Plant::new(hot_end),
            melts: materials.map(melt),
            job: None,
            ended: None,
            paused: false,
            working: None,
            sensors: ChaCha8Rng::seed_from_u64(seed),
            steps_per_k: SENSOR_STEPS_PER_K,
        }
    }

    /// The same with sensors that are told in so many steps a degree.
    #[must_use]
    pub fn with_sensors(self, steps_per_k: f64) -> Self {
        Self { steps_per_k, ..self }
    }

    /// A heater fails in this way from now on.
    pub fn break_heater(&mut self, which: Seat, fault: HeaterFault) {
        self.plant.break_heater(which, fault);
    }

    /// Loads another material: the nozzle is purged.
    pub fn load_material(&mut self, tool: usize, material: Material) {
        if self.melts[tool].material != material {
            self.melts[tool].material = material;
            self.melts[tool].taken = polymer::Melt::FRESH;
        }
    }

    /// Begins a job.
    pub fn begin(&mut self, name: Arc<str>, text: Arc<str>) {
        self.machine.load(text);
        self.job = Some(name);
        self.ended = None;
        self.paused = false;
        self.working = None;
    }

    /// Ends the job by hand or by a fault, heaters off.
    pub fn stop(&mut self, state: JobState) {
        self.machine.stop();
        self.paused = false;
        self.ended = Some(state);
    }

    /// Takes the job off the printer.
    pub fn clear(&mut self) {
        self.job = None;
        self.ended = None;
    }

    /// Pauses or resumes; heat stays on.
    pub const fn pause(&mut self, paused: bool) {
        self.paused = paused;
    }

    /// Sets the heaters by hand.
    pub fn preheat(&mut self, targets: [f64; 2], bed: f64) {
        self.machine.set_targets(targets, bed);
    }

    /// Puts the heaters at these temperatures, settled.
    pub fn settle(&mut self, nozzles: [f64; 2], bed: f64) {
        self.plant.settle(nozzles, bed);
    }

    /// Stands switched off for so many seconds.
    pub fn rest(&mut self, seconds: f64) {
        self.plant.rest(seconds);
    }

    /// One step of [`STEP_S`]. Returns the gap that a tool change has just ended, if any.
    pub fn step(&mut self) -> Option<Gap> {
        let temps = self.plant.nozzles();
        let bed = self.plant.told_bed().felt;
        let extruded = if self.paused { [0.0; 2] } else { self.machine.step(STEP_S, self.plant.felt(), bed) };
        self.plant.step(&Load {
            targets: self.machine.targets(),
            bed_target: self.machine.bed_target(),
            fans: if self.paused { [false; 2] } else { self.machine.fans() },
            flows: extruded.map(|volume| volume / STEP_S),
        });
        let gap = self.changed();
        for (tool, melt) in self.melts.iter_mut().enumerate() {
            let aged = dose_rate(&melt.material.built_in(), Celsius::new(temps[tool])) * STEP_S / 60.0;
            melt.taken.work(DoseMinutes::new(aged), CubicMm::new(extruded[tool]));
            if extruded[tool] <= 0.0 && self.working != Some(tool) && temps[tool] > HOT_C {
                melt.idle_s += STEP_S;
                melt.weighted += temps[tool] * STEP_S;
            }
        }
        gap
    }

    /// The gap that ends because another tool is at work now than before. The first tool of a job ends one too.
    fn changed(&mut self) -> Option<Gap> {
        if self.ended.is_some() || !self.machine.begun() || self.working == Some(self.machine.tool()) {
            return None;
        }
        let tool = self.machine.tool();
        self.working = Some(tool);
        let melt = &mut self.melts[tool];
        let (idle_s, weighted) = (std::mem::take(&mut melt.idle_s), std::mem::take(&mut melt.weighted));
        let mean_c = if idle_s > 0.0 { weighted / idle_s } else { self.plant.nozzles()[tool] };
        let retract_mm = self.machine.held_at_change();
        Some(Gap { tool, material: melt.material, idle_s, mean_c, dose: melt.taken.mixed, retract_mm })
    }

    /// What the host would say of the job.
    #[must_use]
    pub fn state(&self) -> JobState {
        match (self.ended, &self.job) {
            (_, None) => JobState::None,
            (Some(ended), _) => ended,
            (None, _) if self.paused => JobState::Paused,
            (None, _) if self.machine.is_done() => JobState::Completed,
            (None, _) if self.machine.begun() => JobState::Printing,
            (None, _) => JobState::Heating,
        }
    }

    /// The hottest nozzle, °C.
    #[must_use]
    pub fn hottest(&self) -> f64 {
        let [first, second] = self.plant.nozzles();
        first.max(second)
    }

    /// True nozzle temperatures, °C.
    #[must_use]
    pub fn nozzles(&self) -> [f64; 2] {
        self.plant.nozzles()
    }

    /// How far the job is, 0 to 1.
    #[must_use]
    pub fn fraction(&self) -> f64 {
        f64::from(self.machine.fraction_millionths()) / 1e6
    }

    /// How the hot end is built.
    #[must_use]
    pub const fn hot_end(&self) -> HotEnd {
        self.hot_end
    }

    /// One poll of the printer.
    pub fn reading(&mut self, at: Timestamp) -> Reading {
        let known = self.job.is_some();
        let job = Job {
            state: self.state(),
            name: self.job.clone(),
            fraction_millionths: known.then(|| self.machine.fraction_millionths()),
            byte: known.then(|| u64::try_from(self.machine.byte()).unwrap_or(u64::MAX)),
        };
        let (duties, targets) = (self.plant.duties(), self.machine.targets());
        let mut told = self.plant.told().map(|felt| sensed(felt, self.steps_per_k, &mut self.sensors));
        if self.hot_end == HotEnd::Shared {
            told[1] = told[0];
        }
        let heater = |actual, target, duty| Heater {
            actual,
            target: CentiCelsius::nearest(target),
            duty_thousandths: Some(thousandths(duty)),
            fan_thousandths: None,
        };
        let tools = (0..2).map(|tool| heater(told[tool], targets[tool], duties[tool])).collect();
        let bed_actual = sensed(self.plant.told_bed(), self.steps_per_k, &mut self.sensors);
        let bed = Some(heater(bed_actual, self.machine.bed_target(), self.plant.bed_duty()));
        Reading { at, after_gap: false, job, active_tool: known.then(|| self.machine.tool()), tools, bed }
    }
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to 0..1000"
)]
fn thousandths(share: f64) -> u16 {
    (share.clamp(0.0, 1.0) * 1000.0).round() as u16
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearsal::gcode::{JobPlan, ToolPlan};

    #[test]
    fn visits_seen_in_readings_are_those_of_the_text() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let tool =
            |print_c| ToolPlan { print_c, standby_c: 170.0, retract_mm: 0.8, retract_mm_s: 35.0, prime_mm3: 20.0 };
        let visits = JobPlan::layered(6, (60.0, 40.0), 2);
        let plan = JobPlan { tools: [tool(210.0), tool(235.0)], bed_c: 60.0, visits, heaters_off: true };
        let text = plan.text(&mut rng);
        let asked: Vec<usize> = text.lines().filter_map(|line| line.strip_prefix('T')?.parse().ok()).collect();
        assert_eq!(asked, [0, 1, 0, 1, 0, 1]);

        let mut rig = Rig::new(HotEnd::Separate, [Material::Pla, Material::Petg], 11);
        rig.begin(Arc::from("lantern.gcode"), Arc::from(text.as_str()));
        let (mut seen, mut gaps, mut step) = (Vec::new(), 0, 0_i64);
        while rig.state() != JobState::Completed && step < 20_000 {
            gaps += usize::from(rig.step().is_some());
            step += 1;
            if step % 10 == 0 && rig.state() == JobState::Printing {
                seen.extend(rig.reading(Timestamp::from_ms(step * 500)).active_tool);
            }
        }
        seen.dedup();
        assert_eq!((seen, gaps), (asked, 6));
        assert!((rig.fraction() - 1.0).abs() < 1e-9);
    }

    /// What was extruded must be what the text asks for, retractions taken off.
    #[test]
    fn machine_extrudes_what_the_text_asks_for() {
        let mut machine = Machine::new(HotEnd::Separate);
        machine.load(Arc::from(
            "M83\nT1\nG1 X100 E5 F1200\nG1 E-0.8 F2100\nG1 X0 F7200\nG1 E0.8 F2100\nG1 X40 E2 F1200\n",
        ));
        let mut out = [0.0; 2];
        let mut steps = 0_u32;
        while !machine.is_done() && steps < 100 {
            let extruded = machine.step(STEP_S, [210.0; 2], 60.0);
            out = [out[0] + extruded[0], out[1] + extruded[1]];
            steps += 1;
        }
        assert!(out[0].abs() < 1e-12 && (out[1] - 7.0 * 2.405).abs() < 1e-9, "{out:?}");
        // 140 mm at 20 mm/s, 100 mm at 120 mm/s and two retractions: a little over 7.8 s.
        assert!((15..=18).contains(&steps), "{steps} steps");
    }
}
