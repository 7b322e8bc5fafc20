//! Values of one thing that are told apart: flat keys that share a number or a description, and items of two lists of
//! which one names the other. Must not: judge which of them is measured.

use super::leaf::{Leaf, Step, Way};
use super::pair::place;
use super::words;
use serde_json::Value;

/// Letters that tell one heater from another, as `t a` and `t b`.
const LETTERS_MAX: char = 'f';

/// Whether two values of one object, a temperature and a set point, speak of the same heater.
pub(super) fn are_kin(actual: &Leaf, target: &Leaf) -> bool {
    let is_beside = actual.document == target.document
        && actual.steps.len() == target.steps.len()
        && actual.parent() == target.parent();
    // A property of its own document has no path.
    let are_whole = actual.steps.is_empty() && target.steps.is_empty();
    if !(is_beside || are_whole) {
        return false;
    }
    let (a, t) = (place(actual), place(target));
    let (mine, theirs) = (marks(&a), marks(&t));
    let (kinds, other_kinds) = (kinds(actual, &a), kinds(target, &t));
    let is_told = !actual.told.is_empty() && !target.told.is_empty();
    if is_told && !kinds.is_empty() && kinds == other_kinds {
        // `nozzle 0` beside `target 0`, both described as the left nozzle's; one description may leave the side out.
        let (side, other_side) = (marks(&actual.told), marks(&target.told));
        let are_alike = side == other_side || !mine.is_empty() && (side.is_empty() || other_side.is_empty());
        return mine == theirs && are_alike;
    }
    // `nozzle 0` beside `target 0`: nothing but the number is left of one of them.
    let is_bare = |place: &[String]| place.iter().all(is_mark);
    let is_one_kind = kinds == other_kinds || kinds.is_empty() || other_kinds.is_empty();
    !mine.is_empty() && mine == theirs && is_one_kind && (is_bare(&a) || is_bare(&t))
}

/// Numbers, letters and sides, which tell one heater from another of its kind.
fn marks(said: &[String]) -> Vec<String> {
    let mut marks: Vec<String> = said.iter().filter(|word| is_mark(word)).cloned().collect();
    marks.sort_unstable();
    marks.dedup();
    marks
}

fn is_mark(word: impl AsRef<str>) -> bool {
    let word = word.as_ref();
    let mut chars = word.chars();
    let is_letter = chars.next().is_some_and(|first| ('a'..=LETTERS_MAX).contains(&first)) && chars.next().is_none();
    is_letter || word.parse::<u8>().is_ok() || words::side(word).is_some()
}

/// What is heated, by the path and the description: 0 a hot end, 1 the bed, 2 something else.
fn kinds(leaf: &Leaf, place: &[String]) -> Vec<usize> {
    let said: Vec<String> =
        place.iter().chain(&leaf.told).filter(|word| word.len() > 1 || *word == "t").cloned().collect();
    let lists = [words::TOOL, words::BED, words::ELSEWHERE];
    (0..lists.len()).filter(|idx| words::any(&said, lists[*idx])).collect()
}

/// An item of a list that names an item of another list is that item's: both get its words.
pub(super) fn join(leaves: &mut [Leaf]) {
    join_namesakes(leaves);
    let links: Vec<(usize, Vec<Step>, Vec<String>)> = leaves.iter().filter_map(|leaf| link(leaves, leaf)).collect();
    for (document, above, said) in &links {
        // An item with two references is no one's.
        let is_only = links.iter().filter(|(other, steps, _)| other == document && steps == above).count() == 1;
        let at = above.len() - 1;
        for leaf in leaves.iter_mut().filter(|leaf| is_only && leaf.document == *document) {
            if leaf.steps.len() > at && leaf.steps.starts_with(above) {
                leaf.steps[at].words.clone_from(said);
            }
        }
    }
}

/// An item with no name but its identifier has the words of the one item of another list with the same identifier.
fn join_namesakes(leaves: &mut [Leaf]) {
    let mut named: Vec<(usize, Vec<Step>)> = Vec::new();
    for leaf in leaves.iter() {
        for at in (0..leaf.steps.len()).filter(|at| identifier(&leaf.steps[*at]).is_some()) {
            let item = (leaf.document, leaf.steps[..=at].to_vec());
            if !named.contains(&item) {
                named.push(item);
            }
        }
    }
    for leaf in leaves {
        for at in 0..leaf.steps.len() {
            let Some(id) = identifier(&leaf.steps[at]).filter(|id| leaf.steps[at].words == words::split(id)) else {
                continue;
            };
            let mut others = named.iter().filter(|(document, steps)| {
                let other = steps.last();
                let is_namesake =
                    other.and_then(identifier) == Some(id) && steps[..steps.len() - 1] != leaf.steps[..at];
                *document == leaf.document
                    && is_namesake
                    && other.is_some_and(|step| step.words != leaf.steps[at].words)
            });
            if let (Some((_, steps)), None) = (others.next(), others.next())
                && let Some(other) = steps.last()
            {
                leaf.steps[at].words.clone_from(&other.words);
            }
        }
    }
}

fn identifier(step: &Step) -> Option<&str> {
    if let Way::Named(_, Value::String(id)) = &step.way { Some(id) } else { None }
}

/// The document, the item that holds a name of another, and the other's words.
fn link(leaves: &[Leaf], leaf: &Leaf) -> Option<(usize, Vec<Step>, Vec<String>)> {
    let item = leaf.parent();
    let is_item = matches!(item.last()?.way, Way::Named(..) | Way::Index(_));
    let texts = leaf.texts()?;
    let [text] = texts.as_slice() else { return None };
    let named = |other: &Leaf| {
        let at =
            other.steps.iter().position(|step| matches!(&step.way, Way::Named(_, Value::String(id)) if id == text))?;
        (other.steps[..at] != item[..item.len() - 1]).then(|| other.steps[at].words.clone())
    };
    let mut found: Vec<Vec<String>> =
        leaves.iter().filter(|other| other.document == leaf.document).filter_map(named).collect();
    found.dedup();
    let said = found.pop().filter(|_| found.is_empty())?;
    (is_item && !leaf.is_naming()).then(|| (leaf.document, item.to_vec(), said))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::super::found::{Found, FoundDocument, Hint, Snapshot};
    use super::super::leaf::leaves;
    use super::*;
    use crate::host::Address;
    use dwell_analysis::units::Seconds;
    use serde_json::json;

    fn of(name: &str, body: Value, described: &[(&str, &str)]) -> Vec<Leaf> {
        let hint = |(pointer, text): &(&str, &str)| Hint {
            pointer: (*pointer).to_owned(),
            words: vec![(*text).to_owned()],
            form: None,
            values: Vec::new(),
        };
        let document = FoundDocument {
            name: name.to_owned(),
            address: Address::parse("http://127.0.0.1:9/").unwrap(),
            origin: "given".to_owned(),
            hints: described.iter().map(hint).collect(),
        };
        let found = Found { documents: vec![document], ..Found::default() };
        leaves(&found, &[Snapshot { after: Seconds::new(0.0), documents: vec![Some(body)] }])
    }

    fn at<'l>(leaves: &'l [Leaf], pointer: &str) -> &'l Leaf {
        leaves.iter().find(|leaf| leaf.pointer == pointer).unwrap()
    }

    #[test]
    fn flat_keys_of_one_number_are_one_heaters_and_those_of_another_kind_or_number_are_not() {
        let body = json!({"nozzle0": 1, "nozzle1": 1, "target0": 1, "chamberTarget0": 1, "target": 1, "wantedB": 1,
                          "hotEndB": 1});
        let flat = of("values", body, &[]);
        let are = |one: &str, other: &str| are_kin(at(&flat, one), at(&flat, other));
        assert!(are("/nozzle0", "/target0") && are("/hotEndB", "/wantedB"));
        assert!(!are("/nozzle1", "/target0") && !are("/nozzle0", "/wantedB"));
        assert!(!are("/nozzle0", "/target") && !are("/nozzle0", "/chamberTarget0"));
    }

    #[test]
    fn descriptions_tell_heaters_apart_where_keys_do_not() {
        let said = [
            ("/p", "Measured temperature of the left nozzle"),
            ("/q", "Target temperature of the left nozzle"),
            ("/r", "Target temperature of the right nozzle"),
            ("/s", "Target temperature of the bed"),
        ];
        let told = of("values", json!({"p": 1, "q": 1, "r": 1, "s": 1}), &said);
        let are = |one: &str, other: &str| are_kin(at(&told, one), at(&told, other));
        assert!(are("/p", "/q") && !are("/p", "/r") && !are("/p", "/s"));
    }

    #[test]
    fn an_item_that_names_one_of_another_list_has_its_words_and_one_with_two_names_keeps_its_own() {
        let body = json!({
            "sensors": [{"id": "a7", "name": "nozzle 1", "v": 1}, {"id": "a8", "name": "bed", "v": 1}],
            "heaters": [{"id": "h1", "sensor": "a8", "set": 1}, {"id": "h2", "sensor": "a7", "spare": "a8", "set": 1}],
        });
        let lists = of("values", body, &[]);
        assert_eq!(place(at(&lists, "/heaters/0/set")), place(at(&lists, "/sensors/1/v")));
        assert!(!place(at(&lists, "/heaters/1/set")).iter().any(|word| word == "nozzle" || word == "bed"));
    }

    #[test]
    fn items_of_one_identifier_in_two_lists_are_one_heaters() {
        let body = json!({
            "sensors": [{"id": "k1", "name": "nozzle 1", "v": 1}, {"id": "k2", "name": "bed", "v": 1}],
            "heaters": [{"id": "k2", "set": 1}, {"id": "k1", "set": 1}],
        });
        let lists = of("values", body, &[]);
        assert_eq!(place(at(&lists, "/heaters/0/set")), place(at(&lists, "/sensors/1/v")));
        assert_ne!(place(at(&lists, "/heaters/1/set")), place(at(&lists, "/sensors/1/v")));
    }
}
