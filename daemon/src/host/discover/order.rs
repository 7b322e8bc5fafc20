//! Which hot end is T0. Owns the reasons for an order and how far each carries.

use super::certainty::Certainty;
use super::heat::Heater;
use super::leaf::{Leaf, Way};
use super::words;

/// Tools in their order.
#[derive(Clone, Debug)]
pub(super) struct Ordered {
    pub(super) tools: Vec<Heater>,
    /// The number that the host's own words give each, if they do.
    pub(super) numbers: Vec<Option<u64>>,
    /// What tells each from the others.
    pub(super) labels: Vec<Vec<String>>,
    pub(super) certainty: Certainty,
    pub(super) why: String,
}

/// Puts the tools in order.
pub(super) fn order(leaves: &[Leaf], tools: &[Heater]) -> Ordered {
    let labels = labels(leaves, tools);
    let numbers: Vec<Option<u64>> = labels.iter().map(|label| number(label)).collect();
    let sides: Vec<Option<usize>> = labels.iter().map(|label| side(label)).collect();
    let letters: Vec<Option<usize>> = labels.iter().map(|label| letter(label)).collect();
    let places: Vec<Option<usize>> = tools.iter().map(|tool| list_place(leaves, tool)).collect();
    let by = |keys: Vec<usize>, certainty: Certainty, why: &str| {
        let mut idx: Vec<usize> = (0..tools.len()).collect();
        idx.sort_by_key(|idx| keys[*idx]);
        Ordered {
            tools: idx.iter().map(|idx| tools[*idx].clone()).collect(),
            numbers: idx.iter().map(|idx| numbers[*idx]).collect(),
            labels: idx.iter().map(|idx| labels[*idx].clone()).collect(),
            certainty,
            why: why.to_owned(),
        }
    };
    if tools.len() < 2 {
        return by(vec![0; tools.len()], Certainty::Sure, "the only hot end");
    }
    if let Some(keys) = numbered(&numbers) {
        return by(keys, Certainty::Sure, "by the numbers in the keys");
    }
    let told: Vec<Option<usize>> =
        numbers.iter().map(|number| number.and_then(|number| usize::try_from(number).ok())).collect();
    if let Some(keys) = all_different(&told) {
        return by(keys, Certainty::Likely, "by the numbers in the keys, which begin elsewhere");
    }
    if let Some(keys) = all_different(&places) {
        return by(keys, Certainty::Likely, "by place in the list");
    }
    if let Some(keys) = all_different(&sides) {
        return by(keys, Certainty::Likely, "left, front or first is taken for T0");
    }
    if let Some(keys) = all_different(&letters) {
        return by(keys, Certainty::Likely, "by letter");
    }
    by((0..tools.len()).collect(), Certainty::Guess, "nothing tells which one is T0")
}

/// Numbers that follow each other; the first may go without.
fn numbered(numbers: &[Option<u64>]) -> Option<Vec<usize>> {
    let bare = numbers.iter().filter(|number| number.is_none()).count();
    let mut known: Vec<u64> = numbers.iter().flatten().copied().collect();
    known.sort_unstable();
    let runs = known.windows(2).all(|pair| pair[0] + 1 == pair[1]);
    let first = known.first().copied()?;
    let fits = match bare {
        0 => first <= 1,
        1 => (1..=2).contains(&first),
        _ => false,
    };
    let keys = numbers.iter().map(|number| usize::try_from(number.unwrap_or(first.saturating_sub(1))).ok());
    (runs && fits).then(|| keys.collect()).flatten()
}

fn all_different(keys: &[Option<usize>]) -> Option<Vec<usize>> {
    let keys: Vec<usize> = keys.iter().copied().collect::<Option<_>>()?;
    let mut sorted = keys.clone();
    sorted.sort_unstable();
    sorted.dedup();
    (sorted.len() == keys.len()).then_some(keys)
}

/// For each tool the words of its path that the other tools' paths do not have.
pub(super) fn labels(leaves: &[Leaf], tools: &[Heater]) -> Vec<Vec<String>> {
    let places: Vec<Vec<String>> = tools.iter().map(|tool| tool.place(leaves)).collect();
    let is_common = |word: &String| places.iter().all(|place| place.contains(word));
    places
        .iter()
        .map(|place| place.iter().filter(|word| places.len() == 1 || !is_common(word)).cloned().collect())
        .collect()
}

fn number(label: &[String]) -> Option<u64> {
    label.iter().rev().find_map(|word| word.parse().ok())
}

fn side(label: &[String]) -> Option<usize> {
    label.iter().find_map(|word| Some(words::ORDER.get(words::side(word)?)?.1))
}

fn letter(label: &[String]) -> Option<usize> {
    label.iter().rev().find_map(|word| {
        let mut chars = word.chars();
        let first = chars.next().filter(char::is_ascii_lowercase)?;
        chars.next().is_none().then(|| usize::from(u8::try_from(first).unwrap_or(u8::MAX)))
    })
}

fn list_place(leaves: &[Leaf], tool: &Heater) -> Option<usize> {
    tool.leaf(leaves)?.steps.iter().rev().find_map(|step| match step.way {
        Way::Index(idx) => Some(idx),
        Way::Key(_) | Way::Named(..) | Way::Last => None,
    })
}
