//! Which number is measured and which one is asked for: two values that belong together, by their places, their words
//! and how one follows the other. Knows neither units nor tools.

use super::certainty::Certainty;
use super::custom::Custom;
use super::kin;
use super::leaf::{Leaf, Step, Way};
use super::series::Series;
use super::words;

/// Two values of one heater, as indices of leaves.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) actual: usize,
    pub(super) target: usize,
    pub(super) certainty: Certainty,
    pub(super) why: &'static str,
    pub(super) score: i32,
}

/// What a value's words say that it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Actual,
    Target,
}

/// What has to speak for a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wants {
    /// Words of heat, or a set point that is followed.
    Words,
    /// Motion alone is enough: for hosts whose words are of no trade.
    Motion,
}

/// What the motion of two values says of "the first follows the second".
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Motion {
    Against,
    Open,
    Fits,
    Follows,
}

/// Letters that tell one heater from another.
const TELLING_LETTERS: [&str; 6] = ["a", "b", "c", "d", "l", "r"];
/// The most different numbers of a set point within a watch: it is set by commands, not by a sensor.
const TARGET_KINDS_MAX: usize = 5;
/// Closer than this share of the set point, a heater has reached it.
const REACHED: f64 = 0.02;
/// A hot end at work sags by no more than this share of the set point.
const SAG: f64 = 0.06;
/// A smaller share of the set point is a sensor's noise.
const NOISE: f64 = 0.006;
/// What a host has for off: 0, and 0 °C in °F, K and their tenths.
const OFFS: [f64; 7] = [0.0, 32.0, 273.0, 273.15, 320.0, 2731.0, 2731.5];
/// Hot ends are asked for more than this in every unit; few other things are.
const HOT_MIN: f64 = 145.0;
/// Below this no unit has a temperature of a house, its coldest number being 4 °C.
const ACTUAL_MIN: f64 = 4.0;

/// What the words of a leaf, its own first, say that it is.
pub(super) fn role(leaf: &Leaf) -> Option<Role> {
    let of = |words: &[String]| {
        if words::any(words, words::TARGET) {
            return Some(Role::Target);
        }
        words::any(words, words::ACTUAL).then_some(Role::Actual)
    };
    // A reading that is called a set point is one.
    let name = leaf.parent().last().filter(|step| matches!(step.way, Way::Named(..)) && leaf.own().len() == 1);
    if name.is_some_and(|step| of(&step.words) == Some(Role::Target)) {
        return Some(Role::Target);
    }
    of(leaf.own()).or_else(|| of(&leaf.above())).or_else(|| {
        // A description may speak of both; then it tells nothing.
        let (target, actual) = (words::any(&leaf.told, words::TARGET), words::any(&leaf.told, words::ACTUAL));
        match (actual, target) {
            (true, false) => Some(Role::Actual),
            (false, true) => Some(Role::Target),
            (true, true) | (false, false) => None,
        }
    })
}

/// How much the words speak of heat: 2 of a temperature, 1 of something that is heated, 0 of neither.
pub(super) fn warmth(leaf: &Leaf) -> i32 {
    let words: Vec<String> = leaf.words().into_iter().chain(leaf.told.iter().cloned()).collect();
    let form = matches!(leaf.form, Some(super::found::HintForm::Temperature(_)));
    let suffix = leaf.series.as_ref().and_then(|series| series.suffix.as_deref());
    let suffix = suffix.is_some_and(|suffix| suffix.starts_with('°') || matches!(suffix, "C" | "F" | "K"));
    if form || suffix || words::any(&words, words::TEMPERATURE) {
        return 2;
    }
    let lists = [words::HEAT, words::TOOL, words::BED, words::ELSEWHERE];
    i32::from(lists.iter().any(|list| words::any(&words, list)))
}

/// The words of the path that tell one heater from another; a place in a list counts as one.
pub(super) fn place(leaf: &Leaf) -> Vec<String> {
    let neutral = [words::ACTUAL, words::TARGET, words::TEMPERATURE, words::HEAT, &["c", "f", "k", "value", "v", "to"]];
    let mut place: Vec<String> = leaf
        .about
        .iter()
        .filter(|word| !neutral.iter().any(|list| words::is_one(word, list)))
        .map(|word| words::singular(word))
        .collect();
    for step in &leaf.steps {
        let words = step.words.iter().filter(|word| !neutral.iter().any(|list| words::is_one(word, list)));
        place.extend(words.map(|word| words::singular(word)));
        let roles = [words::ACTUAL, words::TARGET, words::TEMPERATURE, words::DUTY];
        let has_role = roles.iter().any(|list| words::any(&step.words, list));
        if let (Way::Index(idx), false) = (&step.way, has_role) {
            place.push(format!("#{idx}"));
        }
    }
    place
}

/// Whether a leaf may be a heater's temperature or set point, by its words alone.
pub(super) fn is_candidate(leaf: &Leaf) -> bool {
    let own: Vec<String> = leaf.own().to_vec();
    let named = leaf.steps.last().filter(|step| matches!(step.way, Way::Named(..))).map(|step| step.words.clone());
    let own: Vec<String> = own.into_iter().chain(named.unwrap_or_default()).collect();
    let barred = words::any(&own, words::NOT_HEAT)
        || words::any(&own, words::LIMIT)
        || is_power(&own)
        || is_power(leaf.spoken())
        || leaf.steps.iter().any(|step| !is_own_step(leaf, step) && bars(step))
        || matches!(
            leaf.form,
            Some(super::found::HintForm::Percent | super::found::HintForm::Bytes | super::found::HintForm::Other)
        );
    let is_number = leaf.series.as_ref().is_some_and(|series| series.min() >= 0.0 || series.has_fraction);
    // A set point may be null as long as the heater is off.
    let is_unset = leaf.there().next().is_none() && !leaf.values.is_empty() && role(leaf) == Some(Role::Target);
    let counts = leaf.series.as_ref().is_some_and(is_counter);
    !barred && !leaf.is_naming() && !counts && !leaf.is_container && (is_number || is_unset)
}

fn is_own_step(leaf: &Leaf, step: &Step) -> bool {
    leaf.steps.iter().rev().find(|step| matches!(step.way, Way::Key(_))).is_some_and(|own| std::ptr::eq(own, step))
}

/// Whether the words of a step above say that it is no temperature; a letter with a number, as `z1`, is no axis.
fn bars(step: &Step) -> bool {
    let is_number = |word: &String| word.parse::<u8>().is_ok();
    let numbered = step.words.iter().any(is_number);
    step.words.iter().any(|word| words::is_one(word, words::NOT_HEAT_ABOVE) && !(numbered && word.len() == 1))
}

/// Whether it goes on by the same step each time, as a clock does.
fn is_counter(series: &Series) -> bool {
    const LOOKS_MIN: usize = 6;
    let there: Vec<f64> = series.there().collect();
    let steps: Vec<f64> = there.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let is_even = steps.windows(2).all(|pair| !super::series::differ(pair[0], pair[1]));
    there.len() >= LOOKS_MIN && is_even && steps.first().is_some_and(|step| step.abs() > 0.5)
}

/// Whether the words are of a heater's power, with none of a temperature beside it.
fn is_power(own: &[String]) -> bool {
    let others = [words::ACTUAL, words::TARGET, words::TEMPERATURE];
    words::any(own, words::DUTY) && !others.iter().any(|list| words::any(own, list))
}

/// Every pair, best first, each value in one pair at most.
pub(super) fn pairs(leaves: &[Leaf], candidates: &[usize], wants: Wants) -> Vec<Found> {
    let sides: Vec<Side<'_>> = candidates.iter().map(|idx| Side::of(leaves, *idx)).collect();
    let custom = Custom::of(&sides);
    let mut all = Vec::new();
    for actual in &sides {
        for target in &sides {
            if actual.idx != target.idx {
                all.extend(pair(actual, target, wants, &custom));
            }
        }
    }
    // At equal scores, values of one document and near each other come first.
    all.sort_by_key(|found: &Found| {
        let (actual, target) = (&leaves[found.actual], &leaves[found.target]);
        (-found.score, actual.document != target.document, found.actual, found.target)
    });
    let mut taken: Vec<Found> = Vec::new();
    for found in &all {
        let is_free = |idx: usize| taken.iter().all(|other| other.actual != idx && other.target != idx);
        if is_free(found.actual) && is_free(found.target) {
            let rivals = all.iter().filter(|other| {
                let shares = other.actual == found.actual || other.target == found.target;
                let reversed = other.actual == found.target && other.target == found.actual;
                let same_document = leaves[other.actual].document == leaves[other.target].document;
                (other.actual, other.target) != (found.actual, found.target)
                    && (shares || reversed)
                    && (same_document || leaves[found.actual].document != leaves[found.target].document)
                    && other.score >= found.score
            });
            let is_rivalled = rivals.count() > 0;
            let certainty = if is_rivalled { Certainty::Guess } else { found.certainty };
            taken.push(Found { certainty, ..found.clone() });
        }
    }
    like_others(leaves, &taken)
}

/// A heater whose keys are those of a pair that moved together is no worse a pair for standing still, or for having
/// just been sent elsewhere.
fn like_others(leaves: &[Leaf], pairs: &[Found]) -> Vec<Found> {
    let keys = |found: &Found| (leaves[found.actual].own(), leaves[found.target].own(), leaves[found.actual].document);
    let best = |one: &Found| {
        let alike = pairs.iter().filter(|other| keys(other) == keys(one));
        alike.map(|other| other.certainty).max().unwrap_or(Certainty::Guess).min(Certainty::Likely)
    };
    pairs.iter().map(|found| Found { certainty: found.certainty.max(best(found)), ..found.clone() }).collect()
}

/// A candidate with what its words say, read once.
pub(super) struct Side<'l> {
    pub(super) idx: usize,
    pub(super) leaf: &'l Leaf,
    role: Option<Role>,
    warmth: i32,
    place: Vec<String>,
}

impl<'l> Side<'l> {
    fn of(leaves: &'l [Leaf], idx: usize) -> Self {
        let leaf = &leaves[idx];
        Self { idx, leaf, role: role(leaf), warmth: warmth(leaf), place: place(leaf) }
    }
}

fn pair(actual: &Side<'_>, target: &Side<'_>, wants: Wants, custom: &Custom<'_>) -> Option<Found> {
    let (a, t) = (actual.leaf, target.leaf);
    let roles = (actual.role, target.role);
    if roles.0 == Some(Role::Target) || roles.1 == Some(Role::Actual) {
        return None;
    }
    let closeness = closeness(actual, target)?;
    let is_custom = custom.fits(actual, target);
    let motion = match (&a.series, &t.series) {
        (Some(a), Some(t)) if is_custom && a.max() >= ACTUAL_MIN => motion(a, t).unwrap_or(Motion::Open),
        (Some(a), Some(t)) if roles.1.is_some() && a.max() >= ACTUAL_MIN => motion(a, t).unwrap_or(Motion::Open),
        (Some(a), Some(t)) => motion(a, t)?,
        (Some(a), None) if a.max() >= ACTUAL_MIN => Motion::Open,
        (Some(_) | None, _) => return None,
    };
    let known = i32::from(roles.0.is_some()) + i32::from(roles.1.is_some());
    let warmth = actual.warmth.min(target.warmth).max(i32::from(actual.warmth > 0));
    let is_alike = wants == Wants::Motion && (is_custom || motion >= Motion::Fits && has_noise(a) && !has_noise(t));
    let is_hot = [&a.series, &t.series].into_iter().flatten().any(|series| series.max() >= HOT_MIN);
    let is_namesake = closeness >= 3 && roles.1.is_some() && is_hot && motion >= Motion::Open;
    let plain = is_alike
        || is_custom && motion >= Motion::Fits
        || is_namesake
        || warmth > 0
        || motion == Motion::Follows
        || (known == 2 && motion == Motion::Fits);
    let told = known > 0 || is_custom || (closeness >= 2 && motion >= Motion::Fits);
    let is_asked = closeness >= 3 && roles.1.is_some() && actual.warmth == 2;
    // Two names for one thing at two ends of a document need a word for the set point.
    if !plain || !told || (motion == Motion::Against && known < 2 && !is_custom && !(closeness >= 4 || is_asked)) {
        return None;
    }
    let (certainty, why) = match (known, roles.1, motion) {
        (2, _, Motion::Fits | Motion::Follows) => (Certainty::Sure, "key words, and one follows the other"),
        (2, _, Motion::Open) => (Certainty::Likely, "key words"),
        (1, Some(_), Motion::Follows) => (Certainty::Sure, "a key word, and one follows the other"),
        (1, Some(_), Motion::Fits) if warmth > 0 => (Certainty::Sure, "a key word, and one is near the other"),
        (1, _, Motion::Follows | Motion::Fits) => (Certainty::Likely, "a key word, and one is near the other"),
        (0, _, Motion::Follows) => (Certainty::Likely, "one follows the other"),
        (_, _, Motion::Open) if is_custom => (Certainty::Likely, "as in the heaters beside it"),
        (_, _, Motion::Against) => (Certainty::Guess, "key words, though they do not move together"),
        (_, _, _) => (Certainty::Guess, "they stand side by side"),
    };
    let moved = match motion {
        Motion::Against => -3,
        Motion::Open => 0,
        Motion::Fits => 1,
        Motion::Follows => 2,
    };
    Some(Found {
        actual: actual.idx,
        target: target.idx,
        certainty,
        why,
        score: closeness * 2 + known * 3 + moved + warmth + i32::from(is_custom) * 2,
    })
}

/// Whether the first moves while the second stands still.
pub(super) fn moves_alone(actual: &Leaf, target: &Leaf) -> bool {
    let is_still = |leaf: &Leaf| leaf.series.as_ref().is_some_and(Series::is_still);
    !is_still(actual) && is_still(target)
}

/// Whether it stands still but for leaps, as no heater does.
pub(super) fn goes_in_steps(series: &Series) -> bool {
    const LOOKS_MIN: usize = 8;
    /// A share of the value that no heater gains or loses within a look, nor passes without a look between.
    const LEAP: f64 = 0.15;
    let there: Vec<f64> = series.there().collect();
    let moves = there.windows(2).filter(|pair| super::series::differ(pair[0], pair[1]));
    let leaps = moves.clone().all(|pair| (pair[0] - pair[1]).abs() > LEAP * series.max());
    there.len() >= LOOKS_MIN && (1..TARGET_KINDS_MAX).contains(&series.changes()) && leaps
}

/// Whether it moves as a sensor does.
fn has_noise(leaf: &Leaf) -> bool {
    leaf.series.as_ref().is_some_and(|series| series.kinds() > 2)
}

/// 3: the same words but for the roles; 2: one step of the path differs; `None`: they do not belong together.
fn closeness(actual: &Side<'_>, target: &Side<'_>) -> Option<i32> {
    let (a, t) = (actual.leaf, target.leaf);
    if actual.place == target.place {
        return Some(if a.parent() == t.parent() { 4 } else { 3 });
    }
    if target.role == Some(Role::Target) && kin::are_kin(a, t) {
        return Some(3);
    }
    if a.document != t.document || a.steps.len() != t.steps.len() {
        return None;
    }
    let mut differing = a.steps.iter().zip(&t.steps).filter(|(one, other)| one != other);
    let (one, other) = differing.next()?;
    let are_keys = matches!((&one.way, &other.way), (Way::Key(_), Way::Key(_)));
    // In a row of a table the name, or a number of its own, may stand before the two.
    let is_row = a.parent().last().is_some_and(|step| matches!(step.way, Way::Index(_)));
    let are_two_numbers = match (&one.way, &other.way) {
        (Way::Index(one), Way::Index(other)) => one.abs_diff(*other) == 1 && (is_row || one + other == 1),
        _ => false,
    };
    if are_two_numbers && a.parent() == t.parent() && differing.next().is_none() {
        return Some(2);
    }
    let tells = |step: &super::leaf::Step| {
        let sides = step.words.iter().any(|word| words::side(word).is_some());
        let digits = step
            .words
            .iter()
            .any(|word| word.chars().all(char::is_numeric) || TELLING_LETTERS.contains(&word.as_str()));
        let lists = [words::TOOL, words::BED, words::ELSEWHERE];
        // A lone t may be a temperature as well.
        let is_letter = step.words.len() == 1 && step.words.iter().all(|word| word.len() == 1);
        sides || digits || !is_letter && lists.iter().any(|list| words::any(&step.words, list))
    };
    // `left` beside `right`, or `bed` beside `nozzle`, are two heaters.
    let are_two = tells(one) || tells(other);
    (differing.next().is_none() && are_keys && !are_two).then_some(2)
}

/// What the motion says; `None` when the first can't be a temperature that follows the second at all.
pub(super) fn motion(actual: &Series, target: &Series) -> Option<Motion> {
    if actual.max() < ACTUAL_MIN || target.kinds() > TARGET_KINDS_MAX {
        return None;
    }
    let both: Vec<(f64, f64)> =
        actual.values.iter().zip(&target.values).filter_map(|(a, t)| Some(((*a)?, (*t)?))).collect();
    let Some(&(_, asked)) = both.last() else { return Some(Motion::Open) };
    let has_changed = both.iter().any(|(_, t)| super::series::differ(*t, asked));
    // What was asked for last, from there on.
    let since = both.iter().rposition(|(_, t)| super::series::differ(*t, asked)).map_or(0, |idx| idx + 1);
    let run: Vec<f64> = both[since..].iter().map(|(a, _)| *a).collect();
    let (first, last) = (*run.first()?, *run.last()?);
    let scale = asked.max(actual.max());
    let moved = (last - first) / scale;
    let gap = (asked - last) / scale;
    if actual.is_still() && has_changed && both.len() - since > 5 {
        return Some(Motion::Against);
    }
    if run.iter().all(|a| (asked - a).abs() <= REACHED * scale) {
        return Some(if actual.is_still() && !has_changed { Motion::Open } else { Motion::Fits });
    }
    let towards = (moved > NOISE && gap > -REACHED) || (moved < -NOISE && gap < REACHED);
    let away = (moved < -NOISE && gap > REACHED) || (moved > NOISE && gap < -REACHED);
    let is_off = OFFS.iter().any(|off| (asked - off).abs() < 0.01);
    Some(match (towards, away, is_off) {
        (true, _, _) => Motion::Follows,
        (_, _, true) if moved <= NOISE => Motion::Fits,
        // A hot end that begins to extrude sags.
        (_, true, _) if gap.abs() <= SAG => Motion::Open,
        // A heater takes a while to answer a new set point.
        (_, true, _) if !has_changed => Motion::Against,
        (_, _, _) => Motion::Open,
    })
}
