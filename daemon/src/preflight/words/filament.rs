//! Sentences on filament: purge and retraction.

use super::super::finding::{Counted, Place};
use super::super::known::Habit;
use super::{Words, at, of, words};
use dwell_analysis::units::Millimetres;
use dwell_dashboards::format;

/// What drives of either kind draw back.
const PRACTICE: &str =
    "0.5 to 2 mm with a drive close to the nozzle, 4 to 7 mm through a long tube (common practice, no source)";

pub(super) fn no_purge(counted: Counted, first: Place) -> Words {
    words(
        format!(
            "Nothing is purged at {} changes to it, though the nozzle is shared; first at {}.",
            of(counted),
            at(first)
        ),
        "What the other tool left in the nozzle goes into the part.",
        "Purge after each change until the colour is clean.",
    )
}

pub(super) fn other_retraction(length: Millimetres, habit: &Habit) -> Words {
    let is_longer = length.get() > habit.median.get();
    words(
        format!(
            "It draws back {} at a time; its last {} prints used {} (least {}, most {}).",
            format::millimetres(length),
            habit.n,
            format::millimetres(habit.median),
            format::millimetres(habit.low),
            format::millimetres(habit.high)
        ),
        if is_longer {
            "Longer retractions pull melt up into the cold zone and grind the filament."
        } else {
            "Shorter retractions leave pressure in the nozzle: it strings and oozes while it waits."
        },
        "Check that the file was made for this printer and tool.",
    )
}

pub(super) fn long_retraction(length: Millimetres) -> Words {
    words(
        format!("It draws back {} at a time; what its past prints used is not known.", format::millimetres(length)),
        format!("Usual are {PRACTICE}; longer ones pull melt up into the cold zone."),
        "Check that the length fits the tool's drive.",
    )
}

pub(super) fn untold_retractions(n: u64, of: u64) -> Words {
    words(
        format!("{n} of {of} retractions are by a length that the printer keeps and the file does not tell."),
        "Nothing can be said of that length.",
        "Look it up in the printer's settings.",
    )
}

pub(super) fn ground_filament(passes: u32) -> Words {
    words(
        format!("One spot of its filament is drawn back past the drive {passes} times."),
        "More than about 20 passes grind a spot flat until the drive slips (common practice, no source).",
        "Retract less often on short travels, or less far.",
    )
}
