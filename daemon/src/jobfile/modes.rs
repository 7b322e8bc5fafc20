//! What is in force: places, modes, feed, the tool at work. Owns how the words of one line become acts; knows nothing of
//! how they are written.

use super::act::{Heated, Move, Patience, What};
use super::arc::{Circle, Path, Plane};
use super::fault::LineFault;
use super::unread::UnreadCounts;
use super::words::Words;
use crate::entry::ToolNumber;
use dwell_analysis::units::{Celsius, Seconds};

const MM_AN_INCH: f64 = 25.4;
const S_A_MINUTE: f64 = 60.0;
/// How far a whole number may lie from one (NISTIR 6556, 3.3.2.1).
const WHOLE_TOLERANCE: f64 = 0.0001;
/// Full power of the part fan. Common practice, no source.
const FAN_MAX: f64 = 255.0;
/// No desktop heater is hotter, °C: the record takes no more either.
const HEAT_MAX: f64 = 1000.0;

/// The modal state of the machine that runs the job.
#[derive(Debug)]
pub(super) struct Modes {
    /// Where the nozzle is, by the axes' own zero: a new zero told by G92 moves nothing.
    place: [f64; 3],
    /// Where the job's zero lies.
    zero: [f64; 3],
    /// The place of the filament as the job counts it; before it is told, 0.
    filament: f64,
    is_relative: bool,
    is_filament_relative: bool,
    /// Millimetres a unit.
    unit: f64,
    /// mm/s; 0 until it is told.
    feed: f64,
    feed_share: f64,
    flow_share: [f64; ToolNumber::COUNT_MAX],
    plane: Plane,
    motion: Motion,
    /// The tool at work; before the job calls one, the first.
    tool: ToolNumber,
    /// Chosen by T beside another code, for the next M6.
    chosen: Option<ToolNumber>,
    /// Which tools' filament the machine itself has drawn back.
    drawn_back: [bool; ToolNumber::COUNT_MAX],
    /// Length and speed of the machine's own retraction.
    retract: [Option<f64>; 2],
    /// What it pushes beyond that when it recovers, and how fast.
    recover: [Option<f64>; 2],
    /// A tool that no printer has was called last: what is pushed is nobody's.
    is_nobodys: bool,
}

/// What axis words ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Motion {
    None,
    Straight,
    Arc { is_clockwise: bool },
}

/// What became of a line.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Outcome {
    /// Whether something of it was known.
    pub(super) is_run: bool,
    /// What was wrong with it beyond its form.
    pub(super) fault: Option<LineFault>,
    /// Whether the program ends with it.
    pub(super) is_end: bool,
}

impl Default for Modes {
    #[expect(clippy::expect_used, reason = "every printer may have a first tool")]
    fn default() -> Self {
        Self {
            place: [0.0; 3],
            zero: [0.0; 3],
            filament: 0.0,
            is_relative: false,
            is_filament_relative: false,
            unit: 1.0,
            feed: 0.0,
            feed_share: 1.0,
            flow_share: [1.0; ToolNumber::COUNT_MAX],
            plane: Plane::Xy,
            motion: Motion::Straight,
            tool: ToolNumber::new(0).expect("0 is below the bound"),
            chosen: None,
            drawn_back: [false; ToolNumber::COUNT_MAX],
            retract: [None; 2],
            recover: [None; 2],
            is_nobodys: false,
        }
    }
}

impl Modes {
    /// Runs the words of one line, in the standard's order (NISTIR 6556, table 8), but with units first: the trade's
    /// files mean the feed of a line in the units of that line.
    #[inline]
    pub(super) fn run(&mut self, words: &Words, unread: &mut UnreadCounts, emit: &mut impl FnMut(What)) -> Outcome {
        // Nearly every line of a job.
        if matches!(words.g(), [0 | 10]) && words.m().is_empty() && words.value(b'T').is_none() {
            self.motion = Motion::Straight;
            self.take_feed(words);
            let fault = self.move_on(words, emit).err();
            return Outcome { is_run: true, fault, is_end: false };
        }
        self.run_codes(words, unread, emit)
    }

    fn run_codes(&mut self, words: &Words, unread: &mut UnreadCounts, emit: &mut impl FnMut(What)) -> Outcome {
        let mut outcome = Outcome::default();
        let is_moving = words.g().iter().any(|code| matches!(code, 0 | 10 | 20 | 30));
        // Whether no code takes the line's axis words and feed for itself, so that they mean a move as the last one was.
        let mut are_words_free = true;
        for code in words.g() {
            let is_mode = self.set_mode(*code);
            are_words_free &= is_mode;
            outcome.is_run |= is_mode;
        }
        for code in words.m() {
            let is_mode = self.set_filament_mode(*code);
            are_words_free &= is_mode;
            outcome.is_run |= is_mode;
        }
        if is_moving || are_words_free {
            self.take_feed(words);
        }
        for code in words.m().iter().copied() {
            if is_too_hot(code, words) {
                outcome.fault = Some(LineFault::OutOfRange);
            } else if self.run_m(code, words, unread, emit) {
                outcome.is_run = true;
            } else {
                unread.code('M', code);
            }
        }
        outcome.is_run |= self.take_tool(words, unread, emit);
        for code in words.g().iter().copied() {
            if self.run_g(code, words, emit) {
                outcome.is_run = true;
            } else {
                unread.code('G', code);
            }
        }
        if is_moving || are_words_free && words.has_any(b"XYZE") {
            outcome.is_run = true;
            outcome.fault = self.move_on(words, emit).err().or(outcome.fault);
        }
        Self::stop(words, &mut outcome, emit);
        outcome
    }

    /// Whether the code is one that only changes how others are read.
    fn set_mode(&mut self, tenths: u32) -> bool {
        match tenths {
            0 | 10 => self.motion = Motion::Straight,
            20 => self.motion = Motion::Arc { is_clockwise: true },
            30 => self.motion = Motion::Arc { is_clockwise: false },
            800 => self.motion = Motion::None,
            170 => self.plane = Plane::Xy,
            180 => self.plane = Plane::Zx,
            190 => self.plane = Plane::Yz,
            200 => self.unit = MM_AN_INCH,
            210 => self.unit = 1.0,
            // Filament follows, and comes back to what was last told of it alone: common practice, no source.
            900 => self.is_relative = false,
            910 => self.is_relative = true,
            // No offset of a cutter or tool, the first zero, a path mode, feed a minute: nothing that is not so already.
            400 | 490 | 540 | 610 | 640 | 940 => {}
            _ => return false,
        }
        true
    }

    fn set_filament_mode(&mut self, tenths: u32) -> bool {
        match tenths {
            820 => self.is_filament_relative = false,
            830 => self.is_filament_relative = true,
            _ => return false,
        }
        true
    }

    /// A feed of nothing or less is not told.
    #[inline]
    fn take_feed(&mut self, words: &Words) {
        if let Some(feed) = words.value(b'F').filter(|feed| *feed > 0.0) {
            self.feed = feed * self.unit / S_A_MINUTE;
        }
    }

    /// Whether the code is known; the stops are run by [`Self::stop`].
    fn run_m(&mut self, tenths: u32, words: &Words, unread: &mut UnreadCounts, emit: &mut impl FnMut(What)) -> bool {
        let bed = |waits| set_point(words, Heated::Bed, waits);
        let what = match tenths {
            300 => return !words.has_text,
            // The filament's modes, the stops, a tool's change, a line number, messages.
            820 | 830 | 0 | 10 | 20 | 60 | 1100 | 1170 | 1180 => return true,
            1040 | 1090 => {
                let Some(tool) = self.named(words) else {
                    unread.tool_out_of_range();
                    return true;
                };
                set_point(words, Heated::Tool(tool), tenths == 1090)
            }
            1400 | 1900 => bed(tenths == 1900),
            1410 | 1910 => set_point(words, Heated::Chamber, tenths == 1910),
            // Another fan than the part's is none of the part's; a fan without a word runs at full power.
            1060 | 1070 if words.value(b'P').is_some_and(|fan| fan.abs() > 0.0) => return true,
            1060 => Some(What::Fan((words.value(b'S').unwrap_or(FAN_MAX) / FAN_MAX).clamp(0.0, 1.0))),
            1070 => Some(What::Fan(0.0)),
            2070 => {
                self.retract = own_retraction(words, self.unit, self.retract);
                return true;
            }
            2080 => {
                self.recover = own_retraction(words, self.unit, self.recover);
                return true;
            }
            2200 => return self.take_shares(words, unread, true),
            2210 => return self.take_shares(words, unread, false),
            _ => return false,
        };
        what.map(emit).is_some()
    }

    /// Percent of the feed, or of a tool's filament. None of either is no print, so it is not taken.
    fn take_shares(&mut self, words: &Words, unread: &mut UnreadCounts, is_feed: bool) -> bool {
        let Some(share) = words.value(b'S').map(|percent| percent / 100.0).filter(|share| *share > 0.0) else {
            return false;
        };
        if is_feed {
            self.feed_share = share;
        } else if let Some(tool) = self.named(words) {
            if let Some(place) = self.flow_share.get_mut(tool.idx()) {
                *place = share;
            }
        } else {
            unread.tool_out_of_range();
        }
        true
    }

    /// The tool that a line's T names, else the one at work; `None` if no printer may have it.
    fn named(&self, words: &Words) -> Option<ToolNumber> {
        words.value(b'T').map_or(Some(self.tool), tool_number)
    }

    /// T alone calls the tool (common practice, no source); beside other codes it names one, and M6 calls that.
    fn take_tool(&mut self, words: &Words, unread: &mut UnreadCounts, emit: &mut impl FnMut(What)) -> bool {
        let is_change = words.m().contains(&60);
        let is_alone = words.g().is_empty() && words.m().is_empty();
        let Some(number) = words.value(b'T') else {
            let Some(tool) = self.chosen.filter(|_| is_change) else { return false };
            self.call(tool, emit);
            return true;
        };
        if !is_alone && !is_change && !words.m().is_empty() {
            return false;
        }
        match tool_number(number) {
            None => {
                unread.tool_out_of_range();
                if is_alone || is_change {
                    self.is_nobodys = true;
                    emit(What::NoTool);
                }
            }
            Some(tool) if is_alone || is_change => self.call(tool, emit),
            Some(tool) => self.chosen = Some(tool),
        }
        true
    }

    fn call(&mut self, tool: ToolNumber, emit: &mut impl FnMut(What)) {
        (self.tool, self.chosen, self.is_nobodys) = (tool, None, false);
        emit(What::Tool(tool));
    }

    /// Whether the code is known; moves are run by [`Self::move_on`].
    fn run_g(&mut self, tenths: u32, words: &Words, emit: &mut impl FnMut(What)) -> bool {
        match tenths {
            0..=30 | 800 | 170..=210 | 900 | 910 | 400 | 490 | 540 | 610 | 640 | 940 => {}
            40 => {
                // The standard has P in seconds; the trade has S in seconds and P in milliseconds: common practice.
                let ms = words.value(b'P').map(Seconds::from_ms);
                let dwell = words.value(b'S').map(Seconds::new).or(ms);
                if let Some(dwell) = dwell.filter(|dwell| dwell.get() > 0.0) {
                    emit(What::Dwell(dwell));
                }
            }
            100 if words.has_any(b"LP") => return false,
            100 => self.draw_back(emit),
            110 => self.bring_forward(emit),
            280 => self.home(words, emit),
            920 => self.set_zero(words),
            921 | 922 => self.zero = [0.0; 3],
            _ => return false,
        }
        true
    }

    /// A second one without a recovery between does nothing: common practice, no source.
    fn draw_back(&mut self, emit: &mut impl FnMut(What)) {
        if let Some(is_back) = self.drawn_back.get_mut(self.tool.idx()).filter(|is_back| !**is_back) {
            *is_back = true;
            let [length, speed] = self.retract;
            emit(What::Retract { length, speed });
        }
    }

    fn bring_forward(&mut self, emit: &mut impl FnMut(What)) {
        if let Some(is_back) = self.drawn_back.get_mut(self.tool.idx()).filter(|is_back| **is_back) {
            *is_back = false;
            let ([length, drawn_at], [extra, speed]) = (self.retract, self.recover);
            emit(What::Recover { length, extra, speed: speed.or(drawn_at) });
        }
    }

    /// The trade's meaning: the axes seek their origin, which then is 0. The standard's is a way to a stored place.
    fn home(&mut self, words: &Words, emit: &mut impl FnMut(What)) {
        let is_all = !b"XYZ".iter().any(|letter| words.names(*letter));
        for ((letter, place), zero) in b"XYZ".iter().zip(&mut self.place).zip(&mut self.zero) {
            if is_all || words.names(*letter) {
                (*place, *zero) = (0.0, 0.0);
            }
        }
        emit(What::Home);
    }

    fn set_zero(&mut self, words: &Words) {
        let is_all = !words.has_any(b"XYZE");
        let told = |letter| words.value(letter).or(is_all.then_some(0.0));
        for ((letter, place), zero) in b"XYZ".iter().zip(self.place).zip(&mut self.zero) {
            if let Some(value) = told(*letter) {
                *zero = place - value * self.unit;
            }
        }
        if let Some(value) = told(b'E') {
            self.filament = value * self.unit;
        }
    }

    /// Moves as the motion in force says.
    #[inline]
    fn move_on(&mut self, words: &Words, emit: &mut impl FnMut(What)) -> Result<(), LineFault> {
        let from = self.place;
        let [x, y, z] = from;
        let [zero_x, zero_y, zero_z] = if self.is_relative { from } else { self.zero };
        let goal = |letter, zero: f64, here: f64| words.value(letter).map_or(here, |value| zero + value * self.unit);
        let to = [goal(b'X', zero_x, x), goal(b'Y', zero_y, y), goal(b'Z', zero_z, z)];
        let (path, found) = match self.motion {
            Motion::Straight => (Path::straight(from, to), Ok(())),
            // No move is in force, so the words ask for nothing.
            Motion::None => return Err(LineFault::NotAWord),
            Motion::Arc { is_clockwise } => match self.arc(words, from, to, is_clockwise) {
                Some(path) => (path, Ok(())),
                None => (Path::straight(from, to), Err(LineFault::Arc)),
            },
        };
        let filament = self.push(words);
        self.place = to;
        if path.length > 0.0 || filament.abs() > 0.0 {
            let Path { length, enters, leaves } = path;
            let speed = self.feed * self.feed_share;
            emit(What::Move(Move { from, to, length, enters, leaves, filament, speed }));
        }
        found
    }

    fn arc(&self, words: &Words, from: [f64; 3], to: [f64; 3], is_clockwise: bool) -> Option<Path> {
        let offset = |letter| words.value(letter).unwrap_or_default() * self.unit;
        let circle = match words.value(b'R') {
            Some(radius) => Circle::Radius(radius * self.unit),
            None => Circle::Centre([offset(b'I'), offset(b'J'), offset(b'K')]),
        };
        Path::along(from, to, self.plane, is_clockwise, circle)
    }

    /// Filament pushed by the line.
    #[inline]
    fn push(&mut self, words: &Words) -> f64 {
        let Some(value) = words.value(b'E').map(|value| value * self.unit) else { return 0.0 };
        let is_told = !self.is_relative && !self.is_filament_relative;
        let pushed = if is_told { value - self.filament } else { value };
        // Set, not summed, where the place itself is told: a sum would drift off it.
        self.filament = if is_told { value } else { self.filament + value };
        if self.is_nobodys {
            return 0.0;
        }
        pushed * self.flow_share.get(self.tool.idx()).copied().unwrap_or(1.0)
    }

    fn stop(words: &Words, outcome: &mut Outcome, emit: &mut impl FnMut(What)) {
        match words.m().iter().find(|code| matches!(code, 0 | 10 | 20 | 300)) {
            Some(0 | 10) => emit(What::Pause),
            Some(20) => outcome.is_end = true,
            Some(300) => outcome.is_end = !words.has_text,
            _ => {}
        }
        if outcome.is_end {
            emit(What::End);
        }
    }
}

fn tool_number(value: f64) -> Option<ToolNumber> {
    (0_u8..=u8::MAX)
        .find(|idx| (f64::from(*idx) - value).abs() <= WHOLE_TOLERANCE)
        .map(usize::from)
        .and_then(ToolNumber::new)
}

/// Length or extra, and speed; what is not told stays as it was, and neither can be less than nothing.
fn own_retraction(words: &Words, unit: f64, held: [Option<f64>; 2]) -> [Option<f64>; 2] {
    let [length, speed] = held;
    let told = words.value(b'S').filter(|told| *told >= 0.0).map(|told| told * unit);
    let feed = words.value(b'F').filter(|feed| *feed > 0.0).map(|feed| feed * unit / S_A_MINUTE);
    [told.or(length), feed.or(speed)]
}

/// A set point over [`HEAT_MAX`] is a slip of the pen, and no heater's.
fn is_too_hot(code: u32, words: &Words) -> bool {
    let target = words.value(b'S').or_else(|| words.value(b'R'));
    matches!(code, 1040 | 1090 | 1400 | 1900 | 1410 | 1910) && target.is_some_and(|target| target > HEAT_MAX)
}

/// A set point, told by S or, where cooling is to be waited for too, by R. Common practice, no source.
fn set_point(words: &Words, heated: Heated, waits: bool) -> Option<What> {
    let (target, patience) = match words.value(b'S') {
        Some(target) => (target, Patience::UntilHot),
        None => (words.value(b'R')?, Patience::UntilThere),
    };
    let patience = if waits { patience } else { Patience::None };
    Some(What::Heat { heated, target: Celsius::new(target.max(0.0)), patience })
}
