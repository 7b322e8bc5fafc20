//! The job's state: which value tells it, and what its words mean. By the words of general English, and by what the
//! printer does meanwhile.

use super::answers::Answers;
use super::certainty::Certainty;
use super::doings::{self, Doings, evidence, guess};
use super::flags::truths;
use super::leaf::{Leaf, Step, Way};
use super::meaning;
use super::proposal::{Kind, Place, Proposed};
use super::words;
use crate::entry::JobState;
use std::collections::BTreeMap;

/// The state, and the texts that it may be and that are not understood.
pub(super) struct Judged {
    pub(super) field: Option<Proposed>,
    pub(super) open_words: Vec<String>,
}

/// The most different texts of a state within a watch; more is a log or a clock.
const KINDS_MAX: usize = 8;
/// Longer texts are prose.
const WORD_CHARS_MAX: usize = 40;

/// Judges every value; `job` are those that are there with a job alone.
pub(super) fn judge(leaves: &[Leaf], heaters: &[usize], doings: &Doings, job: &[&Leaf], answers: &Answers) -> Judged {
    let is_heaters = |leaf: &Leaf| heaters.iter().any(|idx| shares_heater(&leaves[*idx], leaf));
    let mut candidates: Vec<(i32, &Leaf)> =
        leaves.iter().filter(|leaf| !is_heaters(leaf)).filter_map(|leaf| Some((points(leaf)?, leaf))).collect();
    candidates.retain(|(_, leaf)| !is_refuted(leaf, doings));
    for (points, leaf) in &mut candidates {
        *points += borne_out(leaf, doings);
    }
    candidates.sort_by_key(|(points, leaf)| (-points, leaf.steps.len()));
    if let Some(asked) = answers.leaf("state", leaves) {
        return told(asked, Certainty::Sure, "as answered".to_owned(), Vec::new(), doings, answers);
    }
    let flags = truths(leaves, heaters);
    // A host that only says that it is there, beside truth values for what it does.
    candidates.retain(|(_, leaf)| flags.is_none() || !says_only_that_it_is_there(leaf));
    if let Some((best, leaf)) = candidates.first().copied() {
        let rivals: Vec<&Leaf> =
            candidates.iter().skip(1).filter(|(points, _)| *points + 1 >= best).map(|(_, leaf)| *leaf).collect();
        let certainty = match best {
            6.. => Certainty::Sure,
            3.. => Certainty::Likely,
            _ => Certainty::Guess,
        };
        // The same word for nothing all the while may be of something else than the job.
        let is_idle =
            leaf.can_be.is_empty() && leaf.kinds().iter().all(|word| meaning::of(word) == Some(JobState::None));
        let certainty = if rivals.is_empty() && !is_idle { certainty } else { certainty.lower() };
        let others = candidates.iter().skip(1).take(3).map(|(_, leaf)| Place::of(leaf)).collect();
        let why = if leaf.can_be.is_empty() { "key words and its texts" } else { "key words and its description" };
        return told(leaf, certainty, why.to_owned(), others, doings, answers);
    }
    if let Some(field) = flags {
        return Judged { field: Some(field), open_words: Vec::new() };
    }
    if let Some(code) = leaves.iter().filter(|leaf| !is_heaters(leaf)).find(|leaf| doings::is_code(leaf, doings)) {
        let why = "a number that changes with what the printer does".to_owned();
        return told(code, Certainty::Guess, why, Vec::new(), doings, answers);
    }
    Judged { field: by_presence(job), open_words: Vec::new() }
}

/// Whether every text is one that a machine has as long as it is switched on.
fn says_only_that_it_is_there(leaf: &Leaf) -> bool {
    const THERE: &[&str] = &[
        "operational",
        "online",
        "ok",
        "ready",
        "available",
        "active",
        "on",
        "connected",
        "up",
        "enabled",
        "normal",
        "healthy",
        "good",
    ];
    leaf.kinds().iter().all(|word| words::split(word).iter().all(|word| THERE.contains(&word.as_str())))
}

/// A point for a text that the printer bears out, one less for one that it does not.
fn borne_out(leaf: &Leaf, doings: &Doings) -> i32 {
    let points = |word: &String| match (meaning::of(word), evidence(leaf, word, doings)) {
        (Some(said), Some(done)) if said == done => 1,
        (Some(JobState::Printing), Some(JobState::Heating)) => -1,
        _ => 0,
    };
    leaf.kinds().iter().map(points).sum::<i32>().clamp(-1, 1)
}

/// Whether it says that there is nothing to do while the job moves on.
fn is_refuted(leaf: &Leaf, doings: &Doings) -> bool {
    let says_nothing = |word: &String| meaning::of(word) == Some(JobState::None);
    let refutes = |word: &String| says_nothing(word) && evidence(leaf, word, doings) == Some(JobState::Printing);
    leaf.kinds().iter().any(refutes)
}

/// Whether a value belongs to a single heater, being in one object with its temperature.
pub(super) fn shares_heater(heater: &Leaf, leaf: &Leaf) -> bool {
    let parent = heater.parent();
    let is_nested = parent.len() > 1
        || parent.iter().any(|step| words::any(&step.words, words::TOOL) || words::any(&step.words, words::BED));
    // All that stands under one tool's name or place in a list is that tool's.
    let is_one_of_several = |step: &Step| match step.way {
        Way::Index(_) | Way::Named(..) => true,
        Way::Key(_) => step.words.len() > 1 && words::any(&step.words, words::TOOL),
        Way::Last => false,
    };
    let own = parent.iter().position(is_one_of_several).map(|at| &parent[..=at]);
    if heater.document == leaf.document && own.is_some_and(|own| leaf.steps.starts_with(own)) {
        return true;
    }
    heater.document == leaf.document
        && is_nested
        && leaf.steps.starts_with(parent)
        && !words::any(leaf.own(), words::JOB)
        && !parent
            .iter()
            .any(|step| words::any(&step.words, words::JOB) || words::any(&step.words, &["status", "state"]))
}

/// Points for being the job's state: by its words, by its texts.
fn points(leaf: &Leaf) -> Option<i32> {
    let own = leaf.spoken();
    let above = leaf.above();
    let texts = leaf.texts().filter(|_| leaf.series.is_none());
    let named = words::any(own, words::STATE);
    let coded = leaf.series.as_ref().is_some_and(|series| {
        // A code: a small whole number under a state's name.
        series.is_whole()
            && series.suffix.is_none()
            && (0.0..=99.0).contains(&series.min())
            && series.max() <= 99.0
            && words::any(own, &["state", "status", "phase", "stage", "mood", "condition", "activity", "mode"])
    });
    if leaf.is_container
        || leaf.is_naming()
        || (texts.is_none() && !coded)
        || words::any(own, words::NOT_JOB)
        || words::any(&above, words::NOT_JOB)
    {
        return None;
    }
    let texts = texts.unwrap_or_default();
    let is_prose = texts
        .iter()
        .any(|text| text.chars().count() > WORD_CHARS_MAX || text.contains(['/', '\n']) || has_ending(text));
    if texts.len() > KINDS_MAX || is_prose {
        return None;
    }
    let all: Vec<&String> = texts.iter().chain(&leaf.can_be).collect();
    let understood = all.iter().filter(|text| meaning::of(text).is_some()).count();
    let is_understood = !texts.is_empty() && texts.iter().all(|text| meaning::of(text).is_some());
    let told = words::any(&leaf.told, words::STATE) && words::any(&leaf.told, words::JOB);
    if !named && !is_understood && !told {
        return None;
    }
    let by_name = if words::any(own, &["state", "status", "phase", "stage"]) { 3 } else { i32::from(named) * 2 };
    let by_place = i32::from(words::any(&above, words::JOB) || words::any(own, words::JOB));
    let by_texts = if is_understood { 2 } else { 0 };
    let by_list = i32::from(leaf.can_be.len() >= 3 && understood >= 3);
    let moved = i32::from(texts.len() > 1 && is_understood);
    let vague = i32::from(
        texts.iter().all(|text| matches!(text.to_lowercase().as_str(), "ok" | "online" | "on" | "connected")),
    ) * 3;
    let deep = i32::from(leaf.steps.len() > 4);
    let unnamed = if named || told { 0 } else { 2 };
    // A code has nothing but its name.
    let bare = if coded { 2 } else { 0 };
    Some(by_name + by_place + by_texts + by_list + moved - vague - deep - unnamed - bare + i32::from(told))
}

fn has_ending(text: &str) -> bool {
    text.rsplit_once('.')
        .is_some_and(|(name, ending)| !name.is_empty() && (1..=5).contains(&ending.len()) && !ending.contains(' '))
}

fn told(
    leaf: &Leaf,
    certainty: Certainty,
    why: String,
    alternatives: Vec<Place>,
    doings: &Doings,
    answers: &Answers,
) -> Judged {
    let mut table: BTreeMap<String, JobState> = BTreeMap::new();
    let mut open = Vec::new();
    let mut certainty = certainty;
    let seen = leaf.kinds();
    let listed = leaf.can_be.iter().filter(|text| !seen.contains(text));
    for word in seen.iter().chain(listed) {
        if let Some(state) = answers.word(word) {
            table.insert(word.clone(), state);
            continue;
        }
        let done = evidence(leaf, word, doings);
        match (meaning::of(word), done) {
            (Some(state), done) => {
                let is_against = done.is_some_and(|done| !agree(state, done));
                if is_against || (!meaning::is_plain(word) && done != Some(state)) {
                    certainty = certainty.min(Certainty::Likely);
                }
                // A plain word counts over a number that seems to move with the job.
                table.insert(word.clone(), state);
            }
            (None, Some(state)) => {
                certainty = certainty.min(Certainty::Likely);
                table.insert(word.clone(), state);
            }
            (None, None) => {
                // A configuration with a word missing would not run: better a guess that is called one.
                if seen.contains(word) {
                    certainty = Certainty::Guess;
                    table.insert(word.clone(), guess(leaf, word, doings));
                }
                certainty = certainty.min(Certainty::Likely);
                open.push(word.clone());
            }
        }
    }
    let mut place = Place::of(leaf).with_words(table.iter().map(|(word, state)| (word.clone(), state.word())));
    if leaf.goes_missing {
        place = place.with("absent", JobState::None.word());
    }
    Judged {
        field: Some(Proposed { kind: Kind::State, places: vec![place], certainty, why, alternatives }),
        open_words: open,
    }
}

/// A word and what is seen need not be the same: a paused printer's heater may be far from its set point too.
fn agree(word: JobState, done: JobState) -> bool {
    match done {
        JobState::Printing => matches!(word, JobState::Printing | JobState::Heating),
        JobState::None
        | JobState::Heating
        | JobState::Paused
        | JobState::Completed
        | JobState::Cancelled
        | JobState::Failed => true,
    }
}

/// A host without a word for its state: the job is there or not.
fn by_presence(job: &[&Leaf]) -> Option<Proposed> {
    let leaf = job.first()?;
    let place = Place::of(leaf).with("absent", JobState::None.word()).with("other", JobState::Printing.word());
    let certainty = if leaf.goes_missing { Certainty::Likely } else { Certainty::Guess };
    Some(Proposed {
        kind: Kind::State,
        places: vec![place],
        certainty,
        why: "no word for the state was found; a job is there or not".to_owned(),
        alternatives: job.iter().skip(1).take(3).map(|leaf| Place::of(leaf)).collect(),
    })
}
