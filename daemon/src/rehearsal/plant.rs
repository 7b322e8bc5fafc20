//! The heaters: first order with dead time, a PI controller a heater, neighbours that warm each other. Owns true
//! temperatures and what controllers feel of them; what is asked for is the machine's business.

use super::broken::{Broken, HeaterFault};
use super::sensor::Told;
use crate::entry::HotEnd;

/// Length of a step, s; a whole divisor of both dead times.
pub const STEP_S: f64 = 0.5;
/// Room temperature, °C.
pub const AMBIENT_C: f64 = 25.0;
/// The longest dead time, in steps.
const LINE: usize = 8;
/// Share of a neighbour's excess temperature that reaches a nozzle, and of the bed's (order of magnitude, no source).
const NEIGHBOUR: f64 = 0.02;
const BED_SHARE: f64 = 0.05;
/// Share of full duty that 1 mm3/s of melt takes at 210 °C: 0.44 J/mm3 of a 40 W heater.
const DUTY_PER_FLOW: f64 = 0.44 / 40.0;
const FLOW_REFERENCE_K: f64 = 185.0;
/// How one heater behaves.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Facts {
    /// Rise over ambient at full duty, K.
    gain: f64,
    /// Time constant, s.
    tau: f64,
    /// Dead time, steps.
    delay: usize,
    /// Proportional action, duty a kelvin, and reset time, s.
    proportional: f64,
    reset: f64,
}

/// A 40 W cartridge in a small block, fan off and on: orders of magnitude, from memory. The controller follows
/// from them by internal-model tuning with a closed-loop time of 10 s.
const NOZZLE_STILL: Facts = Facts { gain: 700.0, tau: 200.0, delay: 7, proportional: 0.021, reset: 54.0 };
const NOZZLE_BLOWN: Facts = Facts { gain: 300.0, tau: 90.0, delay: 5, proportional: 0.021, reset: 54.0 };
const BED: Facts = Facts { gain: 110.0, tau: 500.0, delay: 7, proportional: 0.1, reset: 300.0 };

/// One heater with what it heats.
#[derive(Clone, Debug)]
struct Zone {
    temp: f64,
    integral: f64,
    duty: f64,
    line: [f64; LINE],
    broken: Option<Broken>,
    /// What its controller feels, °C: the temperature, where the sensor is sound.
    felt: f64,
}

impl Zone {
    const fn cold() -> Self {
        Self { temp: AMBIENT_C, integral: 0.0, duty: 0.0, line: [0.0; LINE], broken: None, felt: AMBIENT_C }
    }

    /// `rise_k` is what neighbours and melt add to the temperature that the zone tends to, K.
    fn step(&mut self, facts: Facts, target: f64, rise_k: f64) {
        let felt = self.broken.as_mut().map_or(self.temp, |broken| broken.feel(self.temp));
        let is_cut = self.broken.is_some_and(|broken| broken.is_cut());
        self.duty = self.control(facts, if is_cut { 0.0 } else { target }, felt);
        self.line.rotate_right(1);
        self.line[0] = self.broken.map_or(self.duty, |broken| broken.heat(self.duty));
        let tends_to = AMBIENT_C + rise_k + facts.gain * self.line[facts.delay];
        self.temp = tends_to + (self.temp - tends_to) * (-STEP_S / facts.tau).exp();
        self.felt = if self.broken.is_some() { felt } else { self.temp };
    }

    fn told(&self) -> Told {
        match &self.broken {
            Some(broken) => Told { felt: broken.told(self.felt), is_exact: broken.is_exact() },
            None => Told { felt: self.felt, is_exact: false },
        }
    }

    fn control(&mut self, facts: Facts, target: f64, felt: f64) -> f64 {
        if target <= 0.0 {
            self.integral = 0.0;
            return 0.0;
        }
        let error = target - felt;
        let asked = facts.proportional * error + self.integral;
        // The integral rests while the heater is at a stop: it would wind up and overshoot.
        if (0.0..=1.0).contains(&asked) {
            self.integral += facts.proportional * error * STEP_S / facts.reset;
        } else if asked < 0.0 {
            self.integral = self.integral.min((target - AMBIENT_C) / facts.gain);
        }
        asked.clamp(0.0, 1.0)
    }
}

/// What is asked of the heaters during a step.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Load {
    /// Set points of the nozzles, °C; 0 is off.
    pub targets: [f64; 2],
    /// Set point of the bed, °C.
    pub bed_target: f64,
    /// Whether the part fan blows at each nozzle.
    pub fans: [bool; 2],
    /// Melt through each nozzle, mm3/s.
    pub flows: [f64; 2],
}

/// Where a heater sits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seat {
    /// In the hot end of that tool.
    Nozzle(usize),
    /// Under the bed.
    Bed,
}

/// All heaters of one printer. A shared hot end has a single nozzle zone that both tools read.
#[derive(Clone, Debug)]
pub struct Plant {
    hot_end: HotEnd,
    nozzles: [Zone; 2],
    bed: Zone,
}

impl Plant {
    /// A printer at room temperature.
    #[must_use]
    pub const fn new(hot_end: HotEnd) -> Self {
        Self { hot_end, nozzles: [Zone::cold(), Zone::cold()], bed: Zone::cold() }
    }

    /// One step of [`STEP_S`].
    pub fn step(&mut self, load: &Load) {
        let bed_rise = BED_SHARE * (self.bed.temp - AMBIENT_C);
        let temps = self.nozzles();
        for (place, zone) in self.nozzles.iter_mut().enumerate() {
            if self.hot_end == HotEnd::Shared && place == 1 {
                break;
            }
            let (fan, flow) = match self.hot_end {
                HotEnd::Separate => (load.fans[place], load.flows[place]),
                HotEnd::Shared => (load.fans.contains(&true), load.flows.iter().sum()),
            };
            let fan = fan || zone.broken.is_some_and(|broken| broken.is_blown());
            let facts = if fan { NOZZLE_BLOWN } else { NOZZLE_STILL };
            let taken = facts.gain * DUTY_PER_FLOW * flow * (zone.temp - AMBIENT_C) / FLOW_REFERENCE_K;
            let neighbour = NEIGHBOUR * (temps[1 - place] - zone.temp);
            zone.step(facts, load.targets[place], bed_rise + neighbour - taken);
        }
        self.bed.step(BED, load.bed_target, 0.0);
    }

    /// The heater fails in this way from now on; a shared hot end has the one heater of T0.
    pub fn break_heater(&mut self, which: Seat, fault: HeaterFault) {
        let zone = match which {
            Seat::Nozzle(place) if self.hot_end == HotEnd::Separate && place == 1 => &mut self.nozzles[1],
            Seat::Nozzle(_) => &mut self.nozzles[0],
            Seat::Bed => &mut self.bed,
        };
        zone.broken = Some(Broken::new(fault, zone.felt));
    }

    /// What the controllers of the nozzles feel, °C: the true temperatures, where sensors are sound.
    #[must_use]
    pub fn felt(&self) -> [f64; 2] {
        match self.hot_end {
            HotEnd::Separate => [self.nozzles[0].felt, self.nozzles[1].felt],
            HotEnd::Shared => [self.nozzles[0].felt; 2],
        }
    }

    /// What the nozzles' sensors are told by, before noise.
    #[must_use]
    pub fn told(&self) -> [Told; 2] {
        let second = if self.hot_end == HotEnd::Shared { &self.nozzles[0] } else { &self.nozzles[1] };
        [self.nozzles[0].told(), second.told()]
    }

    /// The same of the bed.
    #[must_use]
    pub fn told_bed(&self) -> Told {
        self.bed.told()
    }

    /// True nozzle temperatures, °C, a tool.
    #[must_use]
    pub fn nozzles(&self) -> [f64; 2] {
        match self.hot_end {
            HotEnd::Separate => [self.nozzles[0].temp, self.nozzles[1].temp],
            HotEnd::Shared => [self.nozzles[0].temp; 2],
        }
    }

    /// True bed temperature, °C.
    #[must_use]
    pub const fn bed(&self) -> f64 {
        self.bed.temp
    }

    /// Heater duty a tool, 0 to 1.
    #[must_use]
    pub fn duties(&self) -> [f64; 2] {
        match self.hot_end {
            HotEnd::Separate => [self.nozzles[0].duty, self.nozzles[1].duty],
            HotEnd::Shared => [self.nozzles[0].duty; 2],
        }
    }

    /// Duty of the bed, 0 to 1.
    #[must_use]
    pub const fn bed_duty(&self) -> f64 {
        self.bed.duty
    }

    /// Puts the heaters at these temperatures, settled: a printer that was warm before anybody looked.
    pub fn settle(&mut self, nozzles: [f64; 2], bed: f64) {
        let warm = |zone: &mut Zone, facts: Facts, temp: f64| {
            let duty = ((temp - AMBIENT_C) / facts.gain).clamp(0.0, 1.0);
            *zone = Zone { temp, integral: duty, duty, line: [duty; LINE], broken: zone.broken, felt: temp };
        };
        for (zone, temp) in self.nozzles.iter_mut().zip(nozzles) {
            warm(zone, NOZZLE_STILL, temp);
        }
        warm(&mut self.bed, BED, bed);
    }

    /// Lets the printer stand switched off for so many seconds.
    pub fn rest(&mut self, seconds: f64) {
        let cool = |zone: &mut Zone, tau: f64| {
            let temp = AMBIENT_C + (zone.temp - AMBIENT_C) * (-seconds / tau).exp();
            *zone = Zone { temp, felt: temp, broken: zone.broken, ..Zone::cold() };
        };
        for zone in &mut self.nozzles {
            cool(zone, NOZZLE_STILL.tau);
        }
        cool(&mut self.bed, BED.tau);
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::rehearsal::sensor::{SENSOR_SD, SENSOR_STEPS_PER_K, sensed};
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    fn run(plant: &mut Plant, load: &Load, seconds: u32) {
        for _ in 0..seconds * 2 {
            plant.step(load);
        }
    }

    #[test]
    fn plant_settles_at_its_set_point_within_noise_with_and_without_fan_and_flow() {
        for (fan, flow) in [(false, 0.0), (true, 3.0)] {
            let mut plant = Plant::new(HotEnd::Separate);
            let load = Load { targets: [210.0, 175.0], bed_target: 60.0, fans: [fan, false], flows: [flow, 0.0] };
            run(&mut plant, &load, 1200);
            let [first, second] = plant.nozzles();
            assert!((first - 210.0).abs() < 0.3, "fan {fan}: {first}");
            assert!((second - 175.0).abs() < 0.3, "{second}");
            assert!((plant.bed() - 60.0).abs() < 0.5, "{}", plant.bed());
            let mut rng = ChaCha8Rng::seed_from_u64(4);
            let by = Told { felt: first, is_exact: false };
            let told = (0..400).map(|_| sensed(by, SENSOR_STEPS_PER_K, &mut rng).unwrap().celsius().get());
            let told: Vec<f64> = told.collect();
            let mean = told.iter().sum::<f64>() / 400.0;
            assert!((mean - first).abs() < 4.0 * SENSOR_SD / 20.0 + 0.05, "{mean}");
        }
    }

    #[test]
    fn cooling_from_210_to_150_takes_the_first_order_time() {
        for (fan, tau) in [(false, 200.0_f64), (true, 90.0)] {
            let mut plant = Plant::new(HotEnd::Separate);
            plant.settle([210.0, AMBIENT_C], AMBIENT_C);
            let load = Load { fans: [fan, false], ..Load::default() };
            // Heat already under way through the block arrives during the dead time: the fall is timed from 205.
            while plant.nozzles()[0] > 205.0 {
                plant.step(&load);
            }
            let mut steps = 0_u32;
            while plant.nozzles()[0] > 150.0 {
                plant.step(&load);
                steps += 1;
            }
            let took = f64::from(steps) * STEP_S;
            let formula = tau * ((205.0 - AMBIENT_C) / (150.0 - AMBIENT_C)).ln();
            assert!((took / formula - 1.0).abs() < 0.04, "fan {fan}: {took} against {formula}");
        }
    }

    #[test]
    fn shared_hot_end_has_one_temperature_for_both_tools() {
        let mut plant = Plant::new(HotEnd::Shared);
        run(&mut plant, &Load { targets: [200.0; 2], ..Load::default() }, 900);
        let [first, second] = plant.nozzles();
        assert!((first - 200.0).abs() < 0.3 && (first - second).abs() < 1e-9, "{first} {second}");
    }
}
