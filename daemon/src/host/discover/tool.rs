//! Which value tells the tool at work: its number, its name, or a truth value of its own. Checked against the set
//! points, since the tool at work is the one that is asked to be hottest.

use super::at_work::{cools_what_is_left, hottest, only_hot};
use super::certainty::Certainty;
use super::each::of_each;
use super::leaf::Leaf;
use super::order::Ordered;
use super::proposal::{Kind, Place, Proposed};
use super::words;
use super::writing::count;
use std::collections::BTreeMap;

/// The tool at work, as one candidate tells it.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub(super) places: Vec<Place>,
    /// The tool, one a snapshot.
    pub(super) tools: Vec<Option<usize>>,
    /// Points of its words: 0 none, 1 some, 2 they say just this.
    pub(super) words: i32,
    /// How sure it is which tool each of its values means.
    pub(super) reading: Certainty,
    /// Whether its key has no words at all, so that only its change speaks for it.
    pub(super) is_mute: bool,
    pub(super) why: String,
}

/// Fewer snapshots prove nothing.
const SNAPSHOTS_MIN: f64 = 3.0;
/// The next tool is heated while the other still works, so not every snapshot agrees.
const AGREED: f64 = 0.7;

/// What the temperatures tell of the tool at work, one a snapshot.
struct Evidence {
    /// The only one that is hot enough: proof.
    only: Vec<Option<usize>>,
    hottest: Vec<Option<usize>>,
    /// The better of the two.
    either: Vec<Option<usize>>,
}

impl Evidence {
    fn of(leaves: &[Leaf], ordered: &Ordered, tools: usize) -> Self {
        // The one heater of several tools says nothing of which one works.
        let is_shared = ordered.tools.len() < tools;
        let [only, hottest] =
            if is_shared { [Vec::new(), Vec::new()] } else { [only_hot(leaves, ordered), hottest(leaves, ordered)] };
        let either = (0..only.len().max(hottest.len()))
            .map(|at| only.get(at).copied().flatten().or_else(|| hottest.get(at).copied().flatten()))
            .collect();
        Self { only, hottest, either }
    }

    /// The tool at work as one value tells it.
    fn candidate(&self, leaf: &Leaf, ordered: &Ordered, tools: usize) -> Option<Candidate> {
        number(leaf, ordered, tools, &self.hottest)
            .or_else(|| text(leaf, ordered, tools))
            .or_else(|| in_step(leaf, tools, &self.either))
    }
}

/// The place of a value that a person has named, with the words that it is understood to have.
pub(super) fn answered(leaf: &Leaf, leaves: &[Leaf], ordered: &Ordered, tools: usize) -> Place {
    let candidate = Evidence::of(leaves, ordered, tools).candidate(leaf, ordered, tools);
    candidate.and_then(|candidate| candidate.places.into_iter().next()).unwrap_or_else(|| Place::of(leaf))
}

/// Proposes the tool at work among so many tools.
pub(super) fn active_tool(leaves: &[Leaf], ordered: &Ordered, tools: usize) -> Option<Proposed> {
    if tools < 2 {
        return None;
    }
    let evidence = Evidence::of(leaves, ordered, tools);
    // What stands in one object with a tool's temperature is that tool's alone.
    let is_beside = |idx: usize, tool: &super::heat::Heater| {
        let base = tool.leaf(leaves);
        base.is_some_and(|base| {
            let is_own = base.parent().len() > 1 && ordered.tools.len() > 1;
            is_own && base.document == leaves[idx].document && base.parent() == leaves[idx].parent()
        })
    };
    let is_taken = |idx: usize, tool: &super::heat::Heater| {
        tool.actual == Some(idx) || tool.target == Some(idx) || tool.others.contains(&idx)
    };
    let are_apart = ordered.tools.windows(2).all(|pair| {
        let parents = [&pair[0], &pair[1]].map(|tool| tool.leaf(leaves).map(Leaf::parent));
        parents[0] != parents[1]
    });
    let is_heaters = |idx: usize| {
        ordered.tools.iter().any(|tool| is_taken(idx, tool) || are_apart && is_beside(idx, tool))
            || leaves[idx].is_naming()
    };
    let mut candidates: Vec<(f64, Candidate)> = (0..leaves.len())
        .filter(|idx| !is_heaters(*idx) && !leaves[*idx].is_container)
        .filter_map(|idx| evidence.candidate(&leaves[idx], ordered, tools))
        .chain(of_each(leaves, ordered))
        .map(|candidate| (score(&candidate, &evidence.either), candidate))
        .filter(|(score, _)| *score >= 2.0)
        .collect();
    candidates.sort_by(|one, other| other.0.total_cmp(&one.0));
    let (best_score, best) = candidates.first()?.clone();
    let is_rivalled = candidates
        .get(1)
        .is_some_and(|(score, other)| *score >= best_score - 0.5 || other.words >= 2 && other.tools != best.tools);
    let (agreed, looked) = agreement(&best.tools, &evidence.either);
    let (firmly, firm) = agreement(&best.tools, &evidence.only);
    let is_agreed = looked >= SNAPSHOTS_MIN && agreed / looked >= AGREED;
    let is_proved = (firm >= SNAPSHOTS_MIN && firmly >= firm) || cools_what_is_left(leaves, ordered, &best.tools);
    let is_refuted = firmly < firm;
    let certainty = match (best.words, is_proved) {
        _ if is_refuted => Certainty::Guess,
        (2, true) => best.reading,
        (2, false) | (1, true) => best.reading.min(Certainty::Likely),
        (_, _) => Certainty::Guess,
    };
    let certainty = if is_rivalled { certainty.lower() } else { certainty };
    let seen = if is_agreed || is_proved { ", as the set points have it" } else { "" };
    Some(Proposed {
        kind: Kind::ActiveTool,
        places: best.places.clone(),
        certainty,
        why: format!("{}{seen}", best.why),
        alternatives: candidates
            .into_iter()
            .skip(1)
            .take(3)
            .filter_map(|(_, other)| other.places.into_iter().next())
            .collect(),
    })
}

fn agreement(tools: &[Option<usize>], hottest: &[Option<usize>]) -> (f64, f64) {
    let both: Vec<(usize, usize)> =
        tools.iter().zip(hottest).filter_map(|(one, other)| Some(((*one)?, (*other)?))).collect();
    (count(both.iter().filter(|(one, other)| one == other).count()), count(both.len()))
}

fn score(candidate: &Candidate, hottest: &[Option<usize>]) -> f64 {
    let (agreed, looked) = agreement(&candidate.tools, hottest);
    let agreed = if looked >= SNAPSHOTS_MIN { agreed / looked * 3.0 - 1.0 } else { 0.0 };
    let mut seen: Vec<usize> = candidate.tools.iter().copied().flatten().collect();
    seen.sort_unstable();
    seen.dedup();
    let changes = if seen.len() > 1 { 1.0 } else { 0.0 };
    let surely = if candidate.reading == Certainty::Sure { 0.5 } else { 0.0 };
    let mute = if candidate.is_mute && seen.len() > 1 { 0.5 } else { 0.0 };
    f64::from(candidate.words) * 2.0 + agreed + changes + surely + mute
}

/// Points of a leaf's words.
fn word_points(leaf: &Leaf) -> i32 {
    let own: Vec<String> = leaf.spoken().iter().chain(&leaf.told).cloned().collect();
    let above = leaf.above();
    if words::any(leaf.own(), words::NOT_AT_WORK) || words::any(&above, &["fan", "next", "previous", "last", "queue"]) {
        return 0;
    }
    let tool = words::any(&own, words::TOOL)
        || words::any(&own, &["side", "hand", "material", "filament", "slot", "inlet", "feeder"]);
    let at_work = words::any(&own, words::AT_WORK);
    let above_work = words::any(&above, words::TOOL) || words::any(&above, words::JOB);
    match (tool, at_work, above_work) {
        (true, true, _) => 2,
        (false, true, true) if words::any(&above, words::TOOL) => 2,
        (true, false, _) if leaf.own().len() == 1 => 2,
        (true, false, _) | (false, true, _) => 1,
        (false, false, _) => 0,
    }
}

/// A number that tells a tool; `evidence` is the tool at work as far as the temperatures tell.
fn number(leaf: &Leaf, ordered: &Ordered, tools: usize, evidence: &[Option<usize>]) -> Option<Candidate> {
    let series = leaf.series.as_ref()?;
    let points = word_points(leaf);
    let plural = leaf.own().last().is_some_and(|word| word.ends_with('s') && words::is_one(word, words::TOOL));
    let is_odd = !series.is_whole() || series.suffix.is_some() || series.has_fraction || series.max() < 0.0;
    // Without a word for it, only a change speaks for a small number.
    if is_odd || plural || (points == 0 && series.kinds() < 2) {
        return None;
    }
    let (numbers, reading, why) = numbering(series, ordered, tools, evidence)?;
    let tool = |raw: f64| numbers.iter().position(|number| !super::series::differ(count(*number), raw));
    let seen: Vec<Option<usize>> = series.values.iter().map(|raw| raw.and_then(tool)).collect();
    if seen.iter().all(Option::is_none) {
        return None;
    }
    let is_plain = numbers.first() == Some(&0);
    let words = numbers.iter().enumerate().filter(|_| !is_plain);
    let words = words.map(|(tool, number)| (number.to_string(), i64::try_from(tool).unwrap_or(0)));
    let by = if points > 0 { ", by its key words" } else { "" };
    Some(Candidate {
        places: vec![Place::of(leaf).with_words(words)],
        tools: seen,
        words: points,
        reading,
        is_mute: leaf.own().iter().all(|word| word.chars().count() < 2),
        why: format!("{why}{by}"),
    })
}

/// The host's number of each tool, how sure, and why.
fn numbering(
    series: &super::series::Series,
    ordered: &Ordered,
    tools: usize,
    evidence: &[Option<usize>],
) -> Option<(Vec<usize>, Certainty, &'static str)> {
    let from = |base: usize| (base..base + tools).collect::<Vec<usize>>();
    let own: Option<Vec<usize>> =
        ordered.numbers.iter().map(|number| number.and_then(|number| usize::try_from(number).ok())).collect();
    let own = own.filter(|own| own.len() == tools);
    if let Some(own) = own.as_ref().filter(|own| own.iter().all(|number| *number >= tools)) {
        let fits = series.there().all(|raw| own.iter().any(|number| !super::series::differ(count(*number), raw)));
        if fits {
            return Some((own.clone(), Certainty::Sure, "a tool's own number"));
        }
    }
    if series.max() > count(tools) {
        return None;
    }
    let share = |base: f64| {
        let tool = |raw: f64| (0..tools).find(|tool| !super::series::differ(count(*tool) + base, raw));
        let seen: Vec<Option<usize>> = series.values.iter().map(|raw| raw.and_then(tool)).collect();
        let (agreed, looked) = agreement(&seen, evidence);
        if looked >= SNAPSHOTS_MIN { agreed / looked } else { 0.5 }
    };
    let begins = own.and_then(|own| own.first().copied());
    let (base, reading) = match (series.min() <= 0.0, !super::series::differ(series.max(), count(tools))) {
        (_, true) => (1, Certainty::Sure),
        // A lone 0 may also mean no tool, of tools that are counted from 1.
        (true, false) if series.kinds() > 1 || begins == Some(0) => (0, Certainty::Sure),
        (true, false) => (0, Certainty::Likely),
        _ if share(0.0) >= AGREED && share(1.0) < 0.5 => (0, Certainty::Sure),
        _ if share(1.0) >= AGREED && share(0.0) < 0.5 => (1, Certainty::Sure),
        (false, false) if begins == Some(1) => (1, Certainty::Likely),
        (false, false) if begins == Some(0) => (0, Certainty::Likely),
        // Which number the first tool of a shared hot end has, nothing else on the host tells.
        (false, false) if ordered.tools.len() < tools => return None,
        (false, false) => (0, Certainty::Guess),
    };
    Some((from(base), reading, if base == 0 { "a tool's number from 0" } else { "a tool's number from 1" }))
}

/// The tool that a text means, and the texts for every tool in the same style.
fn text(leaf: &Leaf, ordered: &Ordered, tools: usize) -> Option<Candidate> {
    let texts = leaf.texts()?;
    let points = word_points(leaf);
    let mut table: BTreeMap<String, usize> = BTreeMap::new();
    for text in &texts {
        table.extend(styles(text, ordered, tools));
    }
    let known = texts.iter().filter(|text| table.contains_key(*text)).count();
    if known == 0 || points == 0 || known + 1 < texts.len() {
        return None;
    }
    let seen = leaf.values.iter().map(|value| table.get(value.as_ref()?.as_str()?).copied()).collect();
    let words = table.into_iter().map(|(word, tool)| (word, i64::try_from(tool).unwrap_or(0)));
    Some(Candidate {
        places: vec![Place::of(leaf).with_words(words)],
        tools: seen,
        words: points,
        reading: Certainty::Sure,
        is_mute: false,
        why: "names a tool, by its key words".to_owned(),
    })
}

/// A text without a tool's name in it that changes in step with the tools: each of its texts goes with another tool.
fn in_step(leaf: &Leaf, tools: usize, evidence: &[Option<usize>]) -> Option<Candidate> {
    let texts = leaf.texts().filter(|texts| texts.len() == tools)?;
    let mut table: BTreeMap<String, usize> = BTreeMap::new();
    for text in texts {
        let is_said =
            |value: &Option<serde_json::Value>| value.as_ref().and_then(|value| value.as_str()) == Some(&text);
        let said = leaf.values.iter().zip(evidence).filter(|(value, _)| is_said(value));
        let with: Vec<usize> = said.filter_map(|(_, tool)| *tool).collect();
        let of = |tool: usize| with.iter().filter(|other| **other == tool).count();
        let tool = (0..tools).max_by_key(|tool| of(*tool))?;
        let (agreed, looked) = (count(of(tool)), count(with.len()));
        if looked < SNAPSHOTS_MIN || agreed < AGREED * looked || table.values().any(|other| *other == tool) {
            return None;
        }
        table.insert(text, tool);
    }
    let seen = leaf.values.iter().map(|value| table.get(value.as_ref()?.as_str()?).copied()).collect();
    let words = table.into_iter().map(|(word, tool)| (word, i64::try_from(tool).unwrap_or(0)));
    Some(Candidate {
        places: vec![Place::of(leaf).with_words(words)],
        tools: seen,
        // What it means is read off the tools themselves, so their agreement proves nothing more.
        words: word_points(leaf).min(1),
        reading: Certainty::Guess,
        is_mute: false,
        why: "changes in step with the tools' heat".to_owned(),
    })
}

fn styles(text: &str, ordered: &Ordered, tools: usize) -> Vec<(String, usize)> {
    let lower = text.to_lowercase();
    let said = words::split(text);
    // The host's own names: the words that tell one tool from the others.
    let own: Vec<Option<&String>> = (0..tools)
        .map(|tool| ordered.labels.get(tool).and_then(|label| label.iter().rev().find(|word| !word.starts_with('#'))))
        .collect();
    let meant: Vec<usize> = (0..tools).filter(|tool| own[*tool].is_some_and(|word| said.contains(word))).collect();
    if let [meant] = meant.as_slice() {
        let Some(word) = own[*meant] else { return Vec::new() };
        let Some(at) = lower.rfind(word.as_str()) else { return Vec::new() };
        let (before, after) = (&text.get(..at).unwrap_or(""), &text.get(at + word.len()..).unwrap_or(""));
        let is_upper = text.get(at..).is_some_and(|rest| rest.starts_with(char::is_uppercase));
        let styled = |other: &str| {
            if is_upper { capitalised(other) } else { other.to_owned() }
        };
        let of = |tool: usize| {
            if tool == *meant { Some(text.to_owned()) } else { Some(format!("{before}{}{after}", styled(own[tool]?))) }
        };
        return (0..tools).filter_map(|tool| Some((of(tool)?, tool))).collect();
    }
    // A single letter: the first of a name.
    if let (Some(letter), true) = (lower.chars().next(), lower.chars().count() == 1) {
        let firsts: Vec<Option<char>> = own.iter().map(|word| word.and_then(|word| word.chars().next())).collect();
        let is_told = firsts.iter().filter(|first| **first == Some(letter)).count() == 1;
        let cased = |first: char| if lower == text { first } else { first.to_ascii_uppercase() };
        if is_told {
            let pairs =
                firsts.iter().enumerate().filter_map(|(tool, first)| Some((cased((*first)?).to_string(), tool)));
            return pairs.collect();
        }
    }
    // A number after a word, as in T0.
    let digits = text.trim_end_matches(|char: char| char.is_ascii_digit());
    if let Ok(number) = text[digits.len()..].parse::<usize>() {
        let is_tool = words::any(&words::split(digits), words::TOOL) || digits.is_empty();
        if number < tools && is_tool {
            return (0..tools).map(|tool| (format!("{digits}{tool}"), tool)).collect();
        }
    }
    if (own.iter().all(Option::is_none) || tools > ordered.tools.len())
        && let Some(lettered) = lettered(text, &said, tools)
    {
        return lettered;
    }
    // Sides, where the heaters have no names.
    let side = |word: &String| words::side(word);
    let Some(at) =
        said.iter().find_map(side).filter(|_| own.iter().all(Option::is_none) || tools > ordered.tools.len())
    else {
        return Vec::new();
    };
    let pair = at - at % 2;
    let [first, second] = [pair, pair + 1].map(|at| words::ORDER.get(at).map_or("", |(side, _)| side));
    let said = if lower.contains(first) { first } else { second };
    if tools != 2 || !lower.contains(said) || text != lower {
        return Vec::new();
    }
    vec![(text.replace(said, first), 0), (text.replace(said, second), 1)]
}

/// A letter after a word, as in `tool-a`.
fn lettered(text: &str, said: &[String], tools: usize) -> Option<Vec<(String, usize)>> {
    let last = text.chars().next_back().filter(char::is_ascii_alphabetic)?;
    let before = text.get(..text.len() - 1)?;
    let is_apart = said.len() > 1 && said.last().is_some_and(|word| word.len() == 1);
    let is_tool = words::any(said, words::TOOL) || words::any(said, &["inlet", "feeder", "slot", "spool"]);
    let first = if last.is_ascii_uppercase() { 'A' } else { 'a' };
    let letters: Vec<char> = (first..='z').take(tools).collect();
    let all = letters.iter().enumerate().map(|(tool, letter)| (format!("{before}{letter}"), tool)).collect();
    (is_apart && is_tool && letters.contains(&last)).then_some(all)
}

fn capitalised(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + chars.as_str())
}
