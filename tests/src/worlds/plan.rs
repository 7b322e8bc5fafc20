//! One print before it runs: which tool is at work when, and how the waiting one is kept.

use super::chance::Chance;

/// A tool at work for some time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turn {
    pub(super) tool: usize,
    pub(super) seconds: f64,
}

/// A print as it would run if nothing came between.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) turns: Vec<Turn>,
    /// The waiting tool is heated for its turn this long before it, s.
    pub(super) ahead_s: f64,
    /// A tool stays cold until its first turn.
    pub(super) cold_until_first: bool,
    /// A tool is switched off after its last turn.
    pub(super) off_after_last: bool,
    /// A pause: from, for so long, s of the print's time.
    pub(super) pause: Option<(f64, f64)>,
}

impl Plan {
    /// A print of about this median length, minutes.
    pub(super) fn new(median_min: f64, chance: &mut Chance) -> Self {
        let seconds = 60.0 * chance.around(median_min, 0.45).clamp(median_min / 2.5, median_min * 3.5);
        let first = usize::from(chance.happens(0.4));
        let turns = match chance.unit() {
            x if x < 0.40 => long_waits(first, seconds, chance),
            x if x < 0.67 => alternating(first, seconds, chance),
            x if x < 0.87 => short_visits(first, seconds, chance),
            x if x < 0.96 => vec![turn(1 - first, seconds * 0.15), turn(first, seconds * 0.85)],
            _ => vec![turn(first, seconds)],
        };
        let pause_from = seconds * chance.between(0.1, 0.9);
        let pause_for = chance.between(30.0, 240.0);
        Self {
            turns,
            ahead_s: chance.between(15.0, 45.0),
            cold_until_first: chance.happens(0.25),
            off_after_last: chance.happens(0.5),
            pause: chance.happens(0.04).then_some((pause_from, pause_for)),
        }
    }

    /// Its length, s.
    pub(super) fn seconds(&self) -> f64 {
        self.turns.iter().map(|turn| turn.seconds).sum()
    }

    /// The tool at work at an instant of its time.
    pub(super) fn at_work(&self, at_s: f64) -> usize {
        let mut left = at_s;
        for turn in &self.turns {
            if left < turn.seconds {
                return turn.tool;
            }
            left -= turn.seconds;
        }
        self.turns[self.turns.len() - 1].tool
    }

    /// How long until a tool's next turn, s; none if it has no more.
    pub(super) fn until_turn(&self, tool: usize, at_s: f64) -> Option<f64> {
        let mut begins = 0.0;
        for turn in &self.turns {
            if turn.tool == tool && begins + turn.seconds > at_s {
                return Some((begins - at_s).max(0.0));
            }
            begins += turn.seconds;
        }
        None
    }

    /// Whether a tool's first turn has begun.
    pub(super) fn has_worked(&self, tool: usize, at_s: f64) -> bool {
        let mut begins = 0.0;
        for turn in &self.turns {
            if turn.tool == tool {
                return begins <= at_s;
            }
            begins += turn.seconds;
        }
        false
    }
}

fn turn(tool: usize, seconds: f64) -> Turn {
    Turn { tool, seconds }
}

/// Few long turns: each tool waits for a good part of the print.
fn long_waits(first: usize, seconds: f64, chance: &mut Chance) -> Vec<Turn> {
    let n = chance.whole(2, 5);
    split(first, n, seconds, 0.6, chance)
}

/// Turns all of about the same length.
fn alternating(first: usize, seconds: f64, chance: &mut Chance) -> Vec<Turn> {
    let n = chance.whole(6, 20);
    split(first, n, seconds, 0.3, chance)
}

/// One tool works, the other comes for seconds now and then.
fn short_visits(first: usize, seconds: f64, chance: &mut Chance) -> Vec<Turn> {
    let n = chance.whole(2, 6);
    let between = split(first, n + 1, seconds, 0.4, chance);
    let visit_s = chance.between(12.0, 40.0);
    let mut turns = Vec::new();
    for long in between {
        turns.push(turn(first, long.seconds));
        turns.push(turn(1 - first, visit_s));
    }
    turns
}

/// So many turns in so many seconds, of lengths around the mean by factors of this deviation.
fn split(first: usize, n: usize, seconds: f64, deviation: f64, chance: &mut Chance) -> Vec<Turn> {
    let shares: Vec<f64> = (0..n).map(|_| chance.around(1.0, deviation)).collect();
    let total: f64 = shares.iter().sum();
    shares.iter().enumerate().map(|(i, share)| turn((first + i) % 2, seconds * share / total)).collect()
}
