//! Runs job text over simulated time, line by line. Owns what the printer has been told to do and how far it is;
//! temperatures are handed in, the heaters are the plant's.

use crate::entry::HotEnd;
use dwell_analysis::polymer::FILAMENT_MM2;
use std::sync::Arc;

/// Acceleration of the axes, mm/s2 (common practice, no source).
const ACCELERATION: f64 = 1500.0;
/// A wait for heat ends so far below the set point, K.
const REACHED_WITHIN: f64 = 1.0;

/// What is waited for before the next line.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Wait {
    Nozzle(usize),
    Bed,
}

/// The printer's motion side.
#[derive(Clone, Debug)]
pub struct Machine {
    hot_end: HotEnd,
    text: Arc<str>,
    next: usize,
    /// Time left of the line under way, s, and what it extrudes, mm3/s.
    left_s: f64,
    flow: f64,
    wait: Option<Wait>,
    at: [f64; 3],
    feed_mm_s: f64,
    tool: usize,
    targets: [f64; 2],
    bed_target: f64,
    fan: bool,
    retracted: [f64; 2],
    /// Filament drawn back in the tool at work when it was taken up, mm.
    held_at_change: f64,
    begun: bool,
}

impl Machine {
    /// A machine without a job, heaters off.
    #[must_use]
    pub fn new(hot_end: HotEnd) -> Self {
        Self {
            hot_end,
            text: Arc::from(""),
            next: 0,
            left_s: 0.0,
            flow: 0.0,
            wait: None,
            at: [0.0; 3],
            feed_mm_s: 20.0,
            tool: 0,
            targets: [0.0; 2],
            bed_target: 0.0,
            fan: false,
            retracted: [0.0; 2],
            held_at_change: 0.0,
            begun: false,
        }
    }

    /// Takes a job and begins it with the next step.
    pub fn load(&mut self, text: Arc<str>) {
        *self = Self { text, targets: self.targets, bed_target: self.bed_target, ..Self::new(self.hot_end) };
    }

    /// Ends the job where it is and switches every heater off.
    pub fn stop(&mut self) {
        self.next = self.text.len();
        self.left_s = 0.0;
        self.flow = 0.0;
        self.wait = None;
        self.fan = false;
        self.set_targets([0.0; 2], 0.0);
    }

    /// Sets the heaters by hand.
    pub fn set_targets(&mut self, targets: [f64; 2], bed_target: f64) {
        self.targets = targets;
        self.bed_target = bed_target;
    }

    /// Works for `lasted` seconds at these temperatures and returns what each tool extruded, mm3.
    pub fn step(&mut self, lasted: f64, nozzles: [f64; 2], bed: f64) -> [f64; 2] {
        let mut extruded = [0.0; 2];
        let mut to_go = lasted;
        while to_go > 0.0 {
            if self.left_s > 0.0 {
                let spent = self.left_s.min(to_go);
                extruded[self.tool] += self.flow * spent;
                self.left_s -= spent;
                to_go -= spent;
                continue;
            }
            self.flow = 0.0;
            if self.wait.is_some_and(|wait| !self.reached(wait, nozzles, bed)) {
                break;
            }
            self.wait = None;
            let Some(line) = self.text.get(self.next..).and_then(|rest| rest.split_inclusive('\n').next()) else {
                break;
            };
            if line.is_empty() {
                break;
            }
            let text = Arc::clone(&self.text);
            let end = self.next + line.len();
            self.run(&text[self.next..end]);
            self.next = end;
        }
        extruded
    }

    fn reached(&self, wait: Wait, nozzles: [f64; 2], bed: f64) -> bool {
        match wait {
            Wait::Nozzle(tool) => nozzles[tool] >= self.targets[tool] - REACHED_WITHIN,
            Wait::Bed => bed >= self.bed_target - REACHED_WITHIN,
        }
    }

    fn run(&mut self, line: &str) {
        let mut words = line.split_ascii_whitespace();
        let Some(command) = words.next() else { return };
        let rest = Words(line);
        let tool = usize::from(rest.value('T').is_some_and(|tool| tool >= 0.5));
        match command {
            "G0" | "G1" => self.travel(&rest),
            "G4" => self.left_s = rest.value('P').unwrap_or(0.0) / 1000.0,
            "M104" | "M109" => {
                self.heat(tool, rest.value('S').unwrap_or(0.0));
                self.wait = (command == "M109").then_some(Wait::Nozzle(tool));
            }
            "M140" | "M190" => {
                self.bed_target = rest.value('S').unwrap_or(0.0);
                self.wait = (command == "M190").then_some(Wait::Bed);
            }
            "M106" => self.fan = true,
            "M107" => self.fan = false,
            "T0" => self.take_up(0),
            "T1" => self.take_up(1),
            _ => {}
        }
    }

    const fn take_up(&mut self, tool: usize) {
        self.tool = tool;
        self.held_at_change = self.retracted[tool];
    }

    /// A shared hot end has one heater: what is asked of the tool at work counts, standby of the other does not.
    fn heat(&mut self, tool: usize, target: f64) {
        match self.hot_end {
            HotEnd::Separate => self.targets[tool] = target,
            HotEnd::Shared if tool == self.tool || target > self.targets[tool] => self.targets = [target; 2],
            HotEnd::Shared => {}
        }
    }

    fn travel(&mut self, words: &Words<'_>) {
        if let Some(feed) = words.value('F') {
            self.feed_mm_s = (feed / 60.0).max(0.1);
        }
        let from = self.at;
        for (place, axis) in ['X', 'Y', 'Z'].into_iter().enumerate() {
            self.at[place] = words.value(axis).unwrap_or(self.at[place]);
        }
        let filament = words.value('E').unwrap_or(0.0);
        let moved = from.iter().zip(self.at).map(|(from, to)| (to - from).powi(2)).sum::<f64>().sqrt();
        let length = if moved > 0.0 { moved } else { filament.abs() };
        self.left_s = move_time(length, self.feed_mm_s);
        // What was retracted comes back first; only the rest leaves the nozzle.
        let held = &mut self.retracted[self.tool];
        let out = (filament - *held).max(0.0);
        *held = (*held - filament).max(0.0);
        self.flow = if self.left_s > 0.0 { out * FILAMENT_MM2 / self.left_s } else { 0.0 };
        self.begun |= out > 0.0;
    }

    /// The tool at work.
    #[must_use]
    pub const fn tool(&self) -> usize {
        self.tool
    }

    /// Set points of the nozzles, °C; 0 is off.
    #[must_use]
    pub const fn targets(&self) -> [f64; 2] {
        self.targets
    }

    /// Set point of the bed, °C.
    #[must_use]
    pub const fn bed_target(&self) -> f64 {
        self.bed_target
    }

    /// Whether the part fan blows at each nozzle: it is on the carriage of the tool at work.
    #[must_use]
    pub fn fans(&self) -> [bool; 2] {
        [self.fan && self.tool == 0, self.fan && self.tool == 1]
    }

    /// Filament that was drawn back in the tool at work while it waited, mm.
    #[must_use]
    pub const fn held_at_change(&self) -> f64 {
        self.held_at_change
    }

    /// Bytes of the job read so far.
    #[must_use]
    pub const fn byte(&self) -> usize {
        self.next
    }

    /// Progress by bytes read, millionths; 0 without a job.
    #[must_use]
    pub fn fraction_millionths(&self) -> u32 {
        let whole = self.text.len().max(1);
        u32::try_from(self.next * 1_000_000 / whole).unwrap_or(1_000_000)
    }

    /// Whether anything has been extruded yet; before that the job heats.
    #[must_use]
    pub const fn begun(&self) -> bool {
        self.begun
    }

    /// Whether the text is at its end.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.next >= self.text.len() && self.left_s <= 0.0 && self.wait.is_none()
    }
}

/// Time of one move from rest to rest, s: a trapezoid of speed, or a triangle where the feed is never reached.
#[must_use]
pub fn move_time(length: f64, feed_mm_s: f64) -> f64 {
    if length * ACCELERATION >= feed_mm_s * feed_mm_s {
        length / feed_mm_s + feed_mm_s / ACCELERATION
    } else {
        2.0 * (length / ACCELERATION).sqrt()
    }
}

/// The letter-and-number words of one line.
struct Words<'a>(&'a str);

impl Words<'_> {
    fn value(&self, letter: char) -> Option<f64> {
        self.0.split_ascii_whitespace().skip(1).find_map(|word| word.strip_prefix(letter)?.parse().ok())
    }
}
