//! Many histories made, told to the program and judged, some at a time.

use super::catalogue::World;
use super::history::History;
use super::judge::{Verdict, judged};
use super::placebo::{Placebo, without_link};
use super::program::said_of;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Prints of a history.
pub const PRINTS: usize = 240;

/// A history to judge.
#[derive(Clone, Copy, Debug)]
pub struct Task {
    /// Whose.
    pub world: World,
    /// From which it is made.
    pub seed: u64,
    /// How its outcomes are torn off, if they are.
    pub placebo: Option<Placebo>,
}

/// Judges them all, so many at a time; in the order of the tasks.
///
/// # Panics
/// If the program fails at one.
#[must_use]
pub fn verdicts(program: &Path, tasks: &[Task], at_once: usize) -> Vec<Verdict> {
    in_turn(tasks, at_once, |task| verdict(program, task))
}

/// Does the same with each, so many at a time; what came of them in their order.
pub(super) fn in_turn<T: Sync, R: Send>(tasks: &[T], at_once: usize, one: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    thread::scope(|scope| {
        for _ in 0..at_once {
            scope.spawn(|| {
                loop {
                    let idx = next.fetch_add(1, Ordering::Relaxed);
                    let Some(task) = tasks.get(idx) else { break };
                    let result = one(task);
                    done.lock().unwrap().push((idx, result));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap();
    done.sort_by_key(|(idx, _)| *idx);
    done.into_iter().map(|(_, result)| result).collect()
}

fn verdict(program: &Path, task: &Task) -> Verdict {
    let mut history = History::new(task.world, task.seed, PRINTS);
    if let Some(placebo) = task.placebo {
        history = without_link(&history, placebo);
    }
    judged(&history, &said_of(program, &history.journal()))
}
