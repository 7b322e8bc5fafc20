//! One history in arms: eight weeks that all have in common, then twelve each by its own advice, with the same chances.

use super::adviser::{Adviser, Asked};
use super::suggested::Suggested;
use super::taken::Taken;
use crate::worlds::catalogue::{Family, World};
use crate::worlds::course::{BEGINS_MS, Course};
use crate::worlds::history::Print;
use crate::worlds::round::in_turn;
use dwell_analysis::estimate::count;
use dwell_analysis::time::Timestamp;

/// Weeks before the first question.
const LEARNING: f64 = 8.0;
const WEEK_S: f64 = 7.0 * 86_400.0;

/// How long and how often advice is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Rhythm {
    /// Weeks after the learning.
    pub weeks: f64,
    /// Questions in each.
    pub asks_a_week: f64,
}

impl Rhythm {
    /// Twelve weeks, asked each; twice where liners wear, which in these worlds last about a week: whoever asks but once
    /// has them fail in between.
    #[must_use]
    pub fn whole(family: Family) -> Self {
        Self { weeks: 12.0, asks_a_week: if family == Family::Liner { 2.0 } else { 1.0 } }
    }

    /// All weeks there are.
    fn end(self) -> f64 {
        LEARNING + self.weeks
    }
}

/// What came of the weeks after the learning.
#[derive(Clone, Debug, Default)]
pub struct Weeks {
    /// Prints begun.
    pub prints: usize,
    /// Failures in the world's mode that the law expected, given all that was set and done.
    pub expected: f64,
    /// Those that there were.
    pub failed: usize,
    /// Whatever failed, in any mode: print, tool and mode.
    pub failures: Vec<(usize, usize, &'static str)>,
    /// Liners replaced before they had failed.
    pub replaced: usize,
    /// Taken up, week by week, again whenever it was said again.
    pub taken: Vec<Suggested>,
    /// What was advised and nobody knew how to do.
    pub unknown: Vec<String>,
}

/// A history in its three arms.
#[derive(Clone, Debug)]
pub struct Closed {
    /// The world's name.
    pub world: &'static str,
    /// Its family.
    pub family: Family,
    /// Of the history.
    pub seed: u64,
    /// Prints of the weeks of learning.
    pub learned_prints: usize,
    /// Habits going on.
    pub without: Weeks,
    /// By the advice that is judged.
    pub following: Weeks,
    /// By somebody who knows the law.
    pub oracle: Weeks,
}

/// A history to be closed into a loop.
#[derive(Clone, Copy, Debug)]
pub struct LoopTask<'a> {
    /// Whose.
    pub world: World,
    /// From which it is made.
    pub seed: u64,
    /// Whose advice is judged.
    pub adviser: Adviser<'a>,
    /// When.
    pub rhythm: Rhythm,
}

/// All of them, so many at a time; in the order of the tasks.
///
/// # Panics
/// If the program fails at one.
#[must_use]
pub fn closed_loops(tasks: &[LoopTask<'_>], at_once: usize) -> Vec<Closed> {
    in_turn(tasks, at_once, closed)
}

fn closed(task: &LoopTask<'_>) -> Closed {
    let mut course = Course::new(task.world, task.seed);
    let (mut learned, mut none) = (Vec::new(), Taken::default());
    let is_weekend = loop {
        let is_weekend = course.wait_for_next();
        if weeks(course.now()) >= LEARNING {
            break is_weekend;
        }
        let part = weeks(course.now()) / task.rhythm.end();
        learned.push(course.print(learned.len(), part, is_weekend, &mut none));
    };
    let arm = |adviser| {
        let asked = Asked::new(adviser, &task.world, &learned);
        Arm { course: course.clone(), asked, taken: Taken::default(), rhythm: task.rhythm }
            .run(learned.len(), is_weekend)
    };
    Closed {
        world: task.world.name,
        family: task.world.family,
        seed: task.seed,
        learned_prints: learned.len(),
        without: arm(Adviser::Nobody),
        following: arm(task.adviser),
        oracle: arm(Adviser::Law),
    }
}

struct Arm<'a> {
    course: Course,
    asked: Asked<'a>,
    taken: Taken,
    rhythm: Rhythm,
}

impl Arm<'_> {
    /// Asks before the first print of each week, or of each part of it.
    fn run(mut self, first: usize, mut is_weekend: bool) -> Weeks {
        let (mut weeks_after, mut asked_at) = (Weeks::default(), f64::NEG_INFINITY);
        for idx in first.. {
            self.course.draw_for(idx);
            if idx > first {
                is_weekend = self.course.wait_for_next();
            }
            let now = weeks(self.course.now());
            if now >= self.rhythm.end() {
                break;
            }
            let asks = ((now - LEARNING) * self.rhythm.asks_a_week).floor();
            if asks > asked_at {
                weeks_after.taken.extend(self.taken.take(self.asked.answer(self.course.now())));
                asked_at = asks;
            }
            let print = self.course.print(idx, now / self.rhythm.end(), is_weekend, &mut self.taken);
            weeks_after.add(idx, &print);
            self.asked.hear_of(&print);
        }
        self.taken.unknown().clone_into(&mut weeks_after.unknown);
        weeks_after
    }
}

impl Weeks {
    fn add(&mut self, idx: usize, print: &Print) {
        self.prints += 1;
        self.expected += print.runs.iter().map(|run| run.probability).sum::<f64>();
        self.failed += print.runs.iter().filter(|run| run.has_failed).count();
        self.failures.extend(print.failures.iter().map(|(tool, mode)| (idx, *tool, *mode)));
        let preventive = |part: &str, removed| part == "liner" && removed == Some("preventive");
        self.replaced += print.fitted.iter().filter(|fitted| preventive(fitted.part, fitted.removed)).count();
    }
}

/// Since the history began.
fn weeks(at: Timestamp) -> f64 {
    (at - Timestamp::from_ms(BEGINS_MS)).get() / WEEK_S
}

/// A number of prints a day over the weeks of learning.
#[must_use]
pub(super) fn prints_a_day(closed: &Closed) -> f64 {
    count(closed.learned_prints) / (LEARNING * 7.0)
}
