//! What names the things of a document: keys that hold names, lists of names beside lists of values, rows of a table;
//! and which item of a history is the newest. Must not: judge what a named value means.

use super::{meaning, words};
use serde_json::Value;
use std::collections::BTreeSet;

/// Longer texts are prose, not names.
const LABEL_CHARS_MAX: usize = 32;

/// Keys whose values name the thing that they stand in.
#[rustfmt::skip]
const NAMING: &[&str] = &[
    "id", "name", "key", "seat", "label", "role", "slot", "side", "where", "place", "which", "title", "number",
    "index", "no", "nr", "n", "tag", "ident", "identifier", "code", "location", "part", "tool", "heater", "kind",
    "zone", "idx", "designation", "site", "spot", "called", "what", "type", "channel", "at",
];

/// The one value that stood there all the time.
pub(super) fn constant<'v>(values: &[Option<&'v Value>]) -> Option<&'v Value> {
    let mut there = values.iter().copied().flatten();
    let first = there.next()?;
    there.all(|other| other == first).then_some(first)
}

/// The words of the texts in an object that name it.
pub(super) fn labels(values: &[Option<&Value>]) -> Vec<String> {
    if values.iter().flatten().any(|value| value.is_array()) {
        return row_label(values);
    }
    let Some(map) = values.iter().flatten().find_map(|value| value.as_object()) else { return Vec::new() };
    let keys = map.keys().filter(|key| words::split(key).iter().all(|word| words::is_one(word, NAMING)));
    let texts = keys.filter_map(|key| {
        constant(&values.iter().map(|value| value.and_then(|value| value.get(key))).collect::<Vec<_>>())?.as_str()
    });
    // A name with a point in it is a file's.
    texts.filter(|text| text.len() <= LABEL_CHARS_MAX && !text.contains('.')).flat_map(words::split).collect()
}

/// The key whose values tell the items of the list apart, now and at each snapshot.
pub(super) fn naming_key(lists: &[&Vec<Value>]) -> Option<String> {
    let first = lists.iter().find(|list| !list.is_empty())?;
    let mut keys: Vec<&String> = first.first()?.as_object()?.keys().collect();
    keys.sort_by_key(|key| naming_rank(key));
    keys.into_iter().find(|key| names_all(key, lists)).cloned()
}

fn naming_rank(key: &str) -> usize {
    let words = words::split(key);
    NAMING.iter().position(|naming| words.iter().any(|word| word == naming)).unwrap_or(NAMING.len())
}

fn names_all(key: &str, lists: &[&Vec<Value>]) -> bool {
    let is_naming = words::split(key).iter().any(|word| words::is_one(word, NAMING));
    let mut sets: Vec<BTreeSet<String>> = Vec::new();
    let mut is_telling = false;
    for list in lists {
        let mut set = BTreeSet::new();
        for item in *list {
            let fits = match item.get(key) {
                Some(Value::String(text)) => {
                    is_telling |= tells(text);
                    !text.is_empty() && text.chars().count() <= LABEL_CHARS_MAX
                }
                Some(Value::Number(number)) => is_naming && number.as_i64().is_some(),
                _ => false,
            };
            if !fits || !set.insert(item.get(key).map(ToString::to_string).unwrap_or_default()) {
                return false;
            }
        }
        sets.push(set);
    }
    // Who is in use and who is parked are no names: they change hands.
    let is_doing = |text: &String| {
        let said = words::split(text);
        let named = said.iter().any(|word| words::side(word).is_some() || word.parse::<u8>().is_ok());
        !named && (meaning::of(text).is_some() || words::any(&said, words::AT_WORK))
    };
    if sets.iter().flatten().all(is_doing) {
        return false;
    }
    let stays = sets.windows(2).all(|pair| pair[0] == pair[1]);
    is_naming || (stays && is_telling)
}

/// The words of the texts in a row that name it: `["nozzle 1", 209.8, 210]`.
fn row_label(values: &[Option<&Value>]) -> Vec<String> {
    let longest = values.iter().flatten().filter_map(|value| value.as_array()).map(Vec::len).max().unwrap_or(0);
    let item = |idx: usize| values.iter().map(|value| value.and_then(|value| value.get(idx))).collect::<Vec<_>>();
    let texts: Vec<&str> = (0..longest).filter_map(|idx| constant(&item(idx))?.as_str()).collect();
    // A row of nothing but texts is a list of names.
    if texts.len() == longest {
        return Vec::new();
    }
    texts.into_iter().filter(|text| tells(text)).flat_map(words::split).collect()
}

/// Whether a text names a part of a printer.
fn tells(text: &str) -> bool {
    let words = words::split(text);
    let lists = [words::TOOL, words::BED, words::ELSEWHERE];
    let is_named = lists.iter().any(|list| words::any(&words, list));
    text.chars().count() <= LABEL_CHARS_MAX && (is_named || words.iter().any(|word| words::side(word).is_some()))
}

/// The names that a list has for the items of the lists beside it, in order.
#[derive(Clone, Debug)]
pub(super) struct Header {
    pub(super) names: Vec<Vec<String>>,
    /// How many name parts of a printer, or what is measured of them.
    weight: usize,
    /// Whether they name what is measured, as the columns of a table do.
    pub(super) are_columns: bool,
}

/// Every list of names among the members of an object; those whose names tell more come first.
pub(super) fn headers(members: &[Vec<Option<&Value>>]) -> Vec<Header> {
    let mut headers: Vec<Header> = members.iter().filter_map(|values| header(values)).collect();
    headers.sort_by_key(|header| std::cmp::Reverse(header.weight));
    headers
}

fn header(values: &[Option<&Value>]) -> Option<Header> {
    let list = constant(values)?.as_array().filter(|list| list.len() >= 2)?;
    let texts: Vec<&str> = list.iter().map(Value::as_str).collect::<Option<_>>()?;
    let is_short = texts.iter().all(|text| !text.is_empty() && text.chars().count() <= LABEL_CHARS_MAX);
    let are_different = texts.iter().collect::<BTreeSet<_>>().len() == texts.len();
    let measures = |text: &&&str| {
        let roles = [words::ACTUAL, words::TARGET, words::DUTY, words::TEMPERATURE];
        roles.iter().any(|list| words::any(&words::split(text), list))
    };
    let weight = texts.iter().filter(|text| tells(text) || measures(text)).count();
    let are_columns = texts.iter().any(|text| measures(&text));
    let names = texts.iter().map(|text| words::split(text)).collect();
    (is_short && are_different).then_some(Header { names, weight, are_columns })
}

/// Which end of a history is the newest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    First,
    Last,
}

/// Fewer shifts may be chance.
const SHIFTS_MIN: usize = 3;

/// The newest end, if the items are one thing at several times: their times are in order, or each moves on by a place
/// when a new one comes.
pub(super) fn newest(lists: &[&Vec<Value>]) -> Option<End> {
    by_times(lists).or_else(|| by_shifts(lists))
}

fn by_times(lists: &[&Vec<Value>]) -> Option<End> {
    const AGE: &[&str] = &["age", "ago", "old", "before", "back"];
    #[rustfmt::skip]
    const TIME: &[&str] = &[
        "time", "timestamp", "stamp", "second", "sec", "clock", "instant", "when", "at", "t", "ts", "date", "moment",
        "uptime", "tick", "epoch", "ms",
    ];
    let longest = lists.iter().copied().max_by_key(|list| list.len()).filter(|list| list.len() >= 2)?;
    let ends = longest.first()?.as_object()?.keys().filter_map(|key| {
        let words = words::split(key);
        let is_age = words::any(&words, AGE);
        if !is_age && !words::any(&words, TIME) {
            return None;
        }
        let of = |list: &&Vec<Value>| order(&list.iter().map(|item| item.get(key)).collect::<Vec<_>>());
        let orders: Option<BTreeSet<bool>> = lists.iter().filter(|list| list.len() >= 2).map(of).collect();
        let rises = orders.filter(|orders| orders.len() == 1)?.into_iter().next()?;
        Some(if rises == is_age { End::First } else { End::Last })
    });
    let mut ends: Vec<End> = ends.collect();
    ends.dedup();
    if let [end] = ends.as_slice() { Some(*end) } else { None }
}

/// Whether the times rise from the first item to the last, or fall; `None` when neither.
fn order(times: &[Option<&Value>]) -> Option<bool> {
    let time = |value: Option<&Value>| match value {
        Some(Value::Number(number)) => number.as_f64(),
        Some(Value::String(text)) => {
            let parsed: jiff::Timestamp = text.parse().ok()?;
            Some(parsed.as_duration().as_secs_f64())
        }
        _ => None,
    };
    let times: Vec<f64> = times.iter().copied().map(time).collect::<Option<_>>()?;
    let rises = times.windows(2).all(|pair| pair[1] > pair[0]);
    let falls = times.windows(2).all(|pair| pair[1] < pair[0]);
    (rises || falls).then_some(rises)
}

fn by_shifts(lists: &[&Vec<Value>]) -> Option<End> {
    let changed: Vec<_> = lists.windows(2).filter(|pair| pair[0] != pair[1] && pair[0].len() >= 3).collect();
    let is_moved = |older: &[Value], newer: &[Value]| older.len() == newer.len() && older == newer;
    let first = |pair: &&&[&Vec<Value>]| {
        let (older, newer) = (pair[0], pair[1]);
        newer.get(1..).is_some_and(|newer| older.get(..newer.len()).is_some_and(|older| is_moved(older, newer)))
    };
    let last = |pair: &&&[&Vec<Value>]| {
        let (older, newer) = (pair[0], pair[1]);
        let grown = newer.len().saturating_sub(older.len());
        let from = usize::from(grown == 0);
        older.get(from..).is_some_and(|older| newer.get(..older.len()).is_some_and(|newer| is_moved(older, newer)))
    };
    let are_all = |count: usize| count == changed.len() && count >= SHIFTS_MIN;
    let (by_first, by_last) = (changed.iter().filter(first).count(), changed.iter().filter(last).count());
    match (are_all(by_first), are_all(by_last)) {
        (true, false) => Some(End::First),
        (false, true) => Some(End::Last),
        (_, _) => None,
    }
}
