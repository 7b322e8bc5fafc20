//! How hard a heater works: which value is its power, and of what whole it is a share. Must not: tell heaters apart.

use super::certainty::Certainty;
use super::heat::Heater;
use super::leaf::Leaf;
use super::pair;
use super::series::differ;
use super::words;

/// A heater's duty: a leaf, its factor, how sure and why.
#[derive(Clone, Debug)]
pub(super) struct Duty {
    pub(super) leaf: usize,
    pub(super) factor: f64,
    pub(super) certainty: Certainty,
    pub(super) why: String,
}

/// Words for a share, which tell no heater from another.
const SHARES: &[&str] =
    &["percent", "percentage", "pct", "permille", "promille", "thousandth", "fraction", "ratio", "share", "hundredth"];
/// The whole of a share as hosts write it: one, per cent, a byte, per mille.
const WHOLES: [f64; 4] = [1.0, 100.0, 255.0, 1000.0];

/// The duty of each heater, as far as one is found.
pub(super) fn duties(leaves: &[Leaf], heaters: &[Heater]) -> Vec<Option<Duty>> {
    let of = |heater: &Heater| {
        let base = heater.leaf(leaves)?;
        let place: Vec<String> = pair::place(base);
        let fits = |leaf: &Leaf| {
            let is_share = |word: &String| words::is_one(word, words::DUTY) || words::is_one(word, SHARES);
            let without: Vec<String> = pair::place(leaf).into_iter().filter(|word| !is_share(word)).collect();
            // An object of this heater alone names its values well enough.
            let is_alone = |other: &&Heater| other.leaf(leaves).is_some_and(|other| other.parent() == base.parent());
            let is_own = leaf.parent() == base.parent() && heaters.iter().filter(is_alone).count() == 1;
            let is_near = leaf.document == base.document && (without == place || is_own && base.parent().len() > 1);
            // The power of all heaters may stand in an object of its own.
            let said = leaf.words();
            let of_heater = words::any(leaf.own(), SHARES) && words::any(leaf.own(), words::HEAT);
            is_near
                && (of_heater || words::any(&said, words::DUTY))
                && !words::any(&said, words::LIMIT)
                && pair::role(leaf).is_none()
        };
        let found: Vec<usize> = (0..leaves.len())
            .filter(|idx| Some(*idx) != heater.actual && Some(*idx) != heater.target)
            .filter(|idx| leaves[*idx].series.as_ref().is_some_and(|series| series.min() >= 0.0) && fits(&leaves[*idx]))
            .collect();
        found.first().map(|idx| (*idx, found.len() > 1))
    };
    let mut found: Vec<Option<(usize, bool)>> = heaters.iter().map(of).collect();
    if found.iter().all(Option::is_none) {
        found = super::mute::duties(leaves, heaters).into_iter().map(|found| found.map(|idx| (idx, true))).collect();
    }
    // Written alike, so one that is at full power tells the whole for all.
    let largest =
        found.iter().flatten().filter_map(|(idx, _)| leaves[*idx].series.as_ref()).map(super::series::Series::max);
    let largest = largest.fold(0.0, f64::max);
    let judged = |(idx, has_rival): (usize, bool)| {
        let (whole, certainty, why) = whole_of(&leaves[idx], largest)?;
        let certainty = if has_rival { certainty.lower() } else { certainty };
        Some(Duty { leaf: idx, factor: 1.0 / whole, certainty, why })
    };
    found.into_iter().map(|found| found.and_then(judged)).collect()
}

fn whole_of(leaf: &Leaf, largest: f64) -> Option<(f64, Certainty, String)> {
    let percent = leaf.series.as_ref().and_then(|series| series.suffix.as_deref()) == Some("%")
        || leaf.form == Some(super::found::HintForm::Percent)
        || words::any(leaf.own(), &["percent", "percentage", "pct", "hundredth"]);
    if percent && largest <= 100.0 {
        let moves = leaf.series.as_ref().is_some_and(|series| !series.is_still());
        let certainty = if moves { Certainty::Sure } else { Certainty::Likely };
        return Some((100.0, certainty, "key words and per cent".to_owned()));
    }
    if words::any(leaf.own(), &["permille", "promille", "thousandth"]) && largest <= 1000.0 {
        return Some((1000.0, Certainty::Likely, "key words and per mille".to_owned()));
    }
    let whole = WHOLES.into_iter().find(|whole| largest <= *whole)?;
    if largest <= 0.0 {
        return None;
    }
    if !differ(whole, largest) {
        return Some((whole, Certainty::Likely, format!("key words; {whole} at full power")));
    }
    Some((whole, Certainty::Guess, format!("key words; up to {largest} while watched, so perhaps of {whole}")))
}
