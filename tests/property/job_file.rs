//! The tracker with a job file against the motion that the file describes: polled once a second, every change of tool is
//! found within one poll of when it was, and none is made up, however short the visits.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::entry::{
    CentiCelsius, FileTurn, Heater, HotEnd, Job, JobFile, JobFileFrom, JobState, Reading, Settings, ToolNumber,
};
use dwellwatch::tracker::{Effect, Tracker};
use proptest::prelude::*;
use std::sync::Arc;

const START: i64 = 1_700_000_000_000;
const POLL_MS: i64 = 1000;

/// A job as it really ran: turns of the tools one after the other.
#[derive(Clone, Debug)]
struct Motion {
    /// Tool, beginning in real milliseconds, first byte.
    turns: Vec<(usize, i64, u64)>,
    ends: i64,
    bytes: u64,
    /// Expected time over real time.
    pace: f64,
}

/// Turns of T0 of 2 to 5 s, between them turns of T1 that are as long or 0.4 s; bytes are read at another speed in each.
fn motion(short: bool) -> impl Strategy<Value = Motion> {
    let other = if short { 400_i64..=400 } else { 2000..=5000 };
    let pair = (2000_i64..=5000, other, 400_u64..6000, 400_u64..6000);
    (prop::collection::vec(pair, 2..40), 0.7_f64..1.4).prop_map(|(pairs, pace)| {
        let (mut turns, mut at, mut byte) = (Vec::new(), 0_i64, 0_u64);
        for (first, second, slow, quick) in pairs {
            for (tool, lasts, per_second) in [(0, first, slow), (1, second, quick)] {
                turns.push((tool, at, byte));
                at += lasts;
                byte += per_second * u64::try_from(lasts).unwrap() / 1000;
            }
        }
        Motion { turns, ends: at, bytes: byte, pace }
    })
}

impl Motion {
    fn turn_at(&self, ms: i64) -> usize {
        self.turns.partition_point(|(_, began, _)| *began <= ms).saturating_sub(1)
    }

    fn tool_at(&self, ms: i64) -> usize {
        self.turns[self.turn_at(ms)].0
    }

    fn byte_at(&self, ms: i64) -> u64 {
        let idx = self.turn_at(ms);
        let (_, began, byte) = self.turns[idx];
        let (ended, last) = self.turns.get(idx + 1).map_or((self.ends, self.bytes), |next| (next.1, next.2));
        let share = u64::try_from(ms - began).unwrap() * (last - byte) / u64::try_from(ended - began).unwrap();
        // The first byte of a line has been read when what it asks for begins.
        (byte + share + 1).min(self.bytes)
    }

    fn file(&self) -> JobFile {
        let seconds = |ms: i64| Seconds::new(f64::from(i32::try_from(ms).unwrap()) / 1000.0 * self.pace);
        let turn = |(tool, at, byte): &(usize, i64, u64)| FileTurn {
            tool: ToolNumber::new(*tool).unwrap(),
            byte: *byte,
            at: seconds(*at),
        };
        let file = JobFile {
            at: Timestamp::from_ms(START),
            name: Arc::from("lantern.gcode"),
            started: Timestamp::from_ms(START),
            from: JobFileFrom::Host,
            bytes: self.bytes,
            expected: seconds(self.ends),
            turns: self.turns.iter().map(turn).collect(),
            tools: Vec::new(),
        };
        file.rounded()
    }

    /// Polls once a second; `host` tells the tool, if it does, with so much delay.
    fn readings(&self, host: Option<i64>) -> Vec<Reading> {
        let heated = Heater { actual: CentiCelsius::nearest(200.0), ..Heater::default() };
        (0..self.ends / POLL_MS)
            .map(|second| {
                let ms = second * POLL_MS;
                Reading {
                    at: Timestamp::from_ms(START + ms),
                    after_gap: false,
                    job: Job {
                        state: JobState::Printing,
                        name: None,
                        fraction_millionths: None,
                        byte: Some(self.byte_at(ms)),
                    },
                    active_tool: host.map(|lag| self.tool_at((ms - lag).max(0))),
                    tools: vec![heated; 2],
                    bed: None,
                }
            })
            .collect()
    }

    /// The same readings, with the place told as a share in so many steps and set points that go up and down with the work,
    /// as some hosts tell them.
    fn coarse(&self, host: Option<i64>, steps: u64) -> Vec<Reading> {
        let mut readings = self.readings(host);
        for reading in &mut readings {
            let byte = reading.job.byte.take().unwrap();
            let share = byte * steps / self.bytes * 1_000_000 / steps;
            reading.job.fraction_millionths = Some(u32::try_from(share).unwrap());
            for (idx, tool) in reading.tools.iter_mut().enumerate() {
                let is_at_work = idx == self.tool_at(reading.at.as_ms() - START);
                tool.target = CentiCelsius::nearest(if is_at_work { 210.0 } else { 110.0 });
            }
        }
        readings
    }

    /// The same job with every turn so many times as long.
    fn stretched(mut self, times: i64) -> Self {
        for (_, at, _) in &mut self.turns {
            *at *= times;
        }
        self.ends *= times;
        self
    }

    /// Changes of tool after the first poll whose tool is known, up to the last one: milliseconds and the new tool.
    fn changes(&self) -> Vec<(i64, usize)> {
        let last = (self.ends / POLL_MS - 1) * POLL_MS;
        let turns = self.turns.iter().skip(1).filter(|(_, began, _)| *began > POLL_MS && *began <= last);
        turns.map(|(tool, began, _)| (*began, *tool)).collect()
    }
}

/// The changes that the tracker tells: milliseconds from the start and the new tool.
fn told(motion: &Motion, host: Option<i64>) -> Vec<(i64, usize)> {
    follow(motion.readings(host), Some(&motion.file())).0
}

/// The changes that are told of these readings, and how often host and file are said to disagree.
fn follow(readings: Vec<Reading>, file: Option<&JobFile>) -> (Vec<(i64, usize)>, usize) {
    let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
    let (mut told, mut disagreed) = (Vec::new(), 0);
    for reading in readings {
        for effect in tracker.read(reading) {
            match effect {
                Effect::ToolChanged { at, to, .. } => told.push((at.as_ms() - START, to.idx())),
                Effect::ToolDisagreed { .. } => disagreed += 1,
                _ => {}
            }
        }
        if let Some(file) = file {
            tracker.plan(file);
        }
    }
    (told, disagreed)
}

/// Every change found within one poll, in order, and none besides.
fn all_found(motion: &Motion, told: &[(i64, usize)]) -> Result<(), TestCaseError> {
    let real = motion.changes();
    let tools = |changes: &[(i64, usize)]| changes.iter().map(|(_, tool)| *tool).collect::<Vec<_>>();
    prop_assert_eq!(tools(told), tools(&real), "{:?} told of {:?}", told, real);
    for ((found, _), (was, _)) in told.iter().zip(&real) {
        prop_assert!((found - was).abs() <= POLL_MS, "{} found at {}", was, found);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn every_change_is_found_by_the_file_alone(motion in motion(false), brief in motion(true)) {
        all_found(&motion, &told(&motion, None))?;
        all_found(&brief, &told(&brief, None))?;
    }

    #[test]
    fn every_change_is_found_beside_a_host_that_tells_its_tool(motion in motion(false), brief in motion(true)) {
        all_found(&motion, &told(&motion, Some(0)))?;
        all_found(&brief, &told(&brief, Some(0)))?;
    }

    /// Progress in percent, in tenths of one or in any other steps, in prints of one minute to two hours: the file takes
    /// nothing away of what the set points or the host tell, and makes nothing up.
    #[test]
    fn coarse_progress_loses_no_change_and_makes_none_up(
        motion in motion(false), times in 1_i64..30, steps in prop_oneof![Just(100_u64), Just(1000), 20_u64..5000],
    ) {
        let motion = motion.stretched(times);
        let real = motion.changes();
        // What comes in the last moment may still be to be told.
        let n_due = real.iter().filter(|(at, _)| at + 4 * POLL_MS < motion.ends).count();
        for host in [None, Some(0)] {
            let (told, disagreed) = follow(motion.coarse(host, steps), Some(&motion.file()));
            let tools = |changes: &[(i64, usize)]| changes.iter().map(|(_, tool)| *tool).collect::<Vec<_>>();
            prop_assert!(n_due <= told.len() && told.len() <= real.len(), "{} of {}", told.len(), real.len());
            prop_assert_eq!(tools(&told), tools(&real[..told.len()]), "{:?}", told);
            prop_assert_eq!(disagreed, 0);
            for ((found, _), (was, _)) in told.iter().zip(&real) {
                prop_assert!((found - was).abs() <= 4 * POLL_MS, "{} found at {}", was, found);
            }
        }
    }

    /// Neither host nor set points: whatever tool is told is at work there.
    #[test]
    fn coarse_progress_alone_makes_no_change_up(motion in motion(false), times in 1_i64..30, steps in 20_u64..5000) {
        let motion = motion.stretched(times);
        let mut readings = motion.coarse(None, steps);
        readings.iter_mut().flat_map(|reading| &mut reading.tools).for_each(|tool| tool.target = None);
        let (told, _) = follow(readings, Some(&motion.file()));
        for (found, to) in told {
            let was = (-4..=4).any(|polls| motion.tool_at((found + polls * POLL_MS).max(0)) == to);
            prop_assert!(was, "T{} at {}", to, found);
        }
    }

    /// However late the host is, a tool has at no time had more turns than the file has given it.
    #[test]
    fn a_host_that_lags_gets_no_visit_twice(
        motion in motion(false), brief in motion(true), lag in 100_i64..8000,
    ) {
        for motion in [motion, brief] {
            let told = told(&motion, Some(lag));
            for tool in 0..2 {
                for (nth, (at, _)) in told.iter().filter(|(_, to)| *to == tool).enumerate() {
                    let given = motion.turns.iter().skip(1).filter(|(of, began, _)| *of == tool && began <= at).count();
                    // Placing is true to one poll.
                    let soon = motion.turns.iter().skip(1).filter(|(of, began, _)| *of == tool && *began <= at + POLL_MS);
                    prop_assert!(nth < given.max(soon.count()), "T{} turn {} at {}: {:?}", tool, nth + 1, at, told);
                }
            }
        }
    }
}

/// Two hours, a change a minute, and a percent that takes 72 s.
#[test]
fn a_percent_of_two_hours_tells_neither_a_change_nor_a_disagreement() {
    let turn = |nth: u32| (usize::try_from(nth % 2).unwrap(), i64::from(nth) * 60_000, u64::from(nth) * 100_000);
    let motion = Motion { turns: (0..120).map(turn).collect(), ends: 7_200_000, bytes: 12_000_000, pace: 1.0 };
    for host in [None, Some(0)] {
        for steps in [100, 1000] {
            let told = |file| follow(motion.coarse(host, steps), file);
            let file = motion.file();
            assert_eq!(told(Some(&file)), told(None), "{host:?}, {steps} steps");
            assert_eq!(told(None), (motion.changes(), 0));
        }
    }
}
