//! How alarms look, wherever they stand: one alarm, a hold, the figures; and the words of priorities and states. Owns
//! their order; which alarm is raised is decided elsewhere.

mod figures;
mod one;

pub(crate) use figures::figures;
pub(crate) use one::{about, acts, alarm, hold_words};

use crate::view::AlarmView;
use std::cmp::Reverse;

/// The longest name and reason that the forms take, in characters; whoever reads them says the same.
pub const SAID_MAX: usize = 200;

/// For how long the page offers to shelve: minutes and words.
pub const SHELVE_FOR: [(u32, &str); 4] = [(30, "30 min"), (60, "1 h"), (480, "8 h"), (1440, "24 h")];

/// What a person has to make of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Call {
    /// Nobody is to hear of it, or it is over.
    None,
    /// It came and went, and nobody has looked at it.
    Unseen,
    /// It stands, and somebody has looked at it.
    Known,
    /// It stands, and nobody has looked at it.
    Calls,
}

/// What a person has to make of it, by its state.
pub(crate) fn call(alarm: &AlarmView) -> Call {
    match alarm.state {
        "unacknowledged" => Call::Calls,
        "acknowledged" => Call::Known,
        "returned unacknowledged" => Call::Unseen,
        _ => Call::None,
    }
}

/// The rank of a priority's word; the gravest is the greatest, an unknown one the least.
pub(crate) fn grade(priority: &str) -> u8 {
    match priority {
        "high" => 3,
        "medium" => 2,
        "low" => 1,
        _ => 0,
    }
}

/// Puts the gravest first; of those, what stands and nobody has looked at, and the newest.
pub(crate) fn gravest_first<'a>(alarms: impl IntoIterator<Item = &'a AlarmView>) -> Vec<&'a AlarmView> {
    let mut sorted: Vec<&AlarmView> = alarms.into_iter().collect();
    sorted.sort_by_key(|alarm| Reverse((grade(alarm.priority), call(alarm), alarm.raised)));
    sorted
}
