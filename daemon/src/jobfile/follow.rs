//! Follows a job from act to act, each with the time it takes: whose turn it is, what that tool does with its filament,
//! how its heat stands. Owns the job's clock and the visits.

use super::act::{Act, Heated, Move, Patience, What};
use super::machine::Machine;
use super::outline::{JobOutline, Purge, Restart, Visit};
use super::planner::Planner;
use super::purge::{Began, Common, First};
use super::reader::ReadEnd;
use super::warm::{STEP, ToolHeat, Warm};
use super::worked::{Heights, Worked};
use crate::entry::ToolNumber;
use dwell_analysis::polymer::FILAMENT_MM2;
use dwell_analysis::thermal::HeaterState;
use dwell_analysis::units::{Celsius, CubicMm, Seconds};
use std::array;

/// The visits of which each is told.
const VISITS_MAX: usize = 20_000;

/// Follows one job.
#[derive(Debug)]
pub(super) struct Follower {
    planner: Planner,
    course: Course,
}

/// The job as far as it has come.
#[derive(Debug)]
struct Course {
    warm: Warm,
    now: Seconds,
    /// Filament that the heaters have not been told of yet, mm3.
    pushed: f64,
    heating: Seconds,
    begins: Option<Seconds>,
    /// T0 is at work until another is called.
    at_work: ToolNumber,
    /// X and Y, mm.
    at: [f64; 2],
    tools: [Worked; ToolNumber::COUNT_MAX],
    open: Option<Open>,
    /// With what a visit after a change began with.
    visits: Vec<(Visit, Option<Began>)>,
    visits_left_out: u64,
    common: Common,
    layers: Heights,
    pace: f64,
    /// Of the moves since the first filament, by the file alone.
    moving: Seconds,
    homings: u32,
    pauses: u32,
    chamber_waits: u32,
}

/// The visit under way.
#[derive(Debug)]
struct Open {
    byte: u64,
    began: Seconds,
    laid: f64,
    first: First,
    restart: Option<Restart>,
    /// Stood still for the tool's heat, since its visit before.
    waited: Seconds,
    /// It follows another tool's visit.
    is_change: bool,
}

impl Follower {
    pub(super) fn new(machine: Machine) -> Self {
        let pace = machine.pace;
        Self {
            planner: Planner::new(machine.limits),
            course: Course {
                warm: Warm::new(machine),
                now: Seconds::ZERO,
                pushed: 0.0,
                heating: Seconds::ZERO,
                begins: None,
                at_work: ToolNumber::FIRST,
                at: [0.0; 2],
                tools: array::from_fn(|_| Worked::default()),
                open: None,
                visits: Vec::new(),
                visits_left_out: 0,
                common: Common::default(),
                layers: Heights::default(),
                pace,
                moving: Seconds::ZERO,
                homings: 0,
                pauses: 0,
                chamber_waits: 0,
            },
        }
    }

    pub(super) fn take(&mut self, act: Act) {
        let Self { planner, course } = self;
        planner.take(act, &mut |act, lasted| course.follow(&act, lasted));
    }

    /// The job is at its end.
    pub(super) fn finish(mut self, end: ReadEnd) -> JobOutline {
        let Self { planner, course } = &mut self;
        planner.flush(&mut |act, lasted| course.follow(&act, lasted));
        self.course.finish(end)
    }
}

impl Course {
    fn follow(&mut self, act: &Act, lasted: Seconds) {
        match act.what {
            What::Move(motion) => self.motion(act.byte, &motion, lasted),
            What::Dwell(_) => self.pass(lasted),
            What::Retract { length, speed } => {
                self.visit(act.byte);
                let drawn = &mut self.worked(self.at_work).drawn;
                match length {
                    Some(length) => drawn.back(length, speed),
                    None => drawn.back_untold(),
                }
                self.move_for(lasted);
            }
            What::Recover { extra, .. } => {
                self.visit(act.byte);
                let out = self.worked(self.at_work).drawn.recover(extra);
                self.push(out, None);
                self.move_for(lasted);
            }
            What::Home => self.homings += 1,
            What::Heat { heated, target, patience } => self.heat(heated, target, patience),
            What::Fan(_) | What::End => {}
            What::Tool(tool) => self.call(tool, act.byte),
            What::NoTool => {
                self.settle();
                self.leave(true);
            }
            What::Pause => self.pauses += 1,
        }
    }

    fn motion(&mut self, byte: u64, motion: &Move, lasted: Seconds) {
        if motion.filament.abs() > 0.0 {
            self.visit(byte);
        }
        self.at = plane(motion.to);
        let is_travel = motion.is_travel();
        if motion.filament > 0.0 {
            let out = self.worked(self.at_work).drawn.forward(motion.filament, !is_travel);
            self.push(out, Some(motion).filter(|_| is_travel));
        } else {
            if motion.filament < 0.0 {
                let back = -motion.filament;
                // Drawn back while travelling, the filament goes at its share of the speed.
                let share = if motion.length > 0.0 { back / motion.length } else { 1.0 };
                let speed = (motion.speed > 0.0).then_some(motion.speed * share);
                self.worked(self.at_work).drawn.back(back, speed);
            }
            if let Some(open) = self.open.as_mut().filter(|_| is_travel) {
                open.first.travel(plane(motion.to));
            }
        }
        self.move_for(lasted);
    }

    /// A move takes so long by the file, and by the printer's pace somewhat more or less.
    fn move_for(&mut self, lasted: Seconds) {
        if self.begins.is_some() {
            self.moving += lasted;
        }
        self.pass(Seconds::new(lasted.get() * self.pace));
    }

    /// `out` mm of filament leaves the nozzle: along a move, or standing still.
    fn push(&mut self, out: f64, motion: Option<&Move>) {
        self.restart();
        if out <= 0.0 {
            return;
        }
        if self.begins.is_none() {
            self.settle();
            self.begins = Some(self.now);
            self.warm.begin();
        }
        let volume = out * FILAMENT_MM2;
        self.pushed += volume;
        let asked = self.warm.tool(self.at_work).and_then(ToolHeat::asked);
        let layer = motion.filter(|motion| (motion.to[2] - motion.from[2]).abs() < 1e-9).map(|motion| motion.to[2]);
        let worked = self.worked(self.at_work);
        worked.note(volume, asked, layer);
        if let Some(z) = layer {
            self.layers.add(z);
        }
        let Some(open) = &mut self.open else { return };
        open.laid += volume;
        match motion {
            Some(motion) => {
                let (from, to) = (plane(motion.from), plane(motion.to));
                if !open.first.lay(from, to, volume) {
                    self.common.lay(from, to, volume);
                }
            }
            None => open.first.push(self.at, volume),
        }
    }

    /// The first push of a visit: where the melt stands.
    fn restart(&mut self) {
        if self.open.as_ref().is_none_or(|open| open.restart.is_some()) {
            return;
        }
        self.settle();
        let (tool, now) = (self.at_work, self.now);
        self.warm.name(tool);
        let left_at = self.worked(tool).left_at;
        let Some((open, heat)) = self.open.as_mut().zip(self.warm.tool(tool)) else { return };
        let raised = heat.raised().filter(|raised| left_at.is_none_or(|left| *raised >= left));
        let expected = heat.heater().actual();
        open.restart = Some(Restart {
            at: now,
            target: heat.asked(),
            expected,
            waited: open.waited,
            raised_ahead: raised.map(|raised| now - raised),
        });
        self.worked(tool).restart.add(expected.get());
    }

    fn heat(&mut self, heated: Heated, target: Celsius, patience: Patience) {
        self.settle();
        let wait = match heated {
            Heated::Tool(tool) => {
                let at_work = self.open.as_ref().map(|_| self.at_work);
                self.warm.set(tool, target, at_work);
                let now = self.now;
                self.worked(tool).set(target, now);
                self.warm.tool(tool).and_then(|heat| wait(heat.heater(), patience))
            }
            Heated::Bed => {
                self.warm.set_bed(target);
                wait(self.warm.bed(), patience)
            }
            Heated::Chamber => {
                self.chamber_waits += u32::from(patience != Patience::None);
                None
            }
        };
        let Some(wait) = wait.filter(|wait| *wait > Seconds::ZERO) else { return };
        self.heating += wait;
        if let Heated::Tool(tool) = heated {
            match self.open.as_mut().filter(|_| tool == self.at_work) {
                Some(open) => open.waited += wait,
                None => self.worked(tool).waited += wait,
            }
        }
        self.pass(wait);
        self.settle();
    }

    /// Another tool is called to work.
    fn call(&mut self, tool: ToolNumber, byte: u64) {
        if tool == self.at_work && self.open.is_some() {
            return;
        }
        self.settle();
        let is_change = self.open.is_some();
        self.leave(is_change);
        self.at_work = tool;
        self.begin_visit(byte, is_change);
    }

    /// Makes sure that a visit is under way.
    fn visit(&mut self, byte: u64) {
        if self.open.is_none() {
            self.settle();
            self.begin_visit(byte, false);
        }
    }

    fn begin_visit(&mut self, byte: u64, is_change: bool) {
        let tool = self.at_work;
        self.warm.call(tool);
        let worked = self.worked(tool);
        let left_hot = worked.judge_standby();
        worked.visits = worked.visits.saturating_add(1);
        let (standby, newest) = (worked.lowest, worked.newest.take());
        let waited = std::mem::replace(&mut worked.waited, Seconds::ZERO);
        if let Some((visit, _)) = newest.and_then(|idx| self.visits.get_mut(idx)) {
            (visit.standby, visit.left_hot) = (standby, left_hot);
        }
        let began = self.now;
        self.open = Some(Open { byte, began, laid: 0.0, first: First::default(), restart: None, waited, is_change });
    }

    /// The visit under way is over, for another tool's or for the job's end.
    fn leave(&mut self, is_change: bool) {
        let Some(open) = self.open.take() else { return };
        let (tool, now) = (self.at_work, self.now);
        let began = open.is_change.then(|| self.common.add(tool, &open.first));
        let place = self.visits.len();
        let is_told = place < VISITS_MAX;
        let worked = self.worked(tool);
        let (n_retractions, retract) = worked.drawn.leave();
        worked.left_at = Some(now);
        worked.has_left = is_change;
        worked.left += u32::from(is_change);
        worked.newest = is_told.then_some(place);
        if !is_told {
            self.visits_left_out += 1;
            return;
        }
        let visit = Visit {
            tool,
            byte: open.byte,
            began: open.began,
            ended: now,
            extruded: CubicMm::new(open.laid),
            purge: Purge::default(),
            restart: open.restart,
            standby: None,
            left_hot: None,
            n_retractions,
            retract,
        };
        self.visits.push((visit, began));
    }

    fn pass(&mut self, lasted: Seconds) {
        self.now += lasted;
        if self.now - self.warm.now() >= STEP {
            self.settle();
        }
    }

    /// Tells the heaters of the time that has passed.
    fn settle(&mut self) {
        if self.now <= self.warm.now() {
            return;
        }
        let pushed = std::mem::take(&mut self.pushed);
        let at_work = self.open.as_ref().map(|_| self.at_work);
        let tools = &self.tools;
        let drawn = |tool: ToolNumber| tools.get(tool.idx()).and_then(|worked| worked.drawn.depth());
        self.warm.pass(self.now, at_work, CubicMm::new(pushed), drawn);
    }

    #[expect(clippy::indexing_slicing, reason = "there are as many as tool numbers")]
    fn worked(&mut self, tool: ToolNumber) -> &mut Worked {
        &mut self.tools[tool.idx()]
    }

    fn finish(mut self, end: ReadEnd) -> JobOutline {
        self.settle();
        self.leave(false);
        let waits = self.warm.finish();
        let place = self.common.place();
        let mut visits = Vec::with_capacity(self.visits.len());
        for (mut visit, began) in std::mem::take(&mut self.visits) {
            if let Some(began) = began {
                visit.purge = began.purge(place);
                let worked = self.worked(visit.tool);
                worked.purge.add(visit.purge.volume.get());
                worked.pushed.add(began.pushed());
            }
            visits.push(visit);
        }
        let mut tools = Vec::new();
        for (idx, mut worked) in self.tools.into_iter().enumerate() {
            let Some(tool) = ToolNumber::new(idx) else { continue };
            let heat = self.warm.tool(tool);
            // T9 is named without T8.
            if heat.is_none_or(|heat| heat.asked().is_none()) && worked.visits == 0 {
                continue;
            }
            let (left_hot, lowest) = (worked.judge_standby(), worked.lowest);
            if let Some(visit) = worked.newest.and_then(|place| visits.get_mut(place)) {
                (visit.standby, visit.left_hot) = (lowest, left_hot);
            }
            tools.push(worked.outline(tool, heat.map(|heat| heat.sum).unwrap_or_default()));
        }
        JobOutline {
            bytes: end.bytes,
            lines: end.lines,
            commands: end.commands,
            begins: self.begins,
            ends: self.now,
            heating: self.heating,
            layers: self.layers.n(),
            moving: Seconds::new(self.moving.get() * self.pace),
            moving_by_file: self.moving,
            visits,
            visits_left_out: self.visits_left_out,
            waits,
            tools,
            homings: self.homings,
            pauses: self.pauses,
            chamber_waits: self.chamber_waits,
            unread: end.unread,
        }
    }
}

/// What is waited for; `None` is nothing, or what never comes.
fn wait(heater: &HeaterState, patience: Patience) -> Option<Seconds> {
    match patience {
        Patience::None => None,
        Patience::UntilHot => heater.until_hot(),
        Patience::UntilThere => heater.until_there(),
    }
}

const fn plane([x, y, _]: [f64; 3]) -> [f64; 2] {
    [x, y]
}
