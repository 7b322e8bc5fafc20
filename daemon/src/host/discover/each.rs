//! A truth value or a word of each tool's own that tells whether it is the one at work. Must not: look at values that
//! stand for all tools.

use super::certainty::Certainty;
use super::leaf::{Leaf, Step, Way, word_of};
use super::order::Ordered;
use super::pair;
use super::proposal::Place;
use super::tool::Candidate;
use super::words;
use serde_json::Value;

/// Texts of a tool that is at work, where each tool has a word of its own.
const WORKING: &[&str] = &[
    "active",
    "printing",
    "working",
    "busy",
    "engaged",
    "extruding",
    "laying",
    "selected",
    "used",
    "use",
    "work",
    "running",
];

/// A truth value or a word of each tool's own: `active = true`.
pub(super) fn of_each(leaves: &[Leaf], ordered: &Ordered) -> Vec<Candidate> {
    let mut candidates: Vec<Candidate> = Vec::new();
    let first = leaves.iter().filter(|leaf| leaf.truth().is_some() || leaf.texts().is_some());
    for leaf in first {
        let Some(own) = leaf.steps.last().filter(|step| matches!(step.way, Way::Key(_))) else { continue };
        let alike: Vec<&Leaf> =
            (0..ordered.tools.len()).filter_map(|tool| own_of(leaves, ordered, tool, own, leaf.document)).collect();
        if alike.len() != ordered.tools.len() || !std::ptr::eq(alike[0], leaf) {
            continue;
        }
        candidates.extend(each(&alike, words::any(&own.words, words::AT_WORK)));
    }
    candidates
}

fn own_of<'l>(leaves: &'l [Leaf], ordered: &Ordered, tool: usize, own: &Step, document: usize) -> Option<&'l Leaf> {
    let label = &ordered.labels[tool];
    // A flat key names its tool itself.
    let bare = |step: &Step| {
        let labels = ordered.labels.iter().flatten();
        let is_label = |word: &&String| labels.clone().any(|label| *label == words::singular(word));
        step.words.iter().filter(|word| !is_label(word)).cloned().collect::<Vec<_>>()
    };
    let mut fits = leaves.iter().filter(|leaf| {
        let place = pair::place(leaf);
        let of_tool = !label.is_empty() && label.iter().all(|word| place.contains(word));
        let of_other =
            ordered.labels.iter().enumerate().any(|(other, label)| {
                other != tool && !label.is_empty() && label.iter().all(|word| place.contains(word))
            });
        let is_namesake = leaf.steps.last().is_some_and(|step| step.way == own.way || bare(step) == bare(own));
        leaf.document == document && is_namesake && of_tool && !of_other
    });
    fits.next().filter(|_| fits.next().is_none())
}

fn each(alike: &[&Leaf], is_named: bool) -> Option<Candidate> {
    let is_truth = alike.iter().all(|leaf| leaf.truth().is_some());
    let yes: Vec<String> = alike.iter().filter_map(|leaf| leaf.truth()).map(|(yes, _)| yes).collect();
    let at_work = |value: &Value| match value {
        value if is_truth => yes.contains(&word_of(value)),
        Value::String(text) => words::any(&words::split(text), WORKING),
        _ => false,
    };
    let snapshots = alike.iter().map(|leaf| leaf.values.len()).max()?;
    let mut tools = Vec::with_capacity(snapshots);
    for snapshot in 0..snapshots {
        let on = |leaf: &&Leaf| leaf.values.get(snapshot).and_then(Option::as_ref).is_some_and(at_work);
        let working: Vec<usize> = (0..alike.len()).filter(|tool| on(&alike[*tool])).collect();
        if working.len() > 1 {
            return None;
        }
        tools.push(working.first().copied());
    }
    if tools.iter().all(Option::is_none) || (is_truth && !is_named) {
        return None;
    }
    let mut texts: Vec<String> =
        alike.iter().flat_map(|leaf| leaf.there()).filter(|value| at_work(value)).map(word_of).collect();
    texts.sort_unstable();
    texts.dedup();
    let place = |(tool, leaf): (usize, &&Leaf)| {
        Place::of(leaf).with_words(texts.iter().map(|text| (text.clone(), i64::try_from(tool).unwrap_or(0))))
    };
    let why = if is_truth { "a truth value of each tool" } else { "a word of each tool" }.to_owned();
    let places = alike.iter().enumerate().map(place).collect();
    Some(Candidate {
        places,
        tools,
        words: if is_named || !is_truth { 2 } else { 1 },
        reading: Certainty::Sure,
        is_mute: false,
        why,
    })
}
