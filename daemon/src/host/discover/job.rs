//! How far the job is and what it is called: progress, bytes read, the file's name.

use super::certainty::Certainty;
use super::found::HintForm;
use super::leaf::Leaf;
use super::meaning;
use super::part;
use super::proposal::{Kind, Place, Proposed};
use super::series::{Series, differ};
use super::words;

/// Progress as one candidate has it.
pub(super) struct Share {
    pub(super) place: Place,
    /// 0 to 1, one a snapshot.
    pub(super) values: Vec<Option<f64>>,
    /// How many steps the whole has, as written.
    pub(super) fineness: f64,
    pub(super) points: i32,
    /// Whether the whole is known, by a word or a partner.
    pub(super) is_scaled: bool,
    pub(super) why: String,
}

/// The wholes that a share is written of: one, per cent, per mille.
const WHOLES: [f64; 3] = [1.0, 100.0, 1000.0];
/// Two shares of one job agree within so much, or one is of something else.
const AGREES_WITHIN: f64 = 0.02;
/// What is said of a count that is a constant times progress.
const IN_STEP: &str = ", in step with progress";
/// So many steps of progress are as good as more: a poll a second sees no finer.
const FINE_ENOUGH: f64 = 1000.0;
/// Fewer different numbers of a value without a name are no motion.
const MOVES_MIN: usize = 3;
/// Bytes go by faster than this a second, where seconds and layers do not.
const BYTES_A_LOOK_MIN: f64 = 1.5;

/// Progress.
pub(super) fn fraction(leaves: &[Leaf], taken: &[usize]) -> Option<Proposed> {
    let free = |idx: &usize| !taken.contains(idx);
    // A host that has a heater's power in thousandths has its other shares so too.
    let has_permille = leaves.iter().any(|leaf| {
        let series = leaf.series.as_ref().filter(|series| series.suffix.is_none() && series.is_whole());
        words::any(leaf.own(), words::DUTY) && series.is_some_and(|series| (256.0..=1000.0).contains(&series.max()))
    });
    let parts: Vec<Share> = (0..leaves.len()).filter(free).filter_map(|idx| part::of(leaves, idx)).collect();
    let mut shares: Vec<Share> =
        (0..leaves.len()).filter(free).filter_map(|idx| share(&leaves[idx], &parts, has_permille)).collect();
    shares.extend(parts);
    // What the host itself calls progress comes before what can be divided, unless it is coarser.
    shares.sort_by(|one, other| {
        let key = |share: &Share| (share.points > 1, share.is_scaled);
        let fineness = |share: &Share| share.fineness.min(FINE_ENOUGH);
        let by_fineness = fineness(other).total_cmp(&fineness(one));
        key(other).cmp(&key(one)).then(by_fineness).then(other.points.cmp(&one.points))
    });
    let best = shares.first()?;
    let others = shares.get(1..)?;
    let last = |share: &Share| share.values.iter().rev().copied().flatten().next();
    let agreeing = others.iter().filter(|other| match (last(best), last(other)) {
        (Some(one), Some(two)) => (one - two).abs() <= AGREES_WITHIN,
        _ => false,
    });
    let agreeing = agreeing.count();
    let rises = rises(&best.values);
    let certainty = match (best.points > 1, best.is_scaled, rises) {
        (true, true, true) => Certainty::Sure,
        (true, true, false) | (true, false, true) | (false, true, true) => Certainty::Likely,
        (_, _, _) => Certainty::Guess,
    };
    // Another value with as good a name that says something else.
    let is_rivalled = others.iter().any(|other| {
        other.points >= best.points
            && matches!((last(best), last(other)), (Some(one), Some(two)) if (one - two).abs() > AGREES_WITHIN)
    });
    let certainty = if is_rivalled { certainty.lower() } else { certainty };
    let with = if agreeing > 0 { ", and another value agrees" } else { "" };
    Some(Proposed {
        kind: Kind::Fraction,
        places: vec![best.place.clone()],
        certainty,
        why: format!("{}{with}", best.why),
        alternatives: others.iter().take(3).map(|other| other.place.clone()).collect(),
    })
}

fn rises(values: &[Option<f64>]) -> bool {
    let there: Vec<f64> = values.iter().copied().flatten().collect();
    there.windows(2).all(|pair| pair[1] >= pair[0]) && there.last() > there.first()
}

/// A share by itself.
fn share(leaf: &Leaf, parts: &[Share], has_permille: bool) -> Option<Share> {
    let series = leaf.series.as_ref().filter(|series| series.min() >= 0.0)?;
    let own = leaf.spoken();
    let barred = words::any(&leaf.words(), words::NOT_PROGRESS)
        || words::any(own, words::BYTE)
        || words::any(own, &["layer", "time", "second", "elapsed", "total", "size"]);
    // `done` under `layers` counts layers.
    let counts =
        leaf.parent().last().is_some_and(|step| words::any(&step.words, &["layer", "byte", "second", "time", "line"]));
    let barred = barred
        || counts && !words::any(own, &["percent", "percentage", "pct", "fraction", "share", "ratio", "permille"]);
    let named = words::any(own, words::PROGRESS);
    let percent = series.suffix.as_deref() == Some("%")
        || leaf.form == Some(HintForm::Percent)
        || leaf.units.first().is_some_and(|unit| unit == "%")
        || words::any(own, &["percent", "percentage", "pct", "perc", "percentdone"]);
    let permille = words::any(own, &["permille", "promille", "thousandth"]);
    let fits_suffix = series.suffix.as_deref().is_none_or(|suffix| suffix == "%");
    let above = words::any(&leaf.above(), words::JOB) || words::any(&leaf.above(), &["progress"]);
    if barred || !fits_suffix || leaf.is_container || !series.never_falls() || series.max() > 1000.0 {
        return None;
    }
    // Without a word, only a growing number within the job's own object is looked at.
    let may_grow = above && series.rises() && series.has_fraction;
    // Nor where no word says anything, a share that grows little by little.
    let is_mute = !own.iter().any(|word| words::is_known(word) || word.chars().count() > 2);
    let may_be = is_mute && series.rises() && series.has_fraction && series.max() <= 1.0 && series.kinds() >= MOVES_MIN;
    if !(named || percent || may_grow || may_be) {
        return None;
    }
    let partner = |whole: f64| {
        let newest = series.last() / whole;
        let last = |part: &Share| part.values.iter().rev().copied().flatten().next();
        newest > 0.0
            && parts.iter().any(|part| {
                part.fineness > 200.0 && last(part).is_some_and(|other| (other - newest).abs() <= AGREES_WITHIN / 4.0)
            })
    };
    let agreeing: Vec<f64> = WHOLES.into_iter().filter(|whole| partner(*whole)).collect();
    let (whole, is_scaled, why) = if percent && series.max() <= 100.0 {
        (100.0, series.max() > 1.0 || agreeing == [100.0] || series.suffix.is_some() || leaf.form.is_some(), "per cent")
    } else if permille {
        (1000.0, true, "per mille")
    } else if let [whole] = agreeing.as_slice() {
        (*whole, true, "its whole agrees with another value")
    } else if series.max() > 100.0 {
        (1000.0, true, "over 100")
    } else if series.max() > 1.0 && series.is_whole() && has_permille {
        (1000.0, false, "over 1, of a thousand as the heaters' power")
    } else if series.max() > 1.0 {
        // Over 1 it is no fraction; that it is per cent and not per mille is a matter of custom.
        (100.0, series.is_whole() || series.max() > 10.0, "over 1")
    } else {
        let fraction = words::any(own, &["fraction", "ratio", "share", "proportion", "portion"]);
        (1.0, fraction && series.has_fraction, "up to 1")
    };
    // Between 1 and 100 a share of a thousand is possible as well, with the name of neither.
    let is_scaled = is_scaled && (percent || permille || series.max() > 100.0 || !agreeing.is_empty() || whole <= 1.0);
    let mut place = Place::of(leaf);
    if series.suffix.is_some() {
        place = place.with("suffix", "%");
    }
    if whole > 1.0 {
        place = place.with("scale", 1.0 / whole);
    }
    let values = series.values.iter().map(|value| value.map(|value| value / whole)).collect();
    let points = i32::from(named || percent) * 2 + i32::from(above);
    let fineness = if series.has_fraction { whole * 1000.0 } else { whole };
    Some(Share { place, values, fineness, points, is_scaled, why: format!("key words, {why}") })
}

/// Bytes of the job file read so far.
pub(super) fn byte(leaves: &[Leaf], taken: &[usize], fraction: Option<&Leaf>) -> Option<Proposed> {
    let mut found: Vec<(i32, &Leaf, String)> = (0..leaves.len())
        .filter(|idx| !taken.contains(idx))
        .filter_map(|idx| {
            let leaf = &leaves[idx];
            let series = leaf.series.as_ref()?;
            let own = leaf.spoken();
            let grows = series.never_falls()
                && series.is_whole()
                && series.min() >= 0.0
                && !series.has_fraction
                && series.suffix.is_none();
            let barred = words::any(
                own,
                &["total", "size", "free", "memory", "remaining", "x", "y", "z", "layer", "time", "tool", "left"],
            ) || words::any(
                &leaf.above(),
                &["network", "storage", "memory", "disk", "axis", "axes", "wifi", "position", "head"],
            );
            // What is sent of a whole beside it is a file; the rest is a network's.
            let barred = barred || words::any(own, &["sent", "received"]) && part::of(leaves, idx).is_none();
            let is_whole = leaf.own().len() == 1 && words::any(leaf.own(), &["of", "all", "whole"]);
            if !grows || barred || is_whole || leaf.is_container {
                return None;
            }
            let above = leaf.parent().last().map_or(&[][..], |step| &step.words);
            let is_told = leaf.units.iter().any(|unit| words::any(&words::split(unit), &["byte", "octet"]));
            let is_named = words::any(own, words::BYTE)
                || words::any(above, &["byte", "octet"])
                || is_told
                || part::is_file_read(leaves, idx)
                || leaf.form == Some(HintForm::Bytes);
            let is_byte = words::any(own, &["byte", "octet", "filepos"])
                || words::any(above, &["byte", "octet"])
                || leaf.form == Some(HintForm::Bytes);
            let in_step = fraction
                .and_then(|fraction| fraction.series.as_ref())
                .is_some_and(|fraction| in_step(series, fraction));
            if !is_named && !in_step {
                return None;
            }
            let points =
                i32::from(is_named) * 2 + i32::from(is_byte) * 2 + i32::from(in_step) * 2 + i32::from(series.rises());
            let step = if in_step { IN_STEP } else { "" };
            Some((points, leaf, format!("{}{step}", if is_named { "key words" } else { "a growing whole number" })))
        })
        .collect();
    found.sort_by_key(|(points, _, _)| -points);
    let (points, leaf, why) = found.first()?;
    let is_rivalled = found.get(1).is_some_and(|(other, _, _)| other >= points);
    // Bytes of what is only sure where they keep step with the job.
    let certainty = match points {
        5.. if why.contains(IN_STEP) => Certainty::Sure,
        3.. => Certainty::Likely,
        _ => Certainty::Guess,
    };
    let certainty = if is_rivalled { certainty.lower() } else { certainty };
    let mut field = Proposed::one(Kind::Byte, Place::of(leaf), certainty, why.clone());
    field.alternatives = found.iter().skip(1).take(3).map(|(_, leaf, _)| Place::of(leaf)).collect();
    Some(field)
}

/// Whether one is the other times a constant, which only bytes of a file are to a share of it.
fn in_step(bytes: &Series, share: &Series) -> bool {
    let both: Vec<(f64, f64)> = bytes
        .values
        .iter()
        .zip(&share.values)
        .filter_map(|(byte, share)| Some(((*byte)?, (*share)?)))
        .filter(|(_, share)| *share > 0.0)
        .collect();
    let ratios: Vec<f64> = both.iter().map(|(byte, share)| byte / share).collect();
    let (least, most) =
        ratios.iter().fold((f64::INFINITY, 0.0_f64), |(least, most), ratio| (least.min(*ratio), most.max(*ratio)));
    let kinds = bytes.kinds();
    kinds > 3
        && share.has_fraction
        && (bytes.last() - bytes.first()) / super::writing::count(bytes.values.len()) > BYTES_A_LOOK_MIN
        && least > 0.0
        && (most - least) / most < AGREES_WITHIN / 2.0
}

/// The job file's name.
pub(super) fn name(leaves: &[Leaf], state: Option<&str>) -> Option<Proposed> {
    let mut found: Vec<(i32, &Leaf)> = leaves
        .iter()
        .filter(|leaf| Some(leaf.path.as_str()) != state)
        .filter_map(|leaf| Some((name_points(leaf)?, leaf)))
        .collect();
    found.sort_by_key(|(points, leaf)| (-points, leaf.steps.len()));
    let (points, leaf) = found.first()?;
    let is_rivalled =
        found.get(1).is_some_and(|(other, other_leaf)| other >= points && other_leaf.texts() != leaf.texts());
    let certainty = match points {
        5.. => Certainty::Sure,
        3.. => Certainty::Likely,
        _ => Certainty::Guess,
    };
    let certainty = if is_rivalled { certainty.lower() } else { certainty };
    let texts = leaf.texts().unwrap_or_default();
    let empty = texts.iter().filter(|text| is_no_name(text)).map(|text| (text.clone(), String::new()));
    let mut field = Proposed::one(Kind::Name, Place::of(leaf).with_words(empty), certainty, "key words and its text");
    field.alternatives = found.iter().skip(1).take(3).map(|(_, leaf)| Place::of(leaf)).collect();
    Some(field)
}

fn is_no_name(text: &str) -> bool {
    matches!(text.trim().to_lowercase().as_str(), "-" | "--" | "—" | "none" | "n/a" | "no job" | "no file" | "nothing")
}

fn name_points(leaf: &Leaf) -> Option<i32> {
    let own = leaf.own();
    let barred = words::any(own, words::NOT_NAME)
        || words::any(&leaf.above(), words::NOT_NAME) && !words::any(&leaf.above(), words::JOB)
        || words::any(&leaf.above(), &["queue", "history", "next", "previous", "last", "recent"])
        || words::any(own, &["state", "status", "phase"]);
    if barred || leaf.is_container || leaf.is_naming() {
        return None;
    }
    let machine = words::any(&leaf.above(), &["printer", "machine", "host", "device", "board", "controller"]);
    let named = words::any(own, words::NAME);
    let above = words::any(&leaf.above(), &["job", "print", "task", "work", "order", "file", "run", "production"]);
    let file = words::any(own, &["file", "filename", "job", "document", "program", "title", "sheet"]);
    if machine && !above && own.len() == 1 && own.first().is_some_and(|word| word == "name") {
        return None;
    }
    let Some(texts) = leaf.texts() else {
        // Nothing yet: there is no job. Only a file's own key speaks for it then.
        let unset = !leaf.values.is_empty() && leaf.there().next().is_none();
        let file = file && !words::any(own, &["job"]);
        return (unset && file && (named || above)).then_some(1 + i32::from(above));
    };
    let real: Vec<&String> = texts.iter().filter(|text| !is_no_name(text) && !text.trim().is_empty()).collect();
    let is_file = real.iter().any(|text| has_ending(text));
    let is_odd =
        real.iter().any(|text| text.contains("://") || text.parse::<jiff::Timestamp>().is_ok() || text.len() > 200);
    let is_state = !is_file && !real.is_empty() && real.iter().all(|text| meaning::of(text).is_some());
    let is_number = leaf.series.is_some();
    if is_odd || is_state || is_number || texts.len() > 3 || (!named && !is_file) {
        return None;
    }
    if real.is_empty() {
        return (file && (named || above)).then_some(1 + i32::from(above));
    }
    Some(i32::from(named) + i32::from(file) + i32::from(is_file) * 3 + i32::from(above))
}

fn has_ending(text: &str) -> bool {
    text.rsplit_once('.').is_some_and(|(name, ending)| {
        let sound = (1..=6).contains(&ending.len()) && ending.chars().all(char::is_alphanumeric);
        sound && ending.contains(char::is_alphabetic) && !name.is_empty() && name.contains(char::is_alphabetic)
    })
}

/// What is there only with a job, for hosts without a word for its state: the job's own object first.
pub(super) fn presence<'l>(leaves: &'l [Leaf], name: Option<&Proposed>) -> Vec<&'l Leaf> {
    let is_job = |leaf: &&Leaf| {
        leaf.own().iter().any(|word| matches!(word.as_str(), "job" | "print" | "task" | "work" | "order"))
    };
    let gaps = |leaf: &&Leaf| leaf.values.iter().any(|value| value.as_ref().is_none_or(serde_json::Value::is_null));
    let objects = leaves.iter().filter(|leaf| is_job(leaf) && (leaf.is_container || gaps(leaf)));
    let named = leaves.iter().filter(|leaf| {
        name.is_some_and(|name| {
            name.places.iter().any(|place| place.path == leaf.path && place.document == leaf.document)
        })
    });
    objects.chain(named).collect()
}

/// The value that a field stands for.
pub(super) fn leaf_of<'l>(leaves: &'l [Leaf], field: &Proposed) -> Option<&'l Leaf> {
    let place = field.places.first()?;
    leaves.iter().find(|leaf| leaf.document == place.document && leaf.path == place.path)
}

/// At which snapshots the progress is at its whole.
pub(super) fn is_full(leaves: &[Leaf], field: &Proposed) -> Vec<bool> {
    // The last of a job may be rounded away.
    const FULL: f64 = 0.999;
    let (Some(leaf), Some(place)) = (leaf_of(leaves, field), field.places.first()) else { return Vec::new() };
    let form = |key: &str| place.form.iter().find(|(known, _)| *known == key).map(|(_, value)| value);
    let scale = form("scale").and_then(toml::Value::as_float).unwrap_or(1.0);
    let whole = form("of").and_then(toml::Value::as_str);
    let whole = whole.and_then(|path| leaves.iter().find(|leaf| leaf.document == place.document && leaf.path == path));
    let at =
        |leaf: &Leaf, idx: usize| leaf.series.as_ref().and_then(|series| series.values.get(idx).copied().flatten());
    let share = |idx: usize| match whole {
        Some(whole) => Some(at(leaf, idx)? / at(whole, idx).filter(|whole| *whole > 0.0)?),
        None => Some(at(leaf, idx)? * scale),
    };
    (0..leaf.values.len()).map(|idx| share(idx).is_some_and(|share| share >= FULL)).collect()
}

/// Whether progress grew between the snapshot before and the one after each.
pub(super) fn progresses(leaf: Option<&Leaf>, snapshots: usize) -> Vec<bool> {
    let values = leaf.and_then(|leaf| leaf.series.as_ref()).map(|series| series.values.clone()).unwrap_or_default();
    let at = |idx: usize| values.get(idx).copied().flatten();
    (0..snapshots)
        .map(|idx| match (at(idx.saturating_sub(1)).or_else(|| at(idx)), at(idx + 1).or_else(|| at(idx))) {
            (Some(before), Some(after)) => after > before && differ(before, after),
            _ => false,
        })
        .collect()
}
