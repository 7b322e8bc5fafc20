//! Writes job files: two-material parts, layer by layer, as G-code text. Owns what a job asks for and in which order;
//! how long it takes is the machine's business. No comments are written: every line is a command.

use crate::entry::Settings;
use dwell_analysis::polymer::FILAMENT_MM2;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::fmt::Write;

/// Cross-section of a laid bead, 0.4 mm wide and 0.2 mm high, mm2.
const BEAD_MM2: f64 = 0.08;
/// Feed of infill and of outlines, mm/s.
const INFILL_MM_S: f64 = 40.0;
const OUTLINE_MM_S: f64 = 25.0;
/// Feed of travel moves, mm/min.
const TRAVEL_F: f64 = 7200.0;
/// So long before its turn the next tool is sent to its print temperature, s of path.
const REHEAT_AHEAD_S: f64 = 25.0;
/// Between two retractions inside a visit, moves.
const MOVES_PER_RETRACTION: u32 = 12;

/// What a job asks of one tool.
#[derive(Clone, Debug, PartialEq)]
pub struct ToolPlan {
    /// Print temperature, °C.
    pub print_c: f64,
    /// Temperature while another tool prints, °C.
    pub standby_c: f64,
    /// Retraction length, mm of filament.
    pub retract_mm: f64,
    /// Retraction speed, mm/s.
    pub retract_mm_s: f64,
    /// Volume primed after a tool change, mm3.
    pub prime_mm3: f64,
}

impl ToolPlan {
    /// The plan that settings ask for; a key that is not told takes the value most common in the trade for PLA.
    #[must_use]
    pub fn of(settings: &Settings) -> Self {
        Self {
            print_c: settings.print.map_or(210.0, Celsius::get),
            standby_c: settings.standby.map_or(175.0, Celsius::get),
            retract_mm: settings.retract.map_or(0.8, Millimetres::get),
            retract_mm_s: settings.retract_mm_s.unwrap_or(35.0),
            prime_mm3: settings.prime.map_or(20.0, CubicMm::get),
        }
    }
}

/// One tool's turn within a layer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Visit {
    /// Which tool.
    pub tool: usize,
    /// The layer, from 1.
    pub layer: u32,
    /// Length of the path to lay, mm.
    pub path_mm: f64,
    /// Whether the tool is sent to standby afterwards; a job file may lack the command.
    pub standby_after: bool,
}

/// A job, before it is text.
#[derive(Clone, Debug, PartialEq)]
pub struct JobPlan {
    /// T0 and T1.
    pub tools: [ToolPlan; 2],
    /// Bed temperature, °C.
    pub bed_c: f64,
    /// The turns in order.
    pub visits: Vec<Visit>,
    /// Whether the job switches the heaters off at its end.
    pub heaters_off: bool,
}

impl JobPlan {
    /// The turns of a part of `layers` layers: T0 lays `seconds.0` a layer, T1 `seconds.1` in every `every`-th layer.
    #[must_use]
    pub fn layered(layers: u32, seconds: (f64, f64), every: u32) -> Vec<Visit> {
        let visit = |tool, layer, seconds| Visit { tool, layer, path_mm: seconds * INFILL_MM_S, standby_after: true };
        (1..=layers)
            .flat_map(|layer| {
                let second = layer.is_multiple_of(every).then(|| visit(1, layer, seconds.1));
                std::iter::once(visit(0, layer, seconds.0)).chain(second)
            })
            .collect()
    }

    /// One turn of about so many seconds, given as a path.
    #[must_use]
    pub fn turn(tool: usize, layer: u32, seconds: f64, standby_after: bool) -> Visit {
        Visit { tool, layer, path_mm: seconds * INFILL_MM_S, standby_after }
    }

    /// The job as G-code text. The shape of the part is drawn from `rng`.
    ///
    /// # Panics
    /// Never: writing into a string does not fail.
    #[must_use]
    #[expect(clippy::expect_used, reason = "writing into a string does not fail")]
    pub fn text(&self, rng: &mut ChaCha8Rng) -> String {
        let mut writer = Writer {
            text: String::new(),
            side_mm: rng.random_range(28.0..60.0),
            tool: None,
            retracted: [0.0; 2],
            at: (0.0, 0.0),
        };
        writer.write(self).expect("a string takes any text");
        writer.text
    }
}

struct Writer {
    text: String,
    side_mm: f64,
    tool: Option<usize>,
    retracted: [f64; 2],
    at: (f64, f64),
}

impl Writer {
    fn write(&mut self, plan: &JobPlan) -> std::fmt::Result {
        writeln!(self.text, "G21\nG90\nM83\nM140 S{:.0}", plan.bed_c)?;
        for (tool, asked) in plan.tools.iter().enumerate() {
            let first = plan.visits.first().is_some_and(|visit| visit.tool == tool);
            let target = if first { asked.print_c } else { asked.standby_c };
            writeln!(self.text, "M104 S{target:.0} T{tool}")?;
        }
        writeln!(self.text, "M190 S{:.0}", plan.bed_c)?;
        for (place, visit) in plan.visits.iter().enumerate() {
            self.change(plan, visit)?;
            self.lay(plan, visit, plan.visits.get(place + 1))?;
            let left_for_good = plan.visits.get(place + 1).is_none_or(|next| next.tool != visit.tool);
            if left_for_good {
                self.leave(plan, visit)?;
            }
        }
        self.text.push_str("M107\n");
        if plan.heaters_off {
            self.text.push_str("M104 S0 T0\nM104 S0 T1\nM140 S0\n");
        }
        self.text.push_str("G1 Z60.00 F900\n");
        Ok(())
    }

    /// Brings the visit's tool to work: heat, change, prime.
    fn change(&mut self, plan: &JobPlan, visit: &Visit) -> std::fmt::Result {
        writeln!(self.text, "G1 Z{:.2} F900", f64::from(visit.layer) * 0.2)?;
        if self.tool == Some(visit.tool) {
            return Ok(());
        }
        let asked = &plan.tools[visit.tool];
        writeln!(self.text, "M109 S{:.0} T{1}\nT{1}", asked.print_c, visit.tool)?;
        self.tool = Some(visit.tool);
        self.travel(5.0, 5.0)?;
        self.refill(asked, visit.tool)?;
        // The prime is laid as a line at the edge, slowly enough for a 0.4 mm nozzle.
        let prime = asked.prime_mm3 / FILAMENT_MM2;
        writeln!(self.text, "G1 X{:.2} Y5.00 E{prime:.4} F900", 5.0 + self.side_mm)?;
        writeln!(self.text, "G4 P200")?;
        writeln!(self.text, "{}", if visit.tool == 0 && visit.layer > 1 { "M106 S255" } else { "M107" })
    }

    /// Lays outline and infill until the path is spent, and reheats the next tool in time.
    fn lay(&mut self, plan: &JobPlan, visit: &Visit, next: Option<&Visit>) -> std::fmt::Result {
        let asked = &plan.tools[visit.tool];
        let (left, low) = if visit.tool == 0 { (20.0, 20.0) } else { (90.0, 20.0) };
        let mut next = next.filter(|next| next.tool != visit.tool);
        let mut to_go = visit.path_mm;
        let mut moves = 0_u32;
        self.travel(left, low)?;
        while to_go > 0.0 {
            if let Some(waiting) = next.filter(|_| to_go < REHEAT_AHEAD_S * INFILL_MM_S) {
                writeln!(self.text, "M104 S{:.0} T{}", plan.tools[waiting.tool].print_c, waiting.tool)?;
                next = None;
            }
            let (x, y, feed) = self.next_corner(left, low, moves);
            to_go -= self.line(x, y, feed)?;
            moves += 1;
            if moves.is_multiple_of(MOVES_PER_RETRACTION) {
                self.retract(asked, visit.tool)?;
                self.travel(self.at.0, if self.at.1 > low + self.side_mm { low } else { self.at.1 + 2.0 })?;
                self.refill(asked, visit.tool)?;
            }
        }
        Ok(())
    }

    /// Four sides of an outline first, then lines to and fro.
    fn next_corner(&self, left: f64, low: f64, moves: u32) -> (f64, f64, f64) {
        let (right, high) = (left + self.side_mm, low + self.side_mm);
        match moves {
            0 => (right, low, OUTLINE_MM_S),
            1 => (right, high, OUTLINE_MM_S),
            2 => (left, high, OUTLINE_MM_S),
            3 => (left, low, OUTLINE_MM_S),
            _ => (if self.at.0 > left { left } else { right }, self.at.1 + 0.4, INFILL_MM_S),
        }
    }

    fn line(&mut self, x: f64, y: f64, feed: f64) -> Result<f64, std::fmt::Error> {
        let length = (x - self.at.0).hypot(y - self.at.1);
        let filament = length * BEAD_MM2 / FILAMENT_MM2;
        writeln!(self.text, "G1 X{x:.2} Y{y:.2} E{filament:.4} F{:.0}", feed * 60.0)?;
        self.at = (x, y);
        Ok(length)
    }

    fn travel(&mut self, x: f64, y: f64) -> std::fmt::Result {
        self.at = (x, y);
        writeln!(self.text, "G1 X{x:.2} Y{y:.2} F{TRAVEL_F:.0}")
    }

    fn leave(&mut self, plan: &JobPlan, visit: &Visit) -> std::fmt::Result {
        let asked = &plan.tools[visit.tool];
        self.retract(asked, visit.tool)?;
        if visit.standby_after {
            writeln!(self.text, "M104 S{:.0} T{}", asked.standby_c, visit.tool)?;
        }
        Ok(())
    }

    fn retract(&mut self, asked: &ToolPlan, tool: usize) -> std::fmt::Result {
        self.retracted[tool] = asked.retract_mm;
        writeln!(self.text, "G1 E-{:.2} F{:.0}", asked.retract_mm, asked.retract_mm_s * 60.0)
    }

    fn refill(&mut self, asked: &ToolPlan, tool: usize) -> std::fmt::Result {
        let back = std::mem::take(&mut self.retracted[tool]);
        if back > 0.0 {
            writeln!(self.text, "G1 E{back:.2} F{:.0}", asked.retract_mm_s * 60.0)?;
        }
        Ok(())
    }
}
