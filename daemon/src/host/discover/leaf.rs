//! Every value of every document over the watch: where it stands, how a configuration would select it, and the words
//! around it. Must not: judge what it means.

use super::found::{Found, Hint, HintForm, Snapshot};
use super::naming::{End, Header, constant, headers, labels, naming_key, newest};
use super::path;
use super::series::Series;
use super::words;
use serde_json::Value;

/// One value over the watch.
#[derive(Clone, Debug, Default)]
pub(super) struct Leaf {
    /// Index of its document.
    pub(super) document: usize,
    /// The words of its document's name from the first on that names a part of a printer: `hotends 0`.
    pub(super) about: Vec<String>,
    /// As the configuration selects it.
    pub(super) path: String,
    /// JSON Pointer at the newest snapshot.
    pub(super) pointer: String,
    /// From the document's root to it.
    pub(super) steps: Vec<Step>,
    /// One a snapshot; `None`: not there. An object is there as an empty one.
    pub(super) values: Vec<Option<Value>>,
    /// At some moment its document came without it, or with null in its place. A document that did not come says
    /// nothing of what is in it.
    pub(super) goes_missing: bool,
    /// Its values as numbers, if they are.
    pub(super) series: Option<Series>,
    /// Texts beside or above it that name a unit, nearest first.
    pub(super) units: Vec<String>,
    /// Words that a description has for it.
    pub(super) told: Vec<String>,
    /// Its unit, as a description has it.
    pub(super) form: Option<HintForm>,
    /// Every text that it can be, as a description has it.
    pub(super) can_be: Vec<String>,
    /// Whether it is an object now and then.
    pub(super) is_container: bool,
}

/// One step of a path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Step {
    /// How it is taken.
    pub(super) way: Way,
    /// The words of the key, and of the texts beside it that name the thing.
    pub(super) words: Vec<String>,
}

/// How a step is taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// Into an object.
    Key(String),
    /// Into a list, by place.
    Index(usize),
    /// Into a list, to its last item.
    Last,
    /// Into a list of objects, to the one that has this value at that key.
    Named(String, Value),
}

/// A longer list is a history or a table, not the parts of a printer.
const ITEMS_MAX: usize = 16;
/// More values than this are no state of a printer; the rest is not looked at.
const LEAVES_MAX: usize = 4000;
/// Deeper documents are not looked into.
const DEPTH_MAX: usize = 12;

impl Leaf {
    /// The words of its own key; of the list's for an item of a list.
    pub(super) fn own(&self) -> &[String] {
        let own = self.steps.iter().rev().find(|step| matches!(step.way, Way::Key(_)));
        // A document that is one value has no key but its name.
        own.map_or(if self.steps.is_empty() { &self.about } else { &[] }, |step| &step.words)
    }

    /// The words that name it: its own key's, or those above a key that says only that a value is there.
    pub(super) fn spoken(&self) -> &[String] {
        const BARE: &[&str] = &[
            "text",
            "name",
            "value",
            "label",
            "word",
            "description",
            "caption",
            "string",
            "is",
            "now",
            "current",
            "v",
            "vs",
            "kind",
            "type",
            "code",
            "number",
            "reading",
        ];
        let own = self.own();
        let above = self.parent().last().map_or(own, |step| step.words.as_slice());
        if own.len() == 1 && words::any(own, BARE) && !above.is_empty() { above } else { own }
    }

    /// The words of the whole path.
    pub(super) fn words(&self) -> Vec<String> {
        let bare = if self.steps.is_empty() { self.about.as_slice() } else { &[] };
        bare.iter().chain(self.steps.iter().flat_map(|step| &step.words)).cloned().collect()
    }

    /// The words of the path above its own key.
    pub(super) fn above(&self) -> Vec<String> {
        let own = self.steps.iter().rposition(|step| matches!(step.way, Way::Key(_))).unwrap_or(0);
        let above = self.steps.iter().enumerate().filter(|(idx, _)| *idx != own);
        above.flat_map(|(_, step)| step.words.iter().cloned()).collect()
    }

    /// The values that were there and not null.
    pub(super) fn there(&self) -> impl DoubleEndedIterator<Item = &Value> {
        self.values.iter().flatten().filter(|value| !value.is_null())
    }

    /// Different texts, in the order in which they came, if every value that was there is a text.
    pub(super) fn texts(&self) -> Option<Vec<String>> {
        let mut texts: Vec<String> = Vec::new();
        for value in self.there() {
            let text = value.as_str()?;
            if !texts.iter().any(|known| known == text) {
                texts.push(text.to_owned());
            }
        }
        (!texts.is_empty()).then_some(texts)
    }

    /// Different words, numbers and truth values as JSON writes them, in the order in which they came.
    pub(super) fn kinds(&self) -> Vec<String> {
        let mut kinds: Vec<String> = Vec::new();
        for value in self.there() {
            let word = word_of(value);
            if !kinds.contains(&word) {
                kinds.push(word);
            }
        }
        kinds
    }

    /// Whether its value is what the items of its list are told apart by.
    pub(super) fn is_naming(&self) -> bool {
        let last = self.steps.last().map(|step| &step.way);
        let is_own = |key: &String| matches!(last, Some(Way::Key(own)) if own == key);
        self.steps.iter().any(|step| matches!(&step.way, Way::Named(key, _) if is_own(key)))
    }

    /// The words for yes and no, if it is a truth value all the while.
    pub(super) fn truth(&self) -> Option<(String, String)> {
        const PAIRS: [(&str, &str); 6] =
            [("true", "false"), ("1", "0"), ("yes", "no"), ("on", "off"), ("y", "n"), ("True", "False")];
        let kinds = self.kinds();
        let is_pair = |(yes, no): &&(&str, &str)| {
            let is_one = |kind: &String| kind == yes || kind == no;
            !kinds.is_empty() && kinds.iter().all(is_one)
        };
        PAIRS.iter().find(is_pair).map(|(yes, no)| ((*yes).to_owned(), (*no).to_owned()))
    }

    /// The steps as a key to compare paths by.
    pub(super) fn parent(&self) -> &[Step] {
        self.steps.split_last().map_or(&[], |(_, above)| above)
    }
}

/// A value as the configuration's words have it.
pub(super) fn word_of(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// Every value of every document.
pub(super) fn leaves(found: &Found, snapshots: &[Snapshot]) -> Vec<Leaf> {
    let mut leaves = Vec::new();
    for document in 0..found.documents.len() {
        let values: Vec<Option<&Value>> =
            snapshots.iter().map(|snapshot| snapshot.documents.get(document).and_then(Option::as_ref)).collect();
        let hints = &found.documents[document].hints;
        let mut walk = Walk {
            document,
            hints,
            steps: Vec::new(),
            pointer: Vec::new(),
            units: Vec::new(),
            headers: Vec::new(),
            out: Vec::new(),
        };
        walk.value(&values);
        let name = &found.documents[document].name;
        let about = about(name);
        for leaf in &mut walk.out {
            leaf.about = if leaf.steps.is_empty() { words::split(name) } else { about.clone() };
            leaf.series = Series::of(&leaf.values);
            let told = values.iter().zip(&leaf.values).filter(|(document, _)| document.is_some());
            leaf.goes_missing = told.into_iter().any(|(_, value)| value.as_ref().is_none_or(Value::is_null));
            take_hints(leaf, &found.documents[document].hints);
        }
        leaves.append(&mut walk.out);
    }
    super::kin::join(&mut leaves);
    leaves
}

fn about(name: &str) -> Vec<String> {
    let names = [words::TOOL, words::BED, words::ELSEWHERE];
    let said = words::split(name);
    let first = said.iter().position(|word| word.len() > 1 && names.iter().any(|list| words::is_one(word, list)));
    first.map_or_else(Vec::new, |first| said.into_iter().skip(first).collect())
}

fn take_hints(leaf: &mut Leaf, hints: &[Hint]) {
    for hint in hints.iter().filter(|hint| hint.pointer == leaf.pointer) {
        leaf.told.extend(hint.words.iter().flat_map(|text| words::split(text)));
        leaf.form = leaf.form.or(hint.form);
        leaf.can_be.extend(hint.values.iter().cloned());
    }
}

struct Walk<'f> {
    document: usize,
    hints: &'f [Hint],
    steps: Vec<Step>,
    pointer: Vec<String>,
    units: Vec<String>,
    /// Lists of names beside the value at hand.
    headers: Vec<Header>,
    out: Vec<Leaf>,
}

impl Walk<'_> {
    fn value(&mut self, values: &[Option<&Value>]) {
        if self.out.len() >= LEAVES_MAX || self.steps.len() > DEPTH_MAX {
            return;
        }
        let objects = values.iter().flatten().any(|value| value.is_object());
        let lists = values.iter().flatten().any(|value| value.is_array());
        let is_root = objects && self.steps.is_empty();
        if !(lists || is_root) {
            self.leaf(values, objects);
        }
        if objects {
            self.object(values);
        }
        if lists {
            self.list(values);
        }
    }

    fn leaf(&mut self, values: &[Option<&Value>], is_container: bool) {
        let flat =
            |value: &Value| if value.is_object() { Value::Object(serde_json::Map::new()) } else { value.clone() };
        self.out.push(Leaf {
            document: self.document,
            path: path::of(&self.steps),
            pointer: path::pointer(&self.pointer),
            steps: self.steps.clone(),
            values: values.iter().map(|value| value.map(flat)).collect(),
            units: self.units.iter().rev().cloned().collect(),
            is_container,
            ..Leaf::default()
        });
    }

    fn object(&mut self, values: &[Option<&Value>]) {
        let mut keys: Vec<&String> = Vec::new();
        for map in values.iter().flatten().filter_map(|value| value.as_object()) {
            keys.extend(map.keys().filter(|key| !keys.contains(key)).collect::<Vec<_>>());
        }
        // The order of an object's members has no meaning (RFC 8259, section 4), and must make no difference here.
        keys.sort_unstable();
        let get = |key: &str| values.iter().map(|value| value.and_then(|value| value.get(key))).collect::<Vec<_>>();
        let units_above = self.units.len();
        for key in &keys {
            let key_words = words::split(key);
            let names_unit = words::any(&key_words, &["unit", "uom"]) || key_words == ["u"] || key_words == ["in"];
            self.units
                .extend(constant(&get(key)).filter(|_| names_unit).and_then(|unit| Some(unit.as_str()?.to_owned())));
        }
        let headers_above = std::mem::take(&mut self.headers);
        let members: Vec<Vec<Option<&Value>>> = keys.iter().map(|key| get(key)).collect();
        let beside = headers(&members);
        for (key, below) in keys.into_iter().zip(members) {
            self.headers.clone_from(&beside);
            let mut words = words::split(key);
            // A key that says nothing, as `p1`, is what its description says it is.
            if !words
                .iter()
                .any(|word| word.chars().count() > 1 && words::is_known(word) && word.parse::<u8>().is_err())
            {
                let described = self.described(key);
                words = if described.is_empty() { words } else { described };
            }
            words.extend(labels(&below));
            self.step(Step { way: Way::Key(key.clone()), words }, key.clone(), &below);
        }
        self.units.truncate(units_above);
        self.headers = headers_above;
    }

    /// The words, as far as they are of the trade, that a description has for a key of the object at hand.
    fn described(&self, key: &str) -> Vec<String> {
        let mut keys = self.pointer.clone();
        keys.push(key.to_owned());
        let pointer = path::pointer(&keys);
        let texts = self.hints.iter().filter(|hint| hint.pointer == pointer).flat_map(|hint| &hint.words);
        let mut words: Vec<String> = Vec::new();
        for word in texts.flat_map(|text| words::split(text)).filter(|word| words::is_known(word)) {
            if !words.contains(&word) {
                words.push(word);
            }
        }
        words
    }

    fn list(&mut self, values: &[Option<&Value>]) {
        let lists: Vec<&Vec<Value>> = values.iter().flatten().filter_map(|value| value.as_array()).collect();
        let longest = lists.iter().map(|list| list.len()).max().unwrap_or(0);
        let naming = naming_key(&lists);
        if let Some(end) = newest(&lists).filter(|_| naming.is_none()) {
            self.newest(values, end);
            return;
        }
        // A list of named things may be long: each has its own place. Others of that length are histories.
        if longest > ITEMS_MAX && naming.is_none() {
            return;
        }
        let Some(key) = naming else {
            let are_rows = lists.iter().flat_map(|list| list.iter()).any(Value::is_array);
            let fits = |header: &Header| header.names.len() == longest && !(are_rows && header.are_columns);
            // Names that are given to rows are not their values' as well.
            let headers = self.headers.clone();
            let names = self.headers.iter().position(fits).map(|at| self.headers.remove(at).names);
            for idx in 0..longest {
                let below: Vec<Option<&Value>> =
                    values.iter().map(|value| value.and_then(|value| value.get(idx))).collect();
                let mut words = names.as_ref().and_then(|names| names.get(idx)).cloned().unwrap_or_default();
                words.extend(labels(&below));
                self.step(Step { way: Way::Index(idx), words }, idx.to_string(), &below);
            }
            self.headers = headers;
            return;
        };
        let mut ids: Vec<&Value> = Vec::new();
        for id in lists.iter().flat_map(|list| list.iter()).filter_map(|item| item.get(&key)) {
            if !ids.contains(&id) {
                ids.push(id);
            }
        }
        for id in ids {
            let place = |value: &&Value| value.as_array()?.iter().position(|item| item.get(&key) == Some(id));
            let below: Vec<Option<&Value>> =
                values.iter().map(|value| value.as_ref().and_then(|value| value.get(place(value)?))).collect();
            let newest = values.iter().rev().flatten().find_map(place).unwrap_or(0);
            let mut words = words::split(&word_of(id));
            words.extend(labels(&below).into_iter().filter(|word| !words.contains(word)).collect::<Vec<_>>());
            self.step(Step { way: Way::Named(key.clone(), id.clone()), words }, newest.to_string(), &below);
        }
    }

    /// Of a history the newest item alone.
    fn newest(&mut self, values: &[Option<&Value>], end: End) {
        let item = |value: &Value| match end {
            End::First => Some(0),
            End::Last => value.as_array()?.len().checked_sub(1),
        };
        let below: Vec<Option<&Value>> =
            values.iter().map(|value| value.and_then(|value| value.get(item(value)?))).collect();
        let place = values.iter().rev().flatten().find_map(|value| item(value)).unwrap_or(0);
        let way = if end == End::First { Way::Index(0) } else { Way::Last };
        self.step(Step { way, words: Vec::new() }, place.to_string(), &below);
    }

    fn step(&mut self, step: Step, pointer: String, below: &[Option<&Value>]) {
        self.steps.push(step);
        self.pointer.push(pointer);
        self.value(below);
        self.pointer.pop();
        self.steps.pop();
    }
}
