//! What a channel sends now, of what waits for it. Pure: owns when a notice goes by itself, when several go together, and
//! what quiet hours hold back; knows no clock and no store.
//!
//! Oldest first. One notice goes by itself, at once. In a flood, and for an alarm that chatters, notices go together, so
//! long after the message before, and only what has just been raised for a person to act on now overtakes them. What could
//! not be sent for long goes together too. Quiet hours hold back what is not
//! urgent, and it goes together at their end. So the notices of one alarm always go in order; one that is held back may be
//! overtaken by those of others.

use super::channel::{Quiet, Route};
use super::message::Kind;
use crate::alarm::Priority;
use crate::store::{Notice, Sent};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use jiff::ToSpan;
use std::collections::HashSet;

/// So many notices within [`APART`] are a flood: more than one person can deal with (EEMUA 191).
const FLOOD: usize = 10;
/// So many high alarms within [`APART`] overtake a flood: nobody can see to more of them at once.
const AHEAD_MAX: usize = 5;
/// Between two messages in a flood.
const APART: Seconds = Seconds::minutes(10.0);
/// A notice that is as late as this could not be sent, or was held back by a flood that is over.
const LATE: Seconds = Seconds::minutes(5.0);
/// An alarm that is raised so often within [`CHATTER_WITHIN`] chatters.
const CHATTER: usize = 3;
/// The time for that.
const CHATTER_WITHIN: Seconds = Seconds::minutes(30.0);
/// Notices in one message at most: about 300 kB, which mail servers and receivers take.
pub(crate) const TOGETHER_MAX: usize = 500;

/// What a channel does with what waits; notices are named by their place in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Composed {
    /// What the channel does not carry.
    pub skipped: Vec<usize>,
    /// What it does with the rest.
    pub then: Then,
}

/// What a channel does next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Then {
    /// Sends these, in this order.
    Send(Kind, Vec<usize>),
    /// Waits until then, unless something comes.
    Until(Timestamp),
    /// Waits until something comes.
    Nothing,
}

/// Decides what a channel does with what waits for it, oldest first. Its receiver takes `most` notices in one message.
#[must_use]
pub fn compose(pending: &[Notice], route: &Route, sent: &Sent, now: Timestamp, most: usize) -> Composed {
    let (carried, skipped) = carried(pending, route);
    let quiet = route.quiet.as_ref();
    let end_of = |idx: &usize| pending.get(*idx).and_then(|notice| held_until(notice, quiet, now));
    let (held, loud): (Vec<usize>, Vec<usize>) = carried.into_iter().partition(|idx| end_of(idx).is_some());
    let ends = held.iter().filter_map(end_of).min();
    let loud: Vec<(usize, &Notice)> = loud.into_iter().filter_map(|idx| Some((idx, pending.get(idx)?))).collect();
    let then = match (of_loud(&loud, quiet, sent, now, most), ends) {
        (Then::Until(at), Some(end)) => Then::Until(at.min(end)),
        (Then::Nothing, Some(end)) => Then::Until(end),
        (then, _) => then,
    };
    Composed { skipped, then }
}

/// What goes by a channel that holds nothing back: all that it carries, as soon as it is there.
#[must_use]
pub fn at_once(pending: &[Notice], route: &Route) -> Composed {
    let (carried, skipped) = carried(pending, route);
    let then = if carried.is_empty() { Then::Nothing } else { together(Kind::Group, carried, TOGETHER_MAX) };
    Composed { skipped, then }
}

/// What a channel carries and what it does not. One that is told of no returns is told of those whose alarm waits too:
/// so that what goes together names what has gone again.
fn carried(pending: &[Notice], route: &Route) -> (Vec<usize>, Vec<usize>) {
    let mut waits = HashSet::new();
    (0..pending.len()).partition(|idx| {
        let Some(notice) = pending.get(*idx) else { return false };
        let is_urgent = notice.priority() >= route.from;
        if notice.is_raise() && is_urgent {
            waits.insert(notice.subject());
        }
        is_urgent && (notice.is_raise() || route.returns || waits.contains(notice.subject()))
    })
}

fn of_loud(loud: &[(usize, &Notice)], quiet: Option<&Quiet>, sent: &Sent, now: Timestamp, most: usize) -> Then {
    let Some((first_idx, first)) = loud.first() else { return Then::Nothing };
    // With what waited before it, so that all of it is in order.
    if let Some(last) = loud.iter().rposition(|(_, notice)| came_in_quiet(notice, quiet)) {
        return together(Kind::Digest, loud.iter().take(last + 1).map(|(idx, _)| *idx).collect(), most);
    }
    let close = |at: Timestamp| now - at < APART;
    let n_close = sent.notices.iter().filter(|past| close(past.at)).count()
        + loud.iter().filter(|(_, notice)| close(notice.at())).count();
    let all = || loud.iter().map(|(idx, _)| *idx).collect();
    // What does not fit into one message goes on in the next one.
    let goes_on = sent.last.is_some_and(|(made, n_notices)| n_notices >= most && close(made));
    if n_close >= FLOOD {
        return match sent.last.map(|(made, _)| made + APART).filter(|due| *due > now && !goes_on) {
            Some(due) => pressing(loud, sent, now).unwrap_or(Then::Until(due)),
            None => together(Kind::Group, all(), most),
        };
    }
    if loud.len() > 1 && now - first.at() >= LATE {
        return together(Kind::Group, all(), most);
    }
    if let Some((idx, _)) = loud.iter().find(|(_, notice)| !is_chattering(notice, loud, sent, now)) {
        return Then::Send(Kind::Single, vec![*idx]);
    }
    let due_of = |notice: &Notice| {
        let own = sent.notices.iter().filter(|past| *past.subject == *notice.subject());
        own.map(|past| past.made + APART).max().unwrap_or(now)
    };
    match loud.iter().map(|(_, notice)| due_of(notice)).min() {
        Some(due) if due > now => Then::Until(due),
        Some(_) => together(Kind::Group, all(), most),
        None => Then::Send(Kind::Single, vec![*first_idx]),
    }
}

/// The first that a person has to act on now and of whose alarm nothing waits before it; `None` if there is none, or
/// as many have overtaken lately as may.
fn pressing(loud: &[(usize, &Notice)], sent: &Sent, now: Timestamp) -> Option<Then> {
    let close = |at: Timestamp| now - at < APART;
    let is_first = |(idx, notice): &(usize, &Notice)| {
        loud.iter().find(|(_, other)| other.subject() == notice.subject()).is_some_and(|(own, _)| own == idx)
    };
    let is_pressing = |(_, notice): &(usize, &Notice)| {
        let is_new = notice.is_raise() && close(notice.at());
        notice.priority() == Priority::High && is_new && !is_chattering(notice, loud, sent, now)
    };
    let found = loud.iter().find(|told| is_pressing(told) && is_first(told));
    let (idx, _) = found.filter(|_| sent.ahead.iter().filter(|made| close(**made)).count() < AHEAD_MAX)?;
    Some(Then::Send(Kind::Ahead, vec![*idx]))
}

/// Whether an alarm has been raised so often lately that more of it says little.
fn is_chattering(notice: &Notice, loud: &[(usize, &Notice)], sent: &Sent, now: Timestamp) -> bool {
    let within = |at: Timestamp| now - at < CHATTER_WITHIN;
    let past = sent.notices.iter().filter(|past| *past.subject == *notice.subject());
    let past = past.filter(|past| past.is_raise && within(past.at)).count();
    let own = loud.iter().filter(|(_, other)| other.subject() == notice.subject());
    past + own.filter(|(_, other)| other.is_raise() && within(other.at())).count() >= CHATTER
}

/// A notice alone is none of several.
fn together(kind: Kind, mut notices: Vec<usize>, most: usize) -> Then {
    notices.truncate(most);
    Then::Send(if notices.len() == 1 { Kind::Single } else { kind }, notices)
}

/// Until when quiet hours hold a notice back, if they do.
fn held_until(notice: &Notice, quiet: Option<&Quiet>, now: Timestamp) -> Option<Timestamp> {
    let quiet = quiet.filter(|quiet| notice.priority() < quiet.passes)?;
    // Where it is always quiet, what came before the last end goes.
    let counts = if quiet.from == quiet.to { notice.at() } else { now };
    quiet_until(quiet, counts).filter(|end| *end > now)
}

/// Until when quiet hours hold a message back that is made already: as long as they hold back all that it says.
#[must_use]
pub fn held_back(notices: &[Notice], route: &Route, now: Timestamp) -> Option<Timestamp> {
    let ends = notices.iter().map(|notice| held_until(notice, route.quiet.as_ref(), now));
    ends.collect::<Option<Vec<_>>>()?.into_iter().min()
}

fn came_in_quiet(notice: &Notice, quiet: Option<&Quiet>) -> bool {
    quiet.is_some_and(|quiet| notice.priority() < quiet.passes && quiet_until(quiet, notice.at()).is_some())
}

/// When the quiet hours end that an instant lies in; `None` if it lies in none.
fn quiet_until(quiet: &Quiet, at: Timestamp) -> Option<Timestamp> {
    let local = quiet.zone.to_datetime(jiff::Timestamp::from_millisecond(at.as_ms()).ok()?);
    let time = local.time();
    let is_quiet = if quiet.from < quiet.to {
        (quiet.from..quiet.to).contains(&time)
    } else {
        time >= quiet.from || time < quiet.to
    };
    if !is_quiet {
        return None;
    }
    let day = if time < quiet.to { local.date() } else { local.date().checked_add(1.day()).ok()? };
    let end = quiet.zone.to_timestamp(day.to_datetime(quiet.to)).ok()?;
    // An end that the clocks skip is no end before the instant.
    Some(Timestamp::from_ms(end.as_millisecond()).max(at))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
