//! The heaters of a printer: which values are one heater's, how they are written, and whether it is a tool's, the bed's
//! or something else's. Must not: number the tools.

use super::certainty::Certainty;
use super::leaf::{Leaf, Step, Way};
use super::pair::{self, Role, Wants};
use super::words;
use super::writing::{self, JudgedWriting, Pair, Writing};
use crate::host::TemperatureUnit;

/// What a heater heats.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Heats {
    Tool,
    Bed,
    Elsewhere,
}

/// One heater; its values are indices of leaves.
#[derive(Clone, Debug)]
pub(super) struct Heater {
    pub(super) actual: Option<usize>,
    pub(super) target: Option<usize>,
    /// How sure it is that the two are what they are called, and why.
    pub(super) pair: (Certainty, &'static str),
    pub(super) writing: JudgedWriting,
    pub(super) heats: Heats,
    /// How sure that is, and why.
    pub(super) kind: (Certainty, String),
    /// Values that stand in its place as well.
    pub(super) others: Vec<usize>,
}

/// No bed is asked for more, °C; a value above it, by some margin, is a hot end's.
const BED_MAX: f64 = 130.0;
const TOOL_MIN: f64 = 145.0;
/// No printer has more heaters and sensors; what comes after is not looked at.
const HEATERS_MAX: usize = 48;
/// A hot end's highest temperature, in the largest numbers that are whole degrees: °F.
const WHOLE_DEGREES_MAX: f64 = 450.0;
/// Two values of one sensor differ by no more, K.
const SAME_SENSOR: f64 = 1.5;

impl Heater {
    /// The leaf that stands for it.
    pub(super) fn leaf<'l>(&self, leaves: &'l [Leaf]) -> Option<&'l Leaf> {
        self.actual.or(self.target).and_then(|idx| leaves.get(idx))
    }

    /// The words that tell it from others.
    pub(super) fn place(&self, leaves: &[Leaf]) -> Vec<String> {
        self.leaf(leaves).map(pair::place).unwrap_or_default()
    }

    /// What is measured, or asked for, in °C, one a snapshot.
    pub(super) fn celsius(&self, leaves: &[Leaf], role: Role) -> Vec<Option<f64>> {
        let idx = if role == Role::Actual { self.actual } else { self.target };
        let series = idx.and_then(|idx| leaves.get(idx)).and_then(|leaf| leaf.series.as_ref());
        let writing = self.writing.writing;
        let read = |raw: f64| if role == Role::Target && writing.is_off(raw) { 0.0 } else { writing.celsius(raw) };
        series.map(|series| series.values.iter().map(|raw| raw.map(read)).collect()).unwrap_or_default()
    }

    /// The highest of both.
    pub(super) fn hottest(&self, leaves: &[Leaf]) -> f64 {
        let both = [Role::Actual, Role::Target].map(|role| self.celsius(leaves, role));
        both.iter().flatten().copied().flatten().fold(f64::NEG_INFINITY, f64::max)
    }

    fn series<'l>(&self, leaves: &'l [Leaf]) -> Pair<'l> {
        let of = |idx: Option<usize>| idx.and_then(|idx| leaves[idx].series.as_ref());
        let is_tool = self.leaf(leaves).and_then(named).is_some_and(|(heats, _)| heats == Heats::Tool);
        Pair { actual: of(self.actual), target: of(self.target), is_tool }
    }
}

/// Every heater, in the order of the documents.
pub(super) fn heaters(leaves: &[Leaf]) -> Vec<Heater> {
    let candidates: Vec<usize> = (0..leaves.len()).filter(|idx| pair::is_candidate(&leaves[*idx])).collect();
    let by_words = pair::pairs(leaves, &candidates, Wants::Words);
    let is_mute =
        |found: &pair::Found| pair::role(&leaves[found.target]).is_none() && pair::warmth(&leaves[found.actual]) == 0;
    let pairs = if by_words.iter().all(is_mute) { pair::pairs(leaves, &candidates, Wants::Motion) } else { by_words };
    let mut heaters: Vec<Heater> = pairs
        .iter()
        .map(|found| heater(Some(found.actual), Some(found.target), (found.certainty, found.why)))
        .collect();
    heaters.truncate(HEATERS_MAX);
    let single: Vec<usize> = candidates
        .into_iter()
        .filter(|idx| pairs.iter().all(|found| found.actual != *idx && found.target != *idx))
        .collect();
    for idx in single {
        if heaters.len() < HEATERS_MAX {
            alone(leaves, idx, &mut heaters);
        }
    }
    heaters.sort_by_key(|heater| heater.actual.or(heater.target));
    write(leaves, &mut heaters);
    borrow(leaves, &mut heaters);
    heaters.retain(|heater| heater.actual.is_none() || heater.hottest(leaves) > 0.0);
    let mut heaters = without_doubles(leaves, heaters);
    judge_kinds(leaves, &mut heaters);
    heaters
}

fn heater(actual: Option<usize>, target: Option<usize>, pair: (Certainty, &'static str)) -> Heater {
    let writing = Writing { unit: TemperatureUnit::Celsius, factor: 1.0 };
    let writing = JudgedWriting { writing, certainty: Certainty::Guess, why: String::new() };
    let kind = (Certainty::Guess, String::new());
    Heater { actual, target, pair, writing, heats: Heats::Elsewhere, kind, others: Vec::new() }
}

/// A value with no partner: a heater of its own if its words say so, else another value of a heater that is there.
fn alone(leaves: &[Leaf], idx: usize, heaters: &mut Vec<Heater>) {
    let leaf = &leaves[idx];
    let place = pair::place(leaf);
    if let Some(there) = heaters.iter_mut().find(|heater| heater.place(leaves) == place) {
        there.others.push(idx);
        return;
    }
    let is_warm = pair::warmth(leaf) == 2;
    let is_named = pair::warmth(leaf) == 1
        && leaf
            .series
            .as_ref()
            .is_some_and(|series| series.has_fraction || says_nothing_else(leaf) && may_be_warm(series));
    if leaf.series.as_ref().is_none_or(|series| series.max() < 0.0) {
        return;
    }
    // What goes in steps is asked for, of a heater that is not told here.
    if leaf.series.as_ref().is_some_and(pair::goes_in_steps) && pair::role(leaf) != Some(Role::Target) {
        return;
    }
    match pair::role(leaf) {
        Some(Role::Target) if is_warm => {
            heaters.push(heater(None, Some(idx), (Certainty::Likely, "key words")));
        }
        Some(Role::Actual) if is_warm => heaters.push(heater(Some(idx), None, (Certainty::Sure, "key words"))),
        None if is_warm => {
            heaters.push(heater(Some(idx), None, (Certainty::Likely, "a temperature with no set point beside it")));
        }
        Some(Role::Actual) | None if is_named => {
            heaters.push(heater(Some(idx), None, (Certainty::Guess, "a number among words of heat")));
        }
        Some(_) | None => {}
    }
}

/// Whether its key is a heater's name and no more: `nozzle 1`.
fn says_nothing_else(leaf: &Leaf) -> bool {
    let lists = [words::TOOL, words::BED, words::ELSEWHERE, words::HEAT, words::ACTUAL];
    let is_plain = |word: &String| {
        let is_mark = word.chars().count() == 1 || word.parse::<u8>().is_ok() || words::side(word).is_some();
        is_mark || lists.iter().any(|list| words::is_one(word, list))
    };
    !leaf.own().is_empty() && leaf.own().iter().all(is_plain)
}

/// Whether whole numbers may be temperatures: none of a count of tools, a bore or a place.
fn may_be_warm(series: &super::series::Series) -> bool {
    const WHOLE_DEGREES_MIN: f64 = 12.0;
    series.min() >= WHOLE_DEGREES_MIN && series.max() <= 2.0 * WHOLE_DEGREES_MAX
}

/// Judges how the temperatures are written: together, where they stand in one document and their words agree.
fn write(leaves: &[Leaf], heaters: &mut [Heater]) {
    let key = |heater: &Heater| {
        let of = |idx: Option<usize>| idx.and_then(|idx| writing::told(&leaves[idx])).map(|(unit, _)| unit);
        (heater.leaf(leaves).map(|leaf| leaf.document), of(heater.actual).or_else(|| of(heater.target)))
    };
    let keys: Vec<_> = heaters.iter().map(key).collect();
    for idx in 0..heaters.len() {
        let alike: Vec<&Heater> =
            heaters.iter().zip(&keys).filter(|(_, key)| **key == keys[idx]).map(|(heater, _)| heater).collect();
        // A guess of a pair may be no temperature at all, and would spoil the range of those that are.
        let firm: Vec<&Heater> = alike.iter().copied().filter(|heater| heater.pair.0 > Certainty::Guess).collect();
        let pool = if firm.is_empty() { alike } else { firm };
        let pairs: Vec<Pair<'_>> = pool.iter().map(|heater| heater.series(leaves)).collect();
        let own: Vec<&Leaf> = pool
            .iter()
            .flat_map(|heater| [heater.actual, heater.target])
            .flatten()
            .filter_map(|idx| leaves.get(idx))
            .collect();
        heaters[idx].writing = writing::judge(&own, &pairs);
    }
}

/// Where no set point stands in a document, the writing of the heaters that have one is taken if it makes sense.
fn borrow(leaves: &[Leaf], heaters: &mut [Heater]) {
    let lender = heaters.iter().find(|heater| heater.target.is_some() && heater.writing.certainty > Certainty::Guess);
    let Some(lent) = lender.map(|heater| heater.writing.writing) else { return };
    for heater in heaters.iter_mut().filter(|heater| heater.target.is_none()) {
        let is_told = heater.leaf(leaves).is_some_and(|leaf| writing::told(leaf).is_some());
        if !is_told && writing::is_plausible(lent, &[heater.series(leaves)]) {
            let why = "as the heaters with set points".to_owned();
            heater.writing = JudgedWriting { writing: lent, certainty: Certainty::Likely, why };
        }
    }
}

/// One sensor told in two documents, or twice in one, is one heater.
fn without_doubles(leaves: &[Leaf], heaters: Vec<Heater>) -> Vec<Heater> {
    let mut kept: Vec<Heater> = Vec::with_capacity(heaters.len());
    for heater in heaters {
        let double = kept.iter_mut().find(|other| is_double(leaves, other, &heater));
        match double {
            Some(other) => {
                let is_better = heater.target.is_some() && other.target.is_none();
                let (mut better, worse) = if is_better { (heater, other.clone()) } else { (other.clone(), heater) };
                better.others.extend([worse.actual, worse.target].into_iter().flatten());
                *other = better;
            }
            None => kept.push(heater),
        }
    }
    kept
}

fn is_double(leaves: &[Leaf], one: &Heater, other: &Heater) -> bool {
    let identity = |heater: &Heater| {
        let place = heater.place(leaves);
        let telling = |word: &&String| {
            let side = words::side(word).is_some();
            let is_number = word.trim_start_matches('#').chars().all(char::is_numeric);
            let lists = [words::BED, words::ELSEWHERE];
            side || is_number || word.len() == 1 || lists.iter().any(|list| words::is_one(word, list))
        };
        place.iter().filter(telling).map(|word| word.trim_start_matches('#').to_owned()).collect::<Vec<_>>()
    };
    let documents = [one, other].map(|heater| heater.leaf(leaves).map(|leaf| leaf.document));
    let (first, second) = (identity(one), identity(other));
    let agree = [Role::Actual, Role::Target].iter().all(|role| {
        let (a, b) = (one.celsius(leaves, *role), other.celsius(leaves, *role));
        a.iter().zip(&b).all(|(a, b)| match (a, b) {
            (Some(a), Some(b)) => (a - b).abs() <= SAME_SENSOR,
            (None, _) | (_, None) => true,
        })
    });
    if !agree || one.actual.is_none() || other.actual.is_none() {
        return false;
    }
    // A document tells each heater once, whatever its names are.
    let heats = [one, other].map(|heater| heater.leaf(leaves).and_then(named).map(|(heats, _)| heats));
    let is_told = one.others.iter().any(|idx| Some(leaves[*idx].document) == documents[1]);
    let is_namesake = heats[0].is_some() && heats[0] == heats[1] && !is_told;
    let lacks_target = one.target.is_none() != other.target.is_none();
    if documents[0] == documents[1] {
        first == second && !first.is_empty() && lacks_target
    } else {
        first == second || is_namesake
    }
}

fn judge_kinds(leaves: &[Leaf], heaters: &mut [Heater]) {
    let mut open = Vec::new();
    for (idx, heater) in heaters.iter_mut().enumerate() {
        let hottest = heater.hottest(leaves);
        let named = heater.leaf(leaves).and_then(named);
        let certainty = |fits: bool| if fits { Certainty::Sure } else { Certainty::Guess };
        let (heats, kind) = match named {
            Some((Heats::Bed, word)) => (Heats::Bed, (certainty(hottest <= BED_MAX), format!("key word {word:?}"))),
            Some((heats, word)) => (heats, (Certainty::Sure, format!("key word {word:?}"))),
            None if hottest > TOOL_MIN => (Heats::Tool, (Certainty::Sure, format!("{hottest:.0} °C is a hot end's"))),
            None => {
                open.push(idx);
                continue;
            }
        };
        heater.heats = heats;
        heater.kind = kind;
    }
    judge_open(leaves, heaters, &open);
    // Beside hot ends that are set, a temperature that is not is of something near them.
    let is_set = heaters.iter().any(|heater| heater.heats == Heats::Tool && heater.target.is_some());
    for heater in heaters.iter_mut().filter(|heater| is_set && heater.heats == Heats::Tool && heater.target.is_none()) {
        heater.heats = Heats::Elsewhere;
        heater.kind = (Certainty::Guess, "a temperature near hot ends that is not set".to_owned());
    }
}

/// Whether there may be a hot end more than `tools`: among the temperatures of something else, or a value beside a
/// tool's, of the same key, that was taken for nothing.
pub(super) fn may_lack_one(leaves: &[Leaf], tools: &[Heater], elsewhere: &[Heater], beds: &[Heater]) -> bool {
    let all = || tools.iter().chain(elsewhere).chain(beds);
    let is_taken = |idx: usize| {
        all().any(|heater| heater.actual == Some(idx) || heater.target == Some(idx) || heater.others.contains(&idx))
    };
    let is_beside = |leaf: &Leaf| {
        tools.iter().filter_map(|tool| tool.leaf(leaves)).any(|tool| {
            let depth = tool.steps.len();
            let same_shape = leaf.document == tool.document && leaf.steps.len() == depth && depth >= 2;
            same_shape && leaf.steps.last() == tool.steps.last() && leaf.steps[..depth - 2] == tool.steps[..depth - 2]
        })
    };
    let named_so = |heater: &Heater| heater.leaf(leaves).and_then(named).is_some_and(|(heats, _)| heats == Heats::Tool);
    elsewhere.iter().any(named_so) || leaves.iter().enumerate().any(|(idx, leaf)| !is_taken(idx) && is_beside(leaf))
}

/// Heaters whose words tell nothing and that are not hot enough for a hot end now.
fn judge_open(leaves: &[Leaf], heaters: &mut [Heater], open: &[usize]) {
    let has = |heaters: &[Heater], heats: Heats| {
        heaters.iter().enumerate().any(|(idx, heater)| heater.heats == heats && !open.contains(&idx))
    };
    let (tools, bed) = (has(heaters, Heats::Tool), has(heaters, Heats::Bed));
    let sided = |heater: &Heater| {
        let place = heater.place(leaves);
        place.iter().any(|word| words::side(word).is_some())
    };
    let asked = |heater: &Heater| heater.celsius(leaves, Role::Target).iter().flatten().any(|target| *target > 0.0);
    for (nth, &idx) in open.iter().enumerate() {
        let is_last = nth + 1 == open.len() && open.len() > 1;
        let (heats, certainty, why) = if heaters[idx].target.is_none() {
            (Heats::Elsewhere, Certainty::Guess, "a temperature that is not set")
        } else if sided(&heaters[idx]) {
            (Heats::Tool, if bed { Certainty::Likely } else { Certainty::Guess }, "one of two sides")
        } else if tools && !bed && asked(&heaters[idx]) && open.len() == 1 {
            (Heats::Bed, Certainty::Likely, "the only heater that is on and not as hot as a hot end")
        } else if tools && !bed && open.len() == 1 {
            (Heats::Bed, Certainty::Guess, "the only heater that is no hot end")
        } else if tools && bed {
            (Heats::Elsewhere, Certainty::Guess, "neither hot end nor bed by its words")
        } else if !bed && is_last {
            (Heats::Bed, Certainty::Guess, "the last of several")
        } else {
            (Heats::Tool, Certainty::Guess, "a heater that has no better name")
        };
        heaters[idx].heats = heats;
        heaters[idx].kind = (certainty, why.to_owned());
    }
}

/// What the words say, the deepest first.
fn named(leaf: &Leaf) -> Option<(Heats, String)> {
    let of_step = |step: &Step| {
        // A lone t may be a temperature as well as a tool.
        let is_numbered = step.words.iter().any(|word| word.parse::<u8>().is_ok());
        let is_bare = matches!(step.way, Way::Index(_)) || !is_numbered;
        let is_heater = |word: &&String| !is_bare || word.len() > 1;
        let find = |list: &[&str]| step.words.iter().filter(is_heater).find(|word| words::is_one(word, list)).cloned();
        find(words::BED)
            .map(|word| (Heats::Bed, word))
            .or_else(|| find(words::ELSEWHERE).map(|word| (Heats::Elsewhere, word)))
            .or_else(|| find(words::TOOL).map(|word| (Heats::Tool, word)))
    };
    let of_document = || of_step(&Step { way: Way::Key(String::new()), words: leaf.about.clone() });
    leaf.steps.iter().rev().find_map(of_step).or_else(of_document)
}
