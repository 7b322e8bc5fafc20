//! Truth values with a state's name: `printing = true`. Owns which of them counts first. Must not: look at texts that
//! name a state.

use super::certainty::Certainty;
use super::leaf::Leaf;
use super::meaning;
use super::proposal::{Kind, Place, Proposed};
use super::state::shares_heater;
use super::words;
use crate::entry::JobState;

/// Whether it may be a truth value of a state. A bare 0 or 1 may count something, unless its name is what a printer does.
fn is_flag(leaf: &Leaf) -> bool {
    let is_doing = |word: &String| word.ends_with("ing") || word.ends_with("ed") || word == "busy" || word == "idle";
    leaf.truth().is_some() && (leaf.series.is_none() || leaf.own().iter().any(is_doing))
}

/// Truth values with a state's name, the most telling first.
pub(super) fn truths(leaves: &[Leaf], heaters: &[usize]) -> Option<Proposed> {
    let rank = |state: JobState| match state {
        JobState::Failed => 0,
        JobState::Cancelled => 1,
        JobState::Paused => 2,
        JobState::Heating => 3,
        JobState::Printing => 4,
        JobState::Completed => 5,
        JobState::None => 6,
    };
    let mut found: Vec<(JobState, &Leaf)> = leaves
        .iter()
        .filter(|leaf| is_flag(leaf) && !heaters.iter().any(|idx| shares_heater(&leaves[*idx], leaf)))
        .filter(|leaf| {
            !words::any(leaf.own(), words::NOT_JOB)
                && !words::any(&leaf.above(), words::NOT_JOB)
                && !words::any(leaf.own(), words::TOOL)
        })
        .filter_map(|leaf| Some((meaning::of(&leaf.own().join(" "))?, leaf)))
        .collect();
    found.sort_by_key(|(state, leaf)| (rank(*state), leaf.steps.len()));
    let printing = found.iter().filter(|(state, _)| *state == JobState::Printing).count();
    if printing == 0 {
        return None;
    }
    let place = |(state, leaf): &(JobState, &Leaf)| {
        let (yes, no) = leaf.truth().unwrap_or_default();
        let mut words = vec![(yes, state.word())];
        // Reached only when nothing before it was true.
        if *state == JobState::Printing && !found.iter().any(|(state, _)| rank(*state) > rank(JobState::Printing)) {
            words.push((no, JobState::None.word()));
        }
        Place::of(leaf).with_words(words)
    };
    let mut places: Vec<Place> = found.iter().map(place).collect();
    let last = found.last().map(|(state, _)| *state);
    if last.is_some_and(|last| rank(last) > rank(JobState::Printing))
        && let (Some(place), Some((state, leaf))) = (places.last_mut(), found.last())
    {
        let (yes, no) = leaf.truth().unwrap_or_default();
        let words = [(yes, state.word()), (no, JobState::None.word())];
        *place = Place::of(leaf).with_words(words);
    }
    // Without one for heating and one for the end, "not printing" may be either.
    let has = |wanted: JobState| found.iter().any(|(state, _)| *state == wanted);
    let is_whole = printing == 1 && has(JobState::Heating) && has(JobState::Completed);
    let certainty = if is_whole { Certainty::Likely } else { Certainty::Guess };
    Some(Proposed {
        kind: Kind::State,
        places,
        certainty,
        why: "truth values with a state's name".to_owned(),
        alternatives: Vec::new(),
    })
}
