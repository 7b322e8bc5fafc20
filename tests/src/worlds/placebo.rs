//! The same history with what was said of one print said of another: nothing is left to learn.

use super::chance::Chance;
use super::history::History;
use super::words::Word;

/// How outcomes are torn from what brought them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placebo {
    /// Mixed among all prints.
    Shuffled,
    /// Told of the print seven later; only where [`super::World::is_memoryless`]. A liner's failure is told as
    /// `clean`, since the new liner that it brings is still there seven prints later.
    Shifted,
}

const SHIFT: usize = 7;

/// The history with its outcome lines torn off.
#[must_use]
pub fn without_link(history: &History, placebo: Placebo) -> History {
    let mut torn = history.clone();
    let mut words: Vec<_> = torn.prints.iter_mut().map(|print| std::mem::take(&mut print.words)).collect();
    match placebo {
        Placebo::Shuffled => Chance::new(history.seed, 9).shuffle(&mut words),
        Placebo::Shifted => {
            words.rotate_right(SHIFT);
            words.iter_mut().for_each(silent_on_liners);
        }
    }
    for (print, words) in torn.prints.iter_mut().zip(words) {
        print.words = words;
    }
    torn
}

fn silent_on_liners(words: &mut Vec<Word>) {
    let clean = words.first().map(|word| Word { tool: None, mode: "clean", severity: None, ..*word });
    words.retain(|word| word.mode != "liner");
    if words.is_empty() {
        words.extend(clean);
    }
}
