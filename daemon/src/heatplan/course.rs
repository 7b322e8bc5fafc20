//! The file on its own clock: turns, set points, and places between lines where one may be added. Owns the clock; what is
//! done with a tool's time away is decided elsewhere.

use super::refusal::{self, Refused};
use crate::entry::ToolNumber;
use crate::jobfile::{Act, Heated, Machine, MachineTool, Patience, What, timed};
use dwell_analysis::thermal::HeaterState;
use dwell_analysis::units::{Celsius, Seconds};
use memchr::memchr2;
use std::collections::BTreeMap;

/// Places between lines are told this close together.
const MARK_EVERY: Seconds = Seconds::new(1.0);
/// More turns than these are not planned: no job has as many.
const TURNS_MAX: usize = 20_000;

/// An instant of the job.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Instant {
    /// As it is to be expected, waits for heat counted.
    pub(super) expected: Seconds,
    /// Moves and dwells alone: what has passed at least.
    pub(super) sure: Seconds,
    /// Of that, moves, of which the pace may be another.
    pub(super) moved: Seconds,
}

/// A place before a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub(super) byte: u64,
    pub(super) at: Instant,
}

/// A set point that the file gives a tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Given {
    /// The place after its line.
    pub(super) after: u64,
    pub(super) at: Instant,
    /// 0 °C is off.
    pub(super) target: Celsius,
}

/// A stretch in which a tool has to be as hot as the file has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Busy {
    pub(super) from: Place,
    /// The place after its last push or wait for heat.
    pub(super) until: Place,
    /// Whether filament is moved in it or heat is waited for: a call alone needs no heat where nothing follows.
    pub(super) is_used: bool,
    /// Whether the file waits for the tool's heat in it before filament is moved.
    pub(super) is_awaited: bool,
}

/// One tool's way through the job.
#[derive(Clone, Debug)]
pub(super) struct ToolCourse {
    pub(super) number: ToolNumber,
    pub(super) is: MachineTool,
    pub(super) given: Vec<Given>,
    pub(super) busy: Vec<Busy>,
    state: HeaterState,
    state_at: Seconds,
}

/// The whole job.
#[derive(Clone, Debug)]
pub(super) struct Course {
    /// T0 first.
    pub(super) tools: Vec<ToolCourse>,
    /// In order.
    pub(super) places: Vec<Place>,
    /// When the first filament is laid.
    pub(super) begins: Seconds,
    /// The text's end.
    pub(super) ends: Place,
}

/// Follows a text that a machine is to run.
///
/// # Errors
/// If the text is not understood well enough.
pub(super) fn follow(text: &[u8], machine: &Machine) -> Result<Course, Refused> {
    refusal::of_text(text)?;
    let mut follower = Follower::new(text, machine);
    let end = timed(text, machine.limits, &mut |act, lasted| follower.take(&act, lasted));
    refusal::of_reading(text, &end)?;
    follower.finish()
}

struct Follower<'t> {
    text: &'t [u8],
    machine: &'t Machine,
    now: Instant,
    /// By number.
    tools: BTreeMap<usize, ToolCourse>,
    bed: HeaterState,
    bed_at: Seconds,
    /// `None` before any tool is called or filament moved.
    at_work: Option<ToolNumber>,
    places: Vec<Place>,
    begins: Option<Seconds>,
    n_turns: usize,
    unheated: Option<(ToolNumber, u64)>,
    /// Where the line begins that ends the program.
    end: Option<u64>,
}

impl<'t> Follower<'t> {
    fn new(text: &'t [u8], machine: &'t Machine) -> Self {
        Self {
            text,
            machine,
            now: Instant::default(),
            tools: BTreeMap::new(),
            bed: HeaterState::new(machine.bed, machine.ambient, machine.ambient),
            bed_at: Seconds::ZERO,
            at_work: None,
            places: Vec::new(),
            begins: None,
            n_turns: 0,
            unheated: None,
            end: None,
        }
    }

    fn take(&mut self, act: &Act, lasted: Seconds) {
        self.place(act.byte);
        match act.what {
            What::Move(motion) => {
                let lasted = Seconds::new(lasted.get() * self.machine.pace);
                self.pass(lasted, lasted);
                if motion.filament.abs() > 0.0 {
                    self.push(act.byte, motion.filament > 0.0 && motion.is_travel());
                }
            }
            What::Retract { .. } | What::Recover { .. } => {
                let lasted = Seconds::new(lasted.get() * self.machine.pace);
                self.pass(lasted, lasted);
                self.push(act.byte, false);
            }
            What::Dwell(lasted) => self.pass(lasted, Seconds::ZERO),
            What::Heat { heated, target, patience } => self.heat(act.byte, heated, target, patience),
            What::Tool(tool) => self.call(tool, act.byte),
            What::End => self.end = Some(act.byte),
            // A tool that no printer has is refused once the whole file is read.
            What::NoTool | What::Home | What::Fan(_) | What::Pause => {}
        }
    }

    fn pass(&mut self, lasted: Seconds, moved: Seconds) {
        self.now.expected += lasted;
        self.now.sure += lasted;
        self.now.moved += moved;
    }

    /// Notes a place before a line, unless one is near; never before the text, where a byte order mark may stand.
    fn place(&mut self, byte: u64) {
        let is_near = self
            .places
            .last()
            .is_some_and(|last| self.now.expected - last.at.expected < MARK_EVERY || last.byte == byte);
        if !is_near && byte > 0 {
            self.places.push(Place { byte, at: self.now });
        }
    }

    /// The place behind the line that begins there.
    fn after(&self, byte: u64) -> Place {
        let from = usize::try_from(byte).unwrap_or(usize::MAX);
        let rest = self.text.get(from..).unwrap_or_default();
        let n = memchr2(b'\n', b'\r', rest).unwrap_or(rest.len());
        let end = rest.get(n..).unwrap_or_default();
        let n_end = if end.starts_with(b"\r\n") { 2 } else { end.len().min(1) };
        Place { byte: byte.saturating_add(u64::try_from(n + n_end).unwrap_or(u64::MAX)), at: self.now }
    }

    fn tool(&mut self, number: ToolNumber) -> &mut ToolCourse {
        let (machine, state_at) = (self.machine, self.now.expected);
        self.tools.entry(number.idx()).or_insert_with(|| {
            let is = machine.tools.get(number.idx()).copied().unwrap_or_default();
            let state = HeaterState::new(is.heater, is.surroundings, is.surroundings);
            ToolCourse { number, is, given: Vec::new(), busy: Vec::new(), state, state_at }
        })
    }

    fn call(&mut self, tool: ToolNumber, byte: u64) {
        if self.at_work == Some(tool) {
            return;
        }
        self.at_work = Some(tool);
        self.n_turns += 1;
        let (from, until) = (Place { byte, at: self.now }, self.after(byte));
        self.tool(tool).busy.push(Busy { from, until, is_used: false, is_awaited: false });
    }

    fn push(&mut self, byte: u64, is_laid: bool) {
        // T0 is at work until another is called.
        let tool = self.at_work.unwrap_or(ToolNumber::FIRST);
        if self.at_work.is_none() {
            self.call(tool, byte);
        }
        if is_laid && self.begins.is_none() {
            self.begins = Some(self.now.expected);
        }
        let until = self.after(byte);
        let course = self.tool(tool);
        let is_cold = course.given.is_empty();
        if let Some(busy) = course.busy.last_mut() {
            (busy.until, busy.is_used) = (until, true);
        }
        if is_cold && self.unheated.is_none() {
            self.unheated = Some((tool, byte));
        }
    }

    fn heat(&mut self, byte: u64, heated: Heated, target: Celsius, patience: Patience) {
        let from = Place { byte, at: self.now };
        let now = self.now.expected;
        let (tool, wait) = match heated {
            Heated::Tool(tool) => {
                let after = self.after(byte);
                let course = self.tool(tool);
                course.settle(now);
                course.state.set(target);
                course.given.push(Given { after: after.byte, at: after.at, target });
                (Some(tool), wait(&course.state, patience))
            }
            Heated::Bed => {
                self.bed.advance(now - self.bed_at);
                self.bed_at = now;
                self.bed.set(target);
                (None, wait(&self.bed, patience))
            }
            Heated::Chamber => return,
        };
        self.now.expected += wait;
        let Some(tool) = tool.filter(|_| patience != Patience::None && target.get() > 0.0) else { return };
        let until = self.after(byte);
        let is_at_work = self.at_work == Some(tool);
        let busy = &mut self.tool(tool).busy;
        match busy.last_mut().filter(|_| is_at_work) {
            Some(turn) => {
                turn.is_awaited |= !turn.is_used;
                (turn.until, turn.is_used) = (until, true);
            }
            None => busy.push(Busy { from, until, is_used: true, is_awaited: true }),
        }
    }

    fn finish(self) -> Result<Course, Refused> {
        if let Some(end) = self.end {
            refusal::of_end(self.text, end)?;
        }
        if let Some((tool, byte)) = self.unheated {
            return Err(Refused::Unheated { tool: tool.idx(), line: refusal::line_at(self.text, byte) });
        }
        if self.n_turns > TURNS_MAX {
            return Err(Refused::TooManyTurns { most: TURNS_MAX });
        }
        let begins = self.begins.ok_or(Refused::NoFilament)?;
        let ends = Place { byte: u64::try_from(self.text.len()).unwrap_or(u64::MAX), at: self.now };
        let mut tools: Vec<_> = self.tools.into_values().collect();
        for tool in &mut tools {
            // A call at the job's end, to park the tool, needs no heat.
            while tool.busy.last().is_some_and(|busy| !busy.is_used) {
                tool.busy.pop();
            }
        }
        Ok(Course { tools, places: self.places, begins, ends })
    }
}

impl ToolCourse {
    fn settle(&mut self, now: Seconds) {
        self.state.advance(now - self.state_at);
        self.state_at = now;
    }
}

fn wait(heater: &HeaterState, patience: Patience) -> Seconds {
    let wait = match patience {
        Patience::None => None,
        Patience::UntilHot => heater.until_hot(),
        Patience::UntilThere => heater.until_there(),
    };
    wait.unwrap_or(Seconds::ZERO)
}
