//! The host's own time: a value that moves with the watch, second by second.

use super::certainty::Certainty;
use super::found::Snapshot;
use super::leaf::Leaf;
use super::proposal::{Kind, Place, Proposed};
use super::words;

/// No host is older: 2001-09-09, in seconds since 1970-01-01 UTC.
const UNIX_MIN: f64 = 1e9;
/// Seconds beyond this are milliseconds.
const UNIX_MAX: f64 = 1e11;
/// The host's time and ours pass alike within this share, which leaves room for whole seconds in a short watch.
const RATE: std::ops::RangeInclusive<f64> = 0.7..=1.3;

/// Proposes the host's time.
pub(super) fn time(leaves: &[Leaf], snapshots: &[Snapshot], heaters: &[usize]) -> Option<Proposed> {
    let mut found: Vec<(bool, &Leaf, &'static str)> = leaves
        .iter()
        .filter(|leaf| {
            !words::any(leaf.own(), words::NOT_NOW) && !words::any(&leaf.above(), &["job", "history", "queue", "log"])
        })
        .filter_map(|leaf| {
            let (form, seconds) = seconds(leaf)?;
            Some((moves(&seconds, snapshots)?, leaf, form))
        })
        .collect();
    let with_heaters = |leaf: &Leaf| heaters.iter().any(|idx| leaves[*idx].document == leaf.document);
    found.sort_by_key(|(moves, leaf, _)| (!*moves, !with_heaters(leaf), leaf.steps.len()));
    let (moves, leaf, form) = found.first()?;
    let certainty = match (*moves, with_heaters(leaf)) {
        (true, true) => Certainty::Sure,
        (true, false) => Certainty::Likely,
        (false, _) => Certainty::Guess,
    };
    // Two times of one document need not be those of the same values.
    let is_rivalled = found.iter().skip(1).any(|(other, two, _)| *other == *moves && two.document == leaf.document);
    let certainty = if is_rivalled { certainty.lower() } else { certainty };
    let why = if *moves { "an instant that moves with the watch" } else { "an instant, which stood still" };
    let mut field = Proposed::one(Kind::Time, Place::of(leaf).with("form", *form), certainty, why);
    field.alternatives =
        found.iter().skip(1).take(2).map(|(_, leaf, form)| Place::of(leaf).with("form", *form)).collect();
    (*moves).then_some(field)
}

/// How it is written, and as seconds.
fn seconds(leaf: &Leaf) -> Option<(&'static str, Vec<Option<f64>>)> {
    if let Some(series) = &leaf.series {
        let form = match series.min() {
            min if min >= UNIX_MAX => ("unix_ms", 1000.0),
            min if min >= UNIX_MIN => ("unix_s", 1.0),
            _ => return None,
        };
        return Some((form.0, series.values.iter().map(|value| value.map(|value| value / form.1)).collect()));
    }
    let parse = |value: &Option<serde_json::Value>| match value {
        Some(serde_json::Value::String(text)) => {
            let parsed: jiff::Timestamp = text.parse().ok()?;
            Some(parsed.as_duration().as_secs_f64())
        }
        _ => None,
    };
    let seconds: Vec<Option<f64>> = leaf.values.iter().map(parse).collect();
    seconds.iter().any(Option::is_some).then_some(("rfc3339", seconds))
}

/// Whether it passes as our own time does; `None` when there are too few to say.
fn moves(seconds: &[Option<f64>], snapshots: &[Snapshot]) -> Option<bool> {
    let both: Vec<(f64, f64)> =
        seconds.iter().zip(snapshots).filter_map(|(told, snapshot)| Some(((*told)?, snapshot.after.get()))).collect();
    let (first, last) = (both.first()?, both.last()?);
    let passed = last.1 - first.1;
    if passed < 3.0 {
        return Some(false);
    }
    Some(RATE.contains(&((last.0 - first.0) / passed)))
}
