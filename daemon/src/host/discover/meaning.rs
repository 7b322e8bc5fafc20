//! What a host's text for its state means, by the words of general English. Owns the list; which value is the state is
//! judged in `state`.

use super::words;
use crate::entry::JobState;

/// Phrases of several words, which count before their parts.
const PHRASES: &[(&str, JobState)] = &[
    ("called off", JobState::Cancelled),
    ("broken off", JobState::Failed),
    ("broke off", JobState::Failed),
    ("given up", JobState::Cancelled),
    ("not printing", JobState::None),
    ("stood down", JobState::None),
    ("stand by", JobState::None),
    ("at rest", JobState::None),
    ("no job", JobState::None),
    ("no print", JobState::None),
    ("nothing to do", JobState::None),
    ("warming up", JobState::Heating),
    ("heating up", JobState::Heating),
    ("warm up", JobState::Heating),
    ("waiting for heat", JobState::Heating),
    ("waiting for temperature", JobState::Heating),
    ("getting ready", JobState::Heating),
    ("all done", JobState::Completed),
    ("at work", JobState::Printing),
    ("at it", JobState::Printing),
    ("in progress", JobState::Printing),
    ("in production", JobState::Printing),
    ("on hold", JobState::Paused),
    ("print complete", JobState::Completed),
    ("print done", JobState::Completed),
    ("print finished", JobState::Completed),
    ("print failed", JobState::Failed),
    ("print error", JobState::Failed),
    ("print paused", JobState::Paused),
    ("print cancelled", JobState::Cancelled),
];

#[rustfmt::skip]
const PRINTING: &[&str] = &[
    "printing", "print", "running", "run", "busy", "working", "work", "building", "laying", "extruding", "active",
    "started", "progress", "depositing", "operating", "processing", "going", "underway", "resuming", "resumed",
    "producing", "making", "executing", "drawing", "engaged", "live", "ongoing", "continuing",
];
#[rustfmt::skip]
const HEATING: &[&str] = &[
    "heating", "heat", "warming", "warm", "warmup", "preheating", "preheat", "preparing", "prepare", "preparation",
    "starting", "homing", "levelling", "leveling", "calibrating", "heatup", "priming", "initializing", "initialising",
];
#[rustfmt::skip]
const PAUSED: &[&str] = &[
    "paused", "pause", "pausing", "held", "hold", "holding", "halted", "halt", "suspended", "suspend", "interrupted",
    "frozen", "hung", "break", "parked",
];
#[rustfmt::skip]
const NONE: &[&str] = &[
    "idle", "ready", "standby", "resting", "rest", "off", "none", "available", "free", "empty", "unused",
    "operational", "quiet", "asleep", "sleeping", "sleep", "nothing", "vacant", "waiting", "inactive", "still",
    "unoccupied", "calm", "dormant", "dozing", "online", "ok", "unloaded", "clear",
];
#[rustfmt::skip]
const COMPLETED: &[&str] = &[
    "done", "finished", "finish", "complete", "completed", "ended", "end", "through", "success", "succeeded",
    "successful", "finishing", "concluded", "fulfilled",
];
#[rustfmt::skip]
const CANCELLED: &[&str] = &[
    "cancelled", "canceled", "cancel", "cancelling", "aborted", "abort", "stopped", "stop", "stopping", "struck",
    "killed", "withdrawn", "terminated", "dropped", "abandoned", "discarded", "dismissed", "scrapped",
];
const FAILED: &[&str] = &[
    "error", "errored", "failed", "fail", "failure", "fault", "faulted", "faulty", "broken", "crashed", "crash",
    "alarm", "jammed", "bust", "botched", "spoilt", "ruined", "trouble", "wrecked",
];

/// More telling first: `print paused` is paused, `print error` an error.
const LISTS: [(&[&str], JobState); 7] = [
    (FAILED, JobState::Failed),
    (CANCELLED, JobState::Cancelled),
    (PAUSED, JobState::Paused),
    (COMPLETED, JobState::Completed),
    (HEATING, JobState::Heating),
    (NONE, JobState::None),
    (PRINTING, JobState::Printing),
];

/// What the text means, if it is in a word of the list.
pub(super) fn of(text: &str) -> Option<JobState> {
    let said = words::split(text);
    let joined = said.join(" ");
    if let Some((_, state)) = PHRASES.iter().find(|(phrase, _)| joined == *phrase || joined.ends_with(phrase)) {
        return Some(*state);
    }
    LISTS.iter().find(|(list, _)| said.iter().any(|word| words::is_one(word, list))).map(|(_, state)| *state)
}

/// Whether the word has one meaning in every host: others, as "stopped", are a cancelled job's or a paused one's.
pub(super) fn is_plain(text: &str) -> bool {
    #[rustfmt::skip]
const TWO_WAYS: &[&str] = &[
    "stopped", "stop", "stopping", "waiting", "halted", "halt", "active", "online", "ok", "parked", "off",
    "interrupted", "break", "still", "end", "clear", "alarm", "ready", "live", "priming", "through", "held",
    "standby", "started", "progress", "engaged", "warm", "going",
];
    words::split(text).iter().all(|word| !TWO_WAYS.contains(&word.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The more telling word counts, wherever it stands; what has two meanings is not plain.
    #[test]
    fn texts_of_several_words_mean_their_most_telling_one() {
        for (text, state) in [
            ("PRINT_PAUSED", JobState::Paused),
            ("printError", JobState::Failed),
            ("P2 run", JobState::Printing),
            ("waiting for heat", JobState::Heating),
            ("called off", JobState::Cancelled),
            ("switched off", JobState::None),
            ("print complete", JobState::Completed),
            ("not printing", JobState::None),
        ] {
            assert_eq!(of(text), Some(state), "{text}");
        }
        assert_eq!(of("auto"), None);
        assert!(is_plain("Printing") && !is_plain("stopped"));
    }
}
