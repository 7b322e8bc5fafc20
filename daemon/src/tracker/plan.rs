//! The job file of the print that is on: which tool it has at work at which place, what changed between two readings,
//! and how far it can be believed. Owns nothing of the tools; the host's word always counts over it.

use super::SILENCE_MAX;
use super::grain::Grain;
use crate::entry::{self, FileTool, FileTurn, Job, JobFile, ToolNumber};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// The host may name another tool than the job file for this much printing: bytes are read ahead of the motion, and
/// hosts write their values one after the other.
const DISAGREED_MAX: Seconds = Seconds::new(5.0);

/// Progress may fall back by this part of the file: it is often an estimate, and no tool goes back with it.
const FALL_BACK_PART: u64 = 100;

/// A place that moves on by more than this many times the time that passed, and a moment, has been told in steps too
/// coarse to say when what lies between happened.
const JUMP: f64 = 3.0;
const JUMP_SLACK: Seconds = Seconds::new(5.0);

/// A print's job file, and what the host's word has been worth against it.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    bytes: u64,
    expected: Seconds,
    turns: Vec<FileTurn>,
    /// The highest tool that it calls.
    highest: Option<ToolNumber>,
    pub(super) tools: Vec<FileTool>,
    /// It is not this print's.
    pub(super) is_dropped: bool,
    /// The place by the newest reading; `None` if that told none.
    here: Option<u64>,
    /// How finely it is told; `None` before the first place.
    grain: Option<Grain>,
    /// The place has been told too coarsely since the file last had the tool at work that others told of.
    is_astray: bool,
    /// Tool changes that the host told in the same interval as the file, and in another one.
    together: u32,
    apart: u32,
    echoes: Vec<Echo>,
    disagreement: Option<Disagreement>,
}

/// A visit that the host has not told, placed by the file. A host that lags may still come to tell it.
#[derive(Clone, Copy, Debug)]
struct Echo {
    tool: ToolNumber,
    placed: Timestamp,
    /// Between the two readings that the visit lies between: it is shorter than that.
    length: Seconds,
    heard: Option<Timestamp>,
}

/// The host names another tool than the file.
#[derive(Clone, Copy, Debug)]
struct Disagreement {
    printing: Seconds,
    is_told: bool,
}

/// The way from one reading to the next.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub(super) from: Timestamp,
    pub(super) to: Timestamp,
    /// The place at `from` and at `to`.
    pub(super) places: (u64, u64),
}

impl Plan {
    pub(super) fn new(file: &JobFile) -> Self {
        Self {
            bytes: file.bytes,
            expected: file.expected,
            turns: file.turns.clone(),
            highest: file.turns.iter().map(|turn| turn.tool).max(),
            tools: file.tools.clone(),
            is_dropped: false,
            here: None,
            grain: None,
            is_astray: false,
            together: 0,
            apart: 0,
            echoes: Vec::new(),
            disagreement: None,
        }
    }

    /// Whether it can't be this print's file: the host reads on beyond its end, or the printer lacks a tool of it.
    pub(super) fn is_foreign(&self, byte: Option<u64>, n_tools: usize) -> bool {
        byte.is_some_and(|byte| byte > self.bytes) || self.highest.is_some_and(|tool| tool.idx() >= n_tools)
    }

    /// Takes the place of a reading over, and gives the one before.
    pub(super) fn move_to(&mut self, byte: Option<u64>, fraction_millionths: Option<u32>) -> Option<u64> {
        let told = entry::place_in(self.bytes, byte, fraction_millionths);
        let before = self.here;
        let falls_back = |before: u64, told: u64| told < before && before - told <= self.bytes / FALL_BACK_PART;
        self.here = match (before, told) {
            (Some(before), Some(told)) if falls_back(before, told) => Some(before),
            (Some(_) | None, told) => told,
        };
        if self.here.is_some() {
            self.grain.get_or_insert_with(|| Grain::new(byte.is_some()));
        }
        before
    }

    /// [`Self::move_to`], of a reading's job. Gives the stretch since the reading before, if both told their place
    /// finely enough.
    pub(super) fn follow(&mut self, job: &Job, from: Timestamp, to: Timestamp) -> Option<Stretch> {
        let places = self.move_to(job.byte, job.fraction_millionths).zip(self.here)?;
        let stretch = Stretch { from, to, places };
        let mut grain = self.grain.take()?;
        // What lies behind a coarse place has been told by others.
        let was_coarse = grain.is_coarse();
        grain.take(stretch, job.state, |from, to| self.expected_at(to) - self.expected_at(from));
        let is_coarse = grain.is_coarse();
        self.grain = Some(grain);
        (!was_coarse && !is_coarse).then_some(stretch)
    }

    fn is_coarse(&self) -> bool {
        self.grain.as_ref().is_none_or(Grain::is_coarse)
    }

    /// Whether the file can tell the tool at work where the host does not: a place that was coarse for a while lies
    /// behind, so it first has to come to the tool that was known meanwhile, if any was.
    pub(super) fn regain(&mut self, known: Option<ToolNumber>) {
        self.is_astray = self.is_coarse() || self.is_astray && known.is_some() && known != self.at_work();
    }

    /// [`Self::at_work`], where the host does not say.
    pub(super) fn tells(&self) -> Option<ToolNumber> {
        self.at_work().filter(|_| !self.is_astray)
    }

    /// The tool that the file has at work at the newest reading's place; `None` if that is told too coarsely to say.
    pub(super) fn at_work(&self) -> Option<ToolNumber> {
        self.here.filter(|_| !self.is_dropped && !self.is_coarse()).and_then(|place| self.tool_at(place))
    }

    fn tool_at(&self, place: u64) -> Option<ToolNumber> {
        let idx = self.turns.partition_point(|turn| turn.byte < place);
        idx.checked_sub(1).and_then(|idx| self.turns.get(idx)).map(|turn| turn.tool)
    }

    /// The changes between the two places, and when each is expected to have been: strictly between the readings.
    /// None if the tool at work is not the one that the file has there, or if the place was told too coarsely.
    pub(super) fn changes(&self, stretch: Stretch, at_work: ToolNumber) -> Vec<(Timestamp, ToolNumber)> {
        let (from, to) = stretch.places;
        if self.is_dropped || self.tool_at(from) != Some(at_work) || from >= to {
            return Vec::new();
        }
        let mut tool = at_work;
        let another = |turn: &&FileTurn| std::mem::replace(&mut tool, turn.tool) != turn.tool;
        let turns: Vec<&FileTurn> = self.between((from, to)).iter().filter(another).collect();
        let lasted = stretch.to - stretch.from;
        let expected = self.expected_at(to) - self.expected_at(from);
        if turns.is_empty() || expected.get() > JUMP * lasted.get() + JUMP_SLACK.get() {
            return Vec::new();
        }
        let part = |turn: &FileTurn| {
            if expected > Seconds::ZERO {
                ((turn.at - self.expected_at(from)).get() / expected.get()).clamp(0.0, 1.0)
            } else {
                entry::share(turn.byte - from, to - from)
            }
        };
        let places: Vec<f64> = turns.iter().map(|turn| part(turn)).collect();
        let instants = strictly_between(stretch.from, stretch.to, &places);
        instants.into_iter().zip(turns).map(|(at, turn)| (at, turn.tool)).collect()
    }

    /// The turns that are called between two places. A place is the number of bytes that have been read: a line that
    /// begins there has not.
    fn between(&self, (from, to): (u64, u64)) -> &[FileTurn] {
        let after = |place: u64| self.turns.partition_point(|turn| turn.byte < place);
        self.turns.get(after(from)..after(to)).unwrap_or_default()
    }

    /// When a place is expected: turns have their times, between them it is by the bytes.
    fn expected_at(&self, place: u64) -> Seconds {
        entry::expected_at(&self.turns, (self.bytes, self.expected), place)
    }

    /// The host has told another tool than was at work. Remembers whether the file has that change there too.
    pub(super) fn weigh(&mut self, stretch: Stretch, at_work: ToolNumber, host: ToolNumber) {
        let shares = self.tool_at(stretch.places.0) == Some(at_work) && self.tool_at(stretch.places.1) == Some(host);
        let n = if shares { &mut self.together } else { &mut self.apart };
        *n = n.saturating_add(1);
    }

    /// Whether the host tells its changes when the file has them: what the host does not tell of such a stretch has
    /// passed between two polls, and is not still to come.
    pub(super) fn is_host_prompt(&self) -> bool {
        self.together >= self.apart
    }

    /// Remembers visits that the host has not told.
    pub(super) fn placed(&mut self, stretch: Stretch, visits: &[(Timestamp, ToolNumber)]) {
        let length = stretch.to - stretch.from;
        self.echoes.extend(visits.iter().map(|(placed, tool)| Echo {
            tool: *tool,
            placed: *placed,
            length,
            heard: None,
        }));
    }

    /// Whether the host, naming `host` now while the file stays with the tool at work, tells late of a visit that has
    /// been placed: no visit is told twice.
    pub(super) fn is_echo(&mut self, host: ToolNumber, at: Timestamp) -> bool {
        self.echoes
            .retain(|echo| at - echo.placed <= SILENCE_MAX && echo.heard.is_none_or(|heard| at - heard < echo.length));
        let Some(echo) = self.echoes.iter_mut().find(|echo| echo.tool == host) else { return false };
        echo.heard = echo.heard.or(Some(at));
        true
    }

    /// Whether the file has that tool at work anywhere on the stretch.
    pub(super) fn has(&self, stretch: Stretch, tool: ToolNumber) -> bool {
        let within = self.between(stretch.places);
        self.tool_at(stretch.places.0) == Some(tool) || within.iter().any(|turn| turn.tool == tool)
    }

    /// Compares the host's word with the file; `printed` is how long it has printed since the reading before. Gives
    /// the file's tool once the two have differed for too long.
    pub(super) fn compare(&mut self, host: ToolNumber, printed: Seconds) -> Option<ToolNumber> {
        let file = self.at_work()?;
        if file == host {
            self.disagreement = None;
            return None;
        }
        let Some(held) = &mut self.disagreement else {
            self.disagreement = Some(Disagreement { printing: Seconds::ZERO, is_told: false });
            return None;
        };
        held.printing += printed;
        let lag = self.grain.as_ref().map_or(Seconds::ZERO, Grain::lag);
        let is_new = held.printing > DISAGREED_MAX + lag && !held.is_told;
        held.is_told |= is_new;
        is_new.then_some(file)
    }
}

/// Instants at these parts of the time between two others, in order: each a millisecond after the one before at least,
/// all of them inside. None if so many do not fit.
fn strictly_between(from: Timestamp, to: Timestamp, parts: &[f64]) -> Vec<Timestamp> {
    let n = i64::try_from(parts.len()).unwrap_or(i64::MAX);
    if to.as_ms().saturating_sub(from.as_ms()) <= n {
        return Vec::new();
    }
    let mut earliest = from.as_ms() + 1;
    let instant = |(after, part): (i64, &f64)| {
        let wanted = from + Seconds::new((to - from).get() * part);
        let at = wanted.as_ms().clamp(earliest, to.as_ms() - (n - after));
        earliest = at + 1;
        Timestamp::from_ms(at)
    };
    (0_i64..).zip(parts).map(instant).collect()
}
