//! The printer that the demo shows at work: one job after another for ever. Owns the order of its turns, chosen so
//! that something is to be seen within the first simulated minutes.

use super::broken::HeaterFault;
use super::gcode::{JobPlan, ToolPlan, Visit};
use super::plant::{STEP_S, Seat};
use super::rig::Rig;
use crate::entry::{HotEnd, JobState, Reading};
use dwell_analysis::polymer::Material;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

/// Between the end of a job and the next one, simulated seconds.
const REST_S: f64 = 180.0;
/// A clock that jumps further than this is not followed step by step: the printer stands where it was.
const FOLLOW_S: f64 = 24.0 * 3600.0;

/// The live printer and its jobs.
#[derive(Debug)]
pub struct LiveJob {
    rig: Rig,
    rng: ChaCha8Rng,
    jobs: usize,
    rested_s: f64,
    now: Option<Timestamp>,
    text: Arc<str>,
}

impl LiveJob {
    /// A printer whose first job begins at once with warm heaters; T1 is left hot in it for a long turn of T0.
    #[must_use]
    pub fn new(seed: u64, hot_end: HotEnd) -> Self {
        let mut rig = Rig::new(hot_end, [Material::Pla, Material::Petg], seed);
        // As somebody who has preheated by hand leaves it.
        rig.settle(if hot_end == HotEnd::Shared { [228.0; 2] } else { [207.0, 226.0] }, 59.0);
        let mut live =
            Self { rig, rng: ChaCha8Rng::seed_from_u64(seed), jobs: 0, rested_s: 0.0, now: None, text: Arc::from("") };
        live.begin_next();
        live
    }

    /// The running job's text.
    #[must_use]
    pub fn text(&self) -> Arc<str> {
        Arc::clone(&self.text)
    }

    /// The same printer with sensors that are told in so many steps a degree.
    #[must_use]
    pub fn with_sensors(self, steps_per_k: f64) -> Self {
        Self { rig: self.rig.with_sensors(steps_per_k), ..self }
    }

    /// A heater fails in this way from the newest reading on.
    pub fn break_heater(&mut self, which: Seat, fault: HeaterFault) {
        self.rig.break_heater(which, fault);
    }

    /// Follows the clock to `now` and takes a reading.
    pub fn reading(&mut self, now: Timestamp) -> Reading {
        let from = *self.now.get_or_insert(now);
        let behind = (now - from).get();
        if (0.0..=FOLLOW_S).contains(&behind) {
            let mut followed = 0.0;
            while followed + STEP_S <= behind {
                self.step();
                followed += STEP_S;
            }
            self.now = Some(from + Seconds::new(followed));
        } else {
            self.now = Some(now);
        }
        self.rig.reading(now)
    }

    /// How the hot end is built.
    #[must_use]
    pub const fn hot_end(&self) -> HotEnd {
        self.rig.hot_end()
    }

    fn step(&mut self) {
        let _gap = self.rig.step();
        if self.rig.state() == JobState::Completed {
            self.rested_s += STEP_S;
        }
        if self.rested_s >= REST_S {
            self.rested_s = 0.0;
            self.begin_next();
        }
    }

    fn begin_next(&mut self) {
        const NAMES: [&str; 4] = ["lantern.gcode", "trellis.gcode", "cable-gate.gcode", "spice-drawer.gcode"];
        let plan = JobPlan {
            tools: [tool(210.0, 175.0, 0.8), tool(235.0, 190.0, 1.2)],
            bed_c: 60.0,
            visits: self.visits(),
            heaters_off: true,
        };
        self.text = plan.text(&mut self.rng).into();
        self.rig.begin(Arc::from(NAMES[self.jobs % NAMES.len()]), Arc::clone(&self.text));
        self.jobs += 1;
    }

    /// Short turns, then one of T1 whose standby command is missing before a long turn of T0, then a steady part.
    fn visits(&mut self) -> Vec<Visit> {
        let mut visits = vec![
            JobPlan::turn(0, 1, 30.0, true),
            JobPlan::turn(1, 1, 25.0, false),
            JobPlan::turn(0, 2, self.rng.random_range(720.0..760.0), true),
        ];
        for layer in 3..=14 {
            visits.push(JobPlan::turn(1, layer, self.rng.random_range(40.0..70.0), true));
            visits.push(JobPlan::turn(0, layer, self.rng.random_range(60.0..150.0), true));
        }
        visits
    }
}

fn tool(print_c: f64, standby_c: f64, retract_mm: f64) -> ToolPlan {
    ToolPlan { print_c, standby_c, retract_mm, retract_mm_s: 35.0, prime_mm3: 20.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// At twenty times real time, 800 s are 40 s of looking on.
    #[test]
    fn first_job_changes_tools_at_once_and_leaves_t1_hot_for_ten_minutes_within_800_s() {
        let mut live = LiveJob::new(5, HotEnd::Separate);
        let (mut changes, mut before) = (Vec::new(), None);
        let (mut hot_since, mut alarm) = (None, None);
        for second in 0_i32..4000 {
            let reading = live.reading(Timestamp::from_ms(i64::from(second) * 1000));
            let (JobState::Printing, Some(tool)) = (reading.job.state, reading.active_tool) else { continue };
            if before.is_some_and(|before| before != tool) {
                changes.push(second);
            }
            before = Some(tool);
            let is_hot = reading.tools[1].actual.is_some_and(|actual| actual.celsius().get() > 180.0);
            hot_since = if is_hot && tool != 1 { hot_since.or(Some(second)) } else { None };
            alarm = alarm.or(hot_since.filter(|since| second - since > 600).map(|_| second));
        }
        assert!(changes.first().is_some_and(|first| *first < 120), "{changes:?}");
        assert!(alarm.is_some_and(|alarm| alarm < 800), "{alarm:?}");
        assert!(changes.len() > 15, "{changes:?}");
    }

    #[test]
    fn another_job_follows_the_first() {
        let mut live = LiveJob::new(5, HotEnd::Shared);
        let first = live.text();
        let mut names = Vec::new();
        for ten_seconds in 0_i64..900 {
            let reading = live.reading(Timestamp::from_ms(ten_seconds * 10_000));
            names.extend(reading.job.name.filter(|_| reading.job.state == JobState::Printing));
        }
        names.dedup();
        assert!(names.len() >= 2, "{names:?}");
        assert_ne!(first, live.text());
    }
}
