//! Charts of a trial and of a suggestion: what is expected beside what was seen, and a risk as it is beside what it would
//! be. Owns their scales; the sentences beside them say the same.

use crate::chart::{IntervalRow, Intervals, Range, Scale, intervals, intervals_of};
use crate::format;
use crate::learn::words::{capital, interval_short, number};
use crate::view::TrialFigures;
use dwell_analysis::advice::ModeEffect;
use dwell_analysis::estimate::Estimate;

/// Room beyond what is drawn.
const HEADROOM: f64 = 1.1;
/// A ratio further off than this says no more.
const RATIO_FAR: f64 = 8.0;

impl From<&Estimate> for Range {
    fn from(of: &Estimate) -> Self {
        Self { low: of.low, value: of.value, high: of.high }
    }
}

/// Failures that were expected without the change, with their interval, and those that were seen.
pub(super) fn expected_against_seen(id: &str, of: &TrialFigures) -> maud::Markup {
    let seen = format::plain(of.seen);
    let most = of.expected.high.max(seen).max(1.0);
    let exactly = |value: f64| Range { low: value, value, high: value };
    let row = IntervalRow {
        name: format!("With the change, {}", format::counted(u32::try_from(of.n_changed).unwrap_or(u32::MAX), "print")),
        prior: Some(Range::from(&of.expected)),
        posterior: Some(exactly(seen)),
        words: format!("{} seen, {} expected without it", of.seen, number(of.expected.value)),
    };
    let told = format!(
        "{} failures seen; expected without the change {} ({} to {}).",
        of.seen,
        number(of.expected.value),
        number(of.expected.low),
        number(of.expected.high)
    );
    let of = Intervals {
        id: &format!("{id}-seen"),
        name: "Failures expected without the change, and seen with it",
        told: &told,
        scale: Scale { from: 0.0, to: most * HEADROOM, name: "failures".to_owned(), show: number, is_log: false },
        zero: None,
        rows: &[row],
    };
    intervals_of(&of, ["expected without the change", "seen"])
}

/// The risk with the change over that without it.
pub(super) fn ratio(id: &str, of: &TrialFigures) -> maud::Markup {
    let Estimate { value, low, high, .. } = of.ratio;
    let row = IntervalRow {
        name: "Risk with the change over that without it".to_owned(),
        prior: None,
        posterior: Some(Range::from(&of.ratio)),
        words: format!("{} times ({} to {})", number(value), number(low), number(high)),
    };
    let of = Intervals {
        id: &format!("{id}-ratio"),
        name: "The risk with the change over that without it; under 1 it helps",
        told: &format!("{} times, 90 % interval {} to {}.", number(value), number(low), number(high)),
        scale: Scale {
            from: low.clamp(1.0 / RATIO_FAR, 0.5),
            to: high.clamp(2.0, RATIO_FAR),
            name: "times what it was".to_owned(),
            show: number,
            is_log: true,
        },
        zero: Some(1.0),
        rows: &[row],
    };
    intervals(&of)
}

/// The chance of each mode as it is, and with the change.
pub(super) fn risks(
    id: &str,
    what: &str,
    all: Option<(&Estimate, &Estimate)>,
    effects: &[&ModeEffect],
) -> maud::Markup {
    let row = |name: String, now: &Estimate, after: &Estimate| IntervalRow {
        name,
        prior: Some(Range::from(now)),
        posterior: Some(Range::from(after)),
        words: format!("{}, then {}", interval_short(now), interval_short(after)),
    };
    let all = all.map(|(now, after)| row("Any that it is for".to_owned(), now, after));
    let each = effects.iter().map(|effect| row(capital(&format::word(effect.mode.name())), &effect.now, &effect.after));
    let rows: Vec<IntervalRow> = all.into_iter().chain(each).collect();
    let ends = rows.iter().flat_map(|row| [row.prior, row.posterior]).flatten();
    let most = ends.map(|range| range.high).fold(0.01, f64::max);
    let told: Vec<String> = rows.iter().map(|row| format!("{}: {}", row.name, row.words)).collect();
    let of = Intervals {
        id: &format!("{id}-risks"),
        name: &format!("Chance per print: {what}"),
        told: &format!("{}.", told.join("; ")),
        scale: Scale {
            from: 0.0,
            to: (most * HEADROOM).min(1.0),
            name: "chance per print".to_owned(),
            show: format::percent,
            is_log: false,
        },
        zero: None,
        rows: &rows,
    };
    intervals_of(&of, ["now", "with the change"])
}
