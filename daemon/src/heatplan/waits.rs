//! A tool's time away from work, cut into waits. Owns where a wait begins and ends and what the file asks of the tool
//! in it.

use super::course::{Busy, Course, Given, Place, ToolCourse};
use dwell_analysis::thermal::HeaterState;
use dwell_analysis::units::{Celsius, Seconds};

/// What a wait is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// From the file's first set point to the tool's first turn.
    First,
    /// Between two turns.
    Between,
    /// After the last turn.
    Last,
}

/// One wait.
#[derive(Clone, Debug)]
pub(super) struct Wait<'c> {
    pub(super) tool: &'c ToolCourse,
    pub(super) kind: Kind,
    /// The place of the first line that may be added.
    pub(super) from: Place,
    /// Where the tool has to be hot again, or the job ends.
    pub(super) until: Place,
    /// Whether the file waits for the tool's heat at its end, before filament is moved.
    pub(super) is_awaited: bool,
    /// The heater at its beginning, as the file has it.
    pub(super) state: HeaterState,
    /// The file's set point then; 0 °C is off.
    pub(super) target: Celsius,
    /// Set points that the file gives within it.
    pub(super) given: &'c [Given],
}

/// Shorter is none: a wait for heat right before the call.
const LEAST: Seconds = Seconds::new(2.0);

/// The waits of a tool, in order.
pub(super) fn of<'c>(tool: &'c ToolCourse, course: &Course) -> Vec<Wait<'c>> {
    let mut found = Vec::new();
    let mut walk = Walk::new(tool);
    // What ends before anything is laid is warming up, and that is the file's.
    let is_printing = |until: Place| until.at.expected > course.begins;
    let first = tool.given.iter().find(|given| given.target.get() > 0.0);
    if let Some(first) = first {
        let from = Place { byte: first.after, at: first.at };
        let until = tool.busy.first().map_or(course.ends, |busy| busy.from);
        if is_printing(until) && until.byte >= from.byte {
            let kind = if tool.busy.is_empty() { Kind::Last } else { Kind::First };
            found.extend(walk.wait(kind, from, until, tool.busy.first()));
        }
    }
    for (idx, busy) in tool.busy.iter().enumerate() {
        let next = tool.busy.get(idx + 1);
        let kind = if next.is_some() { Kind::Between } else { Kind::Last };
        let until = next.map_or(course.ends, |next| next.from);
        let wait = walk.wait(kind, busy.until, until, next);
        found.extend(wait.filter(|wait| is_printing(wait.until)));
    }
    found
}

/// The lowest set point above off that the file has while the tool waits between two turns.
pub(super) fn lowest(waits: &[Wait<'_>]) -> Option<Celsius> {
    let between = waits.iter().filter(|wait| wait.kind == Kind::Between);
    let told = between.flat_map(|wait| std::iter::once(wait.target).chain(wait.given.iter().map(|given| given.target)));
    told.filter(|target| target.get() > 0.0).reduce(Celsius::min)
}

/// The heater as the file has it, from one instant to the next.
struct Walk<'c> {
    tool: &'c ToolCourse,
    state: HeaterState,
    at: Seconds,
    target: Celsius,
    /// Set points passed.
    n: usize,
}

impl<'c> Walk<'c> {
    const fn new(tool: &'c ToolCourse) -> Self {
        let state = HeaterState::new(tool.is.heater, tool.is.surroundings, tool.is.surroundings);
        Self { tool, state, at: Seconds::ZERO, target: Celsius::new(0.0), n: 0 }
    }

    fn wait(&mut self, kind: Kind, from: Place, until: Place, next: Option<&Busy>) -> Option<Wait<'c>> {
        let given = &self.tool.given;
        while let Some(one) = given.get(self.n).filter(|one| one.after <= from.byte) {
            self.state.advance(one.at.expected - self.at);
            self.state.set(one.target);
            (self.at, self.target) = (one.at.expected, one.target);
            self.n += 1;
        }
        self.state.advance(from.at.expected - self.at);
        self.at = from.at.expected;
        let rest = given.get(self.n..).unwrap_or_default();
        let within = rest.iter().take_while(|one| one.after <= until.byte).count();
        let given = rest.get(..within).unwrap_or_default();
        let (state, target, tool) = (self.state, self.target, self.tool);
        let is_awaited = next.is_some_and(|next| next.is_awaited);
        (until.at.expected - from.at.expected >= LEAST || kind == Kind::Last).then_some(Wait {
            tool,
            kind,
            from,
            until,
            is_awaited,
            state,
            target,
            given,
        })
    }
}
