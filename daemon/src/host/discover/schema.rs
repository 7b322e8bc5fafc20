//! Hints from a schema: the JSON Schema of an `OpenAPI` document, the data schema of a Thing Description.
//! Owns how far a schema is followed; must not take an open list of texts for a closed one, or guess a unit.

use super::description::{members, plain, texts};
use super::found::{Hint, HintForm};
use super::unit;
use serde_json::{Map, Value};

/// From a document down to a value of it. `tools[0].nozzle.temperature.actual` is five down; references and
/// alternatives count as well, so that circles end.
const DEPTH_MAX: usize = 16;

/// Places of a schema that are visited: far over what a document of a host's state has, and soon walked.
const VISITS_MAX: usize = 2_000;

/// Elements of a list that get the hints of its items: more tools than a printer has.
const ITEMS_MAX: usize = 16;

/// Hints of one document.
const HINTS_MAX: usize = 1_000;

/// A description's first sentences; some hold a manual.
const WORDS_CHARS_MAX: usize = 300;

/// What a schema says of one place.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Said {
    steps: Vec<Step>,
    hint: Hint,
}

/// One step down into a document.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Step {
    Key(String),
    Item(usize),
    EachItem,
    /// Every member but those that have a place of their own.
    EachMember {
        but: Vec<String>,
    },
}

/// What `schema`, a part of the description `root`, says of a value called `name`.
pub(super) fn said(root: &Value, schema: &Value, name: Option<&str>) -> Vec<Said> {
    let mut walk = Walk { root, visits_left: VISITS_MAX, said: Vec::new() };
    walk.place(schema, &[], name, DEPTH_MAX);
    walk.said
}

/// What is said of a document's member, as said of the member's own document.
pub(super) fn under(key: &str, said: &[Said]) -> Vec<Said> {
    let beneath = |said: &Said| {
        let mut steps = vec![Step::Key(key.to_owned())];
        steps.extend_from_slice(&said.steps);
        Said { steps, hint: said.hint.clone() }
    };
    said.iter().map(beneath).collect()
}

/// Adds words that are said of the whole document.
pub(super) fn add_words<'w>(said: &mut Vec<Said>, words: impl Iterator<Item = &'w str>) {
    let words: Vec<String> = words.map(plain_words).filter(|word| !word.is_empty()).collect();
    if words.is_empty() {
        return;
    }
    match said.iter_mut().find(|said| said.steps.is_empty()) {
        Some(whole) => whole.hint.words.splice(0..0, words).for_each(drop),
        None => said.insert(0, Said { steps: Vec::new(), hint: Hint { words, ..Hint::default() } }),
    }
}

/// The hints for a document that came: lists and maps are told of each element that is there.
pub(super) fn hints(said: &[Said], document: &Value) -> Vec<Hint> {
    let mut hints: Vec<Hint> = Vec::new();
    for said in said {
        for pointer in pointers(&said.steps, Some(document)) {
            if hints.len() == HINTS_MAX {
                return hints;
            }
            hints.push(Hint { pointer, ..said.hint.clone() });
        }
    }
    hints
}

/// Whether any value is said to be a temperature.
pub(super) fn says_a_temperature(said: &[Said]) -> bool {
    said.iter().any(|said| matches!(said.hint.form, Some(HintForm::Temperature(_))))
}

/// Every word that is said.
pub(super) fn words(said: &[Said]) -> impl Iterator<Item = &str> {
    said.iter().flat_map(|said| said.hint.words.iter().map(String::as_str))
}

fn pointers(steps: &[Step], value: Option<&Value>) -> Vec<String> {
    let Some((step, rest)) = steps.split_first() else { return vec![String::new()] };
    let below = |token: &str, value| {
        let token = token.replace('~', "~0").replace('/', "~1");
        pointers(rest, value).into_iter().map(move |pointer| format!("/{token}{pointer}")).collect::<Vec<_>>()
    };
    match step {
        // A member that is not there now may come: a job's name while nothing is printed.
        Step::Key(key) => below(key, value.and_then(|value| value.get(key))),
        Step::Item(idx) => below(&idx.to_string(), value.and_then(|value| value.get(idx))),
        Step::EachItem => {
            let items = value.and_then(Value::as_array).into_iter().flatten().take(ITEMS_MAX).enumerate();
            items.flat_map(|(idx, item)| below(&idx.to_string(), Some(item))).collect()
        }
        Step::EachMember { but } => {
            let others = members(value).into_iter().filter(|(key, _)| !but.contains(key)).take(ITEMS_MAX);
            others.flat_map(|(key, member)| below(key, Some(member))).collect()
        }
    }
}

struct Walk<'d> {
    root: &'d Value,
    visits_left: usize,
    said: Vec<Said>,
}

impl Walk<'_> {
    /// A place of its own: its texts are asked of the whole schema that stands there.
    fn place(&mut self, schema: &Value, steps: &[Step], name: Option<&str>, depth: usize) {
        let values = self.closed_texts(schema, DEPTH_MAX).unwrap_or_default();
        let name = name.map(str::to_owned);
        self.add(steps, Hint { words: name.into_iter().collect(), values, ..Hint::default() });
        self.visit(schema, steps, depth);
    }

    /// One of the schemas that hold at a place.
    fn visit(&mut self, schema: &Value, steps: &[Step], depth: usize) {
        let (Some(visits), Some(depth)) = (self.visits_left.checked_sub(1), depth.checked_sub(1)) else { return };
        self.visits_left = visits;
        let Value::Object(schema) = schema else { return };
        self.add(steps, own_words(schema));
        for other in also(self.root, schema) {
            self.visit(other, steps, depth);
        }
        for branch in ["anyOf", "oneOf"].iter().flat_map(|key| list(schema, key)) {
            self.visit(branch, steps, depth);
        }
        self.beneath(schema, steps, depth);
    }

    fn beneath(&mut self, schema: &Map<String, Value>, steps: &[Step], depth: usize) {
        let down = |step: Step| [steps, &[step]].concat();
        let properties = schema.get("properties").and_then(Value::as_object);
        for (key, property) in members(schema.get("properties")) {
            self.place(property, &down(Step::Key(key.clone())), Some(key), depth);
        }
        if let Some(member @ Value::Object(_)) = schema.get("additionalProperties") {
            let but = properties.into_iter().flat_map(Map::keys).cloned().collect();
            self.place(member, &down(Step::EachMember { but }), None, depth);
        }
        match schema.get("items") {
            Some(Value::Array(items)) => self.items(items, steps, depth),
            Some(item @ Value::Object(_)) => self.place(item, &down(Step::EachItem), None, depth),
            _ => {}
        }
        if let Some(Value::Array(items)) = schema.get("prefixItems") {
            self.items(items, steps, depth);
        }
    }

    fn items(&mut self, items: &[Value], steps: &[Step], depth: usize) {
        for (idx, item) in items.iter().enumerate() {
            self.place(item, &[steps, &[Step::Item(idx)]].concat(), None, depth);
        }
    }

    /// Every text that a value can be; `None` when it can be any.
    fn closed_texts(&mut self, schema: &Value, depth: usize) -> Option<Vec<String>> {
        self.visits_left = self.visits_left.checked_sub(1)?;
        let depth = depth.checked_sub(1)?;
        let schema = schema.as_object()?;
        if let Some(only) = schema.get("const") {
            return Some(only.as_str().map(str::to_owned).into_iter().collect());
        }
        if schema.contains_key("enum") {
            return Some(list(schema, "enum").filter_map(Value::as_str).map(str::to_owned).collect());
        }
        for key in ["oneOf", "anyOf"].into_iter().filter(|key| schema.contains_key(*key)) {
            let branches: Option<Vec<_>> = list(schema, key).map(|branch| self.closed_texts(branch, depth)).collect();
            if let Some(branches) = branches {
                return Some(branches.concat());
            }
        }
        if let Some(closed) = also(self.root, schema).find_map(|other| self.closed_texts(other, depth)) {
            return Some(closed);
        }
        let kinds = texts(schema.get("type"));
        (!kinds.is_empty() && !kinds.contains(&"string")).then(Vec::new)
    }

    /// Joins what is said of one place.
    fn add(&mut self, steps: &[Step], hint: Hint) {
        let Some(there) = self.said.iter_mut().find(|said| said.steps == steps) else {
            if hint != Hint::default() {
                self.said.push(Said { steps: steps.to_vec(), hint });
            }
            return;
        };
        for word in hint.words {
            if !there.hint.words.contains(&word) {
                there.hint.words.push(word);
            }
        }
        there.hint.form = there.hint.form.or(hint.form);
        if there.hint.values.is_empty() {
            there.hint.values = hint.values;
        }
    }
}

/// What a schema says in so many words.
fn own_words(schema: &Map<String, Value>) -> Hint {
    let text = |key: &str| schema.get(key).and_then(Value::as_str);
    let kinds = texts(schema.get("@type"));
    let words: Vec<String> =
        ["title", "description"].into_iter().filter_map(text).chain(kinds).map(plain_words).collect();
    // JSON Schema has no unit; the Thing Description's word for it is the one that most borrow.
    let told = text("unit").or_else(|| text("x-unit"));
    let form = told.and_then(unit::form).or_else(|| words.iter().find_map(|words| unit::named_in(words)));
    Hint { words: words.into_iter().filter(|word| !word.is_empty()).collect(), form, ..Hint::default() }
}

/// Words of a description, short enough to be shown beside a value.
fn plain_words(words: &str) -> String {
    plain(words, WORDS_CHARS_MAX)
}

/// Schemas that hold as well: what is referred to, and each of `allOf`.
fn also<'d>(root: &'d Value, schema: &'d Map<String, Value>) -> impl Iterator<Item = &'d Value> {
    referred(root, schema).into_iter().chain(list(schema, "allOf"))
}

/// What `$ref` means, if it is a part of the same description.
pub(super) fn referred<'d>(root: &'d Value, schema: &Map<String, Value>) -> Option<&'d Value> {
    let pointer = schema.get("$ref")?.as_str()?.strip_prefix('#')?;
    // RFC 6901, section 6: in a fragment the pointer is percent-encoded.
    root.pointer(&unescaped(pointer))
}

fn unescaped(text: &str) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('%') {
        bytes.extend_from_slice(before.as_bytes());
        let byte = after.get(..2).and_then(|digits| u8::from_str_radix(digits, 16).ok());
        bytes.push(byte.unwrap_or(b'%'));
        rest = if byte.is_some() { after.get(2..).unwrap_or_default() } else { after };
    }
    bytes.extend_from_slice(rest.as_bytes());
    String::from_utf8_lossy(&bytes).into_owned()
}

fn list<'d>(schema: &'d Map<String, Value>, key: &str) -> impl Iterator<Item = &'d Value> {
    schema.get(key).and_then(Value::as_array).into_iter().flatten()
}

#[cfg(test)]
mod tests;
