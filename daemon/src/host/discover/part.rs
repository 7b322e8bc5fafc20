//! Counts with their wholes beside them: bytes of a size, layers of layers, seconds of seconds. Owns which two values
//! belong together; which of several shares is the job's progress is judged in `job`.

use super::job::Share;
use super::leaf::Leaf;
use super::proposal::Place;
use super::series::{Series, differ};
use super::words;

/// Words that say how far a count has come.
#[rustfmt::skip]
const SO_FAR: &[&str] = &[
    "done", "current", "now", "at", "read", "printed", "elapsed", "passed", "completed", "complete", "finished", "made",
    "so", "far", "number", "no", "position", "pos", "offset", "sent", "consumed", "processed", "streamed", "present",
    "actual", "reached", "laid", "gone", "spent", "index", "is", "progress", "already", "taken", "through", "cursor", "running",
];
/// Words that say that a number is a whole.
#[rustfmt::skip]
const OF: &[&str] = &[
    "total", "size", "of", "all", "whole", "length", "count", "max", "full", "estimated", "overall", "expected", "sum",
    "planned", "end", "last", "estimate", "long", "altogether", "out", "needed", "big",
];
/// Words that tell nothing of what is counted.
const FILLERS: &[&str] = &["in", "the", "a", "job", "print", "task", "work", "and", "for", "to", "value", "num", "n"];
/// What is counted in a job, and how much the count is worth.
#[rustfmt::skip]
const COUNTED: [(&[&str], i32); 3] = [
    (&["byte", "octet", "file", "filepos"], 2),
    (&["layer", "line", "row", "command", "block", "slice"], 1),
    (&["second", "sec", "time", "duration", "minute", "min", "s", "ms"], 1),
];
/// Words of what has a part and a whole without being a job.
#[rustfmt::skip]
const NOT_OF_JOB: &[&str] = &[
    "remaining", "uptime", "eta", "timestamp", "epoch", "unix", "height", "extruder", "nozzle", "memory", "disk",
    "storage", "fan", "filament", "spool", "humidity", "heater", "temperature", "tool", "queue", "left", "queued",
    "network", "lifetime", "service", "hour", "jobs", "cpu", "battery", "retry",
];
/// A file's size in bytes is over this; fewer are lines or layers.
const FILE_MIN: f64 = 1000.0;
/// An estimate of the whole may be made anew now and then.
const WHOLES_MAX: usize = 3;

/// What is counted: the words that are neither of the part nor of the whole.
fn topic(leaf: &Leaf) -> Vec<String> {
    let of = |words: &[String]| {
        let telling = words.iter().filter(|word| !words::is_one(word, SO_FAR) && !words::is_one(word, OF));
        let telling = telling.filter(|word| !words::is_one(word, FILLERS)).map(|word| words::singular(word));
        let mut topic: Vec<String> = telling.collect();
        topic.sort_unstable();
        topic.dedup();
        topic
    };
    of(leaf.own())
}

fn above(leaf: &Leaf) -> Vec<String> {
    leaf.parent().last().map(|step| step.words.clone()).unwrap_or_default()
}

/// The value as a share of its whole.
pub(super) fn of(leaves: &[Leaf], idx: usize) -> Option<Share> {
    let leaf = &leaves[idx];
    let (points, is_of_bytes) = worth(leaf)?;
    let whole = whole(leaves, leaf)?;
    let (part_series, whole_series) = (leaf.series.as_ref()?, whole.series.as_ref()?);
    let total = whole_series.max();
    let share = |(part, whole): (&Option<f64>, &Option<f64>)| Some((*part)? / (*whole).filter(|whole| *whole > 0.0)?);
    Some(Share {
        place: Place::of(leaf).with("of", whole.path.clone()),
        values: part_series.values.iter().zip(&whole_series.values).map(share).collect(),
        fineness: if is_of_bytes && total >= FILE_MIN { total } else { total.min(99.0) },
        points,
        is_scaled: true,
        why: format!("key words, and its whole at {:?}", whole.own().join(" ")),
    })
}

/// Whether it is how far a file is read, by its words and the file's size beside it.
pub(super) fn is_file_read(leaves: &[Leaf], idx: usize) -> bool {
    let leaf = &leaves[idx];
    let is_file = words::any(leaf.own(), &["file", "document", "program"]) && words::any(leaf.own(), SO_FAR);
    let total = whole(leaves, leaf).and_then(|whole| whole.series.as_ref()).map(Series::max);
    is_file && total.is_some_and(|total| total >= FILE_MIN)
}

/// Points for what is counted, and whether it is bytes.
fn worth(leaf: &Leaf) -> Option<(i32, bool)> {
    let series = leaf.series.as_ref()?;
    let is_count = series.never_falls() && series.is_whole() && series.min() >= 0.0 && !leaf.is_container;
    let is_barred = words::any(&leaf.words(), NOT_OF_JOB)
        || words::any(leaf.own(), &["total", "size", "length", "count", "expected", "estimated", "num", "all"]);
    if !is_count || is_barred {
        return None;
    }
    let said: Vec<String> = leaf.own().iter().cloned().chain(above(leaf)).collect();
    let in_job = words::any(&leaf.above(), &["progress", "job", "print", "task", "work", "order", "file"]);
    let is_told = leaf.units.iter().any(|unit| words::any(&words::split(unit), &["byte", "octet"])) && in_job;
    let is_position = words::any(&leaf.words(), words::BYTE) && !words::any(&leaf.words(), &["x", "y", "z", "axis"]);
    if is_told || is_position || leaf.form == Some(super::found::HintForm::Bytes) {
        return Some((2, true));
    }
    let counted = COUNTED.iter().find(|(counted, _)| words::any(&said, counted));
    let is_bytes = counted.is_some_and(|(_, points)| *points == 2);
    let generic = (in_job && words::any(leaf.own(), SO_FAR)).then_some(1);
    counted.map(|(_, points)| *points).or(generic).map(|points| (points, is_bytes))
}

/// The one value that it is a part of.
fn whole<'l>(leaves: &'l [Leaf], part: &Leaf) -> Option<&'l Leaf> {
    let mine = topic(part);
    let kinship = |other: &Leaf| {
        let theirs = topic(other);
        let is_beside = other.parent() == part.parent();
        let is_plural = other.own().len() == part.own().len()
            && other.own().iter().zip(part.own()).all(|(other, part)| words::singular(other) == words::singular(part));
        let is_called = words::any(other.own(), OF) && !(words::any(other.own(), SO_FAR) && other.own().len() < 3);
        let is_bare = !words::any(other.own(), SO_FAR) && words::any(part.own(), SO_FAR);
        if is_plural && other.own() != part.own() && part.own().iter().all(|word| !word.ends_with('s')) {
            return Some(3);
        }
        let ends = |leaf: &Leaf| leaf.own().last().is_some_and(|word| word.ends_with('s'));
        let are_many = ends(other) && !ends(part) && !words::any(other.own(), SO_FAR);
        if !mine.is_empty() && theirs == mine && (is_called || is_bare || are_many) {
            return Some(3);
        }
        let counted =
            COUNTED.iter().find(|(counted, _)| words::any(&mine, counted) || words::any(&above(part), counted));
        let is_same_count = counted.is_some_and(|(counted, points)| {
            words::any(&theirs, counted)
                || words::any(&above(other), counted)
                || *points == 2 && words::any(other.own(), &["size"])
        });
        if is_called && is_same_count {
            return Some(2);
        }
        // The size of a file is no whole of layers.
        let is_other_size = words::any(other.own(), &["size", "length", "big"]) && !mine.is_empty();
        (is_called && is_beside && !is_other_size && (theirs.is_empty() || mine.is_empty())).then_some(1)
    };
    let mut found: Vec<(i32, &Leaf)> = leaves
        .iter()
        .filter(|other| !std::ptr::eq(*other, part) && is_near(part, other) && holds(part, other))
        .filter_map(|other| Some((kinship(other)?, other)))
        .collect();
    found.sort_by_key(|(kinship, other)| (-kinship, other.parent() != part.parent()));
    let rank = |(kinship, other): &(i32, &Leaf)| (*kinship, other.parent() == part.parent());
    let best = found.first()?;
    found.get(1).is_none_or(|second| rank(second) != rank(best)).then_some(best.1)
}

fn is_near(part: &Leaf, other: &Leaf) -> bool {
    let (one, two) = (part.parent(), other.parent());
    part.document == other.document && (one == two || one.starts_with(two) || two.starts_with(one))
}

/// Whether it is as large as the part all the while, and stands still but for a new job.
fn holds(part: &Leaf, other: &Leaf) -> bool {
    let (Some(part), Some(whole)) = (&part.series, &other.series) else { return false };
    let both = part.values.iter().zip(&whole.values).filter_map(|(part, whole)| Some(((*part)?, (*whole)?)));
    let is_over = both.clone().all(|(part, whole)| whole >= part);
    let is_less = both.clone().any(|(part, whole)| differ(whole, part)) || both.clone().all(|(part, _)| part > 1.0);
    let is_whole = whole.is_whole() && whole.max() > 1.0 && !whole.has_fraction && whole.suffix == part.suffix;
    is_over && is_less && is_whole && whole.kinds() <= WHOLES_MAX && !words::any(other.own(), NOT_OF_JOB)
}
