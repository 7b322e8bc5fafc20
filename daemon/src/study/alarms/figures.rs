//! The figures of alarm practice from what is known of each alarm. Pure: no record, no clock. Owns what counts as a flood,
//! as chattering and as stale, and how alarms that nobody has acknowledged yet are counted.

use crate::alarm::{Priority, Subject};
use crate::entry::{PrinterName, ToolNumber};
use dwell_analysis::estimate::{Confidence, Estimate, count, event_rate, rate};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{
    AcknowledgeTimes, AlarmFigures, MarkedAlarms, PriorityShare, QuietAlarms, StaleAlarm, SubjectCount, benchmark,
};
use std::collections::BTreeMap;
use std::num::NonZeroUsize;

const TEN_MINUTES: Seconds = Seconds::minutes(10.0);
const HOUR: Seconds = Seconds::minutes(60.0);
const DAY: Seconds = Seconds::minutes(24.0 * 60.0);
/// How many subjects count as the most frequent ones.
const MOST_FREQUENT: usize = 10;

/// Whether an alarm called anybody.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Call {
    /// It did, from then on.
    Called(Timestamp),
    /// It was suppressed by design.
    Suppressed,
    /// A person had shelved its rule.
    Shelved,
    /// A person had taken its rule out of service.
    OutOfService,
}

/// What is known of one alarm.
#[derive(Clone, Debug)]
pub(super) struct Told {
    /// The printer; `None` is the record itself.
    pub(super) printer: Option<PrinterName>,
    /// What it is about.
    pub(super) subject: Subject,
    /// How soon a person has to act.
    pub(super) priority: Priority,
    /// When it was raised.
    pub(super) raised: Timestamp,
    /// When its condition went away.
    pub(super) returned: Option<Timestamp>,
    /// Whether it called anybody.
    pub(super) call: Call,
    /// When a person acknowledged it, or did anything else with it, first.
    pub(super) seen: Option<Timestamp>,
    /// It is back to normal.
    pub(super) is_over: bool,
    /// Whether it was rightly raised, as a person said.
    pub(super) is_right: Option<bool>,
}

/// The figures of a time; `told` may hold alarms from before it that still stood in it.
pub(super) fn figures(told: &[Told], from: Timestamp, to: Timestamp) -> AlarmFigures {
    let inside = || told.iter().filter(|alarm| alarm.raised >= from && alarm.raised < to);
    let mut called: Vec<&Told> = inside().filter(|alarm| matches!(alarm.call, Call::Called(_))).collect();
    called.sort_by_key(|alarm| alarm.raised);
    let raises: Vec<Timestamp> = called.iter().map(|alarm| alarm.raised).collect();
    let (crowd, days) = (crowd(&raises, to), counts(&raises, (from, to), DAY));
    let frequent = by_subject(&called, <[Timestamp]>::len);
    let n_frequent = frequent.iter().take(MOST_FREQUENT).map(|subject| subject.n).sum();
    let mut chattering = by_subject(&called, most_within_chatter);
    chattering.retain(|subject| subject.n >= benchmark::CHATTER);
    AlarmFigures {
        from,
        to,
        n_alarms: called.len(),
        quiet: quiet(inside()),
        a_day: a_day(&raises, &days, to - from),
        days,
        most_in_ten_minutes: crowd.most,
        busy_ten_minutes: busy(&raises, (from, to), TEN_MINUTES, benchmark::IN_TEN_MINUTES),
        busy_hours: busy(&raises, (from, to), HOUR, benchmark::IN_AN_HOUR),
        in_flood: crowd.in_flood,
        flood_share: (to > from).then(|| crowd.in_flood.get() / (to - from).get()),
        priorities: priorities(&called),
        most_frequent: frequent.into_iter().take(MOST_FREQUENT).collect(),
        most_frequent_share: (!called.is_empty()).then(|| count(n_frequent) / count(called.len())),
        chattering,
        stale: stale(told, to),
        acknowledged: acknowledged(&called, to),
        marked: marked(&called),
    }
}

fn quiet<'a>(alarms: impl Iterator<Item = &'a Told>) -> QuietAlarms {
    let mut quiet = QuietAlarms::default();
    for alarm in alarms {
        match alarm.call {
            Call::Called(_) => {}
            Call::Suppressed => quiet.n_suppressed += 1,
            Call::Shelved => quiet.n_shelved += 1,
            Call::OutOfService => quiet.n_out_of_service += 1,
        }
    }
    quiet
}

/// How many raises fall into each whole span of a time; a span that the time cuts off tells nothing.
fn counts(raises: &[Timestamp], (from, to): (Timestamp, Timestamp), span: Seconds) -> Vec<usize> {
    let (from_ms, span_ms) = (from.as_ms(), (Timestamp::from_ms(0) + span).as_ms());
    let n_spans = usize::try_from((to.as_ms() - from_ms).div_euclid(span_ms)).unwrap_or(0);
    let mut counts = vec![0; n_spans];
    for raised in raises {
        let nth = usize::try_from((raised.as_ms() - from_ms).div_euclid(span_ms)).ok();
        if let Some(n) = nth.and_then(|nth| counts.get_mut(nth)) {
            *n += 1;
        }
    }
    counts
}

/// Alarms a day. They come in clusters, so the interval of independent ones would be too narrow: it is that of as many
/// independent ones as vary from day to day as much (their variance over their mean).
fn a_day(raises: &[Timestamp], days: &[usize], time: Seconds) -> Result<Estimate, String> {
    if days.len() < 2 {
        return Err("less than two days are on record".to_owned());
    }
    let exposure = time.get() / DAY.get();
    let mean = count(days.iter().sum()) / count(days.len());
    let spread: f64 = days.iter().map(|n| (count(*n) - mean).powi(2)).sum::<f64>() / count(days.len() - 1);
    let clustering = if mean > 0.0 { (spread / mean).max(1.0) } else { 1.0 };
    let n_independent = nearest(count(raises.len()) / clustering, usize::from(!raises.is_empty()), raises.len());
    let shown = if raises.is_empty() { exposure } else { exposure * count(n_independent) / count(raises.len()) };
    let found = event_rate(n_independent, shown, Confidence::Percent90).map_err(|refusal| refusal.to_string())?;
    Ok(Estimate { value: count(raises.len()) / exposure, n: raises.len(), ..found })
}

/// The whole number next to one, between two others.
fn nearest(number: f64, least: usize, most: usize) -> usize {
    (least..=most).find(|n| count(*n) + 0.5 > number).unwrap_or(most)
}

fn busy(raises: &[Timestamp], time: (Timestamp, Timestamp), span: Seconds, over: usize) -> Option<f64> {
    let spans = counts(raises, time, span);
    let n_busy = spans.iter().filter(|n| **n > over).count();
    NonZeroUsize::new(spans.len()).map(|n| count(n_busy) / count(n.get()))
}

struct Crowd {
    most: usize,
    in_flood: Seconds,
}

/// How many alarms there were in the ten minutes before each instant: the most, and how long that was a flood.
fn crowd(raises: &[Timestamp], to: Timestamp) -> Crowd {
    // What is ten minutes old no longer counts.
    let ends = raises.iter().map(|raised| (*raised + TEN_MINUTES, false));
    let mut turns: Vec<(Timestamp, bool)> = ends.chain(raises.iter().map(|raised| (*raised, true))).collect();
    turns.sort_unstable();
    let (mut n, mut most, mut in_flood, mut since) = (0_usize, 0, Seconds::ZERO, None);
    for (at, is_raise) in turns {
        n = if is_raise { n + 1 } else { n.saturating_sub(1) };
        most = most.max(n);
        if n >= benchmark::FLOOD_FROM && since.is_none() {
            since = Some(at);
        } else if n < benchmark::FLOOD_UNTIL
            && let Some(since) = since.take()
        {
            in_flood += at.min(to) - since;
        }
    }
    Crowd { most, in_flood }
}

/// What `measure` makes of each subject's raises, the greatest first; raises come in time order.
fn by_subject(called: &[&Told], measure: impl Fn(&[Timestamp]) -> usize) -> Vec<SubjectCount> {
    let mut subjects: BTreeMap<(Option<&PrinterName>, Subject), Vec<Timestamp>> = BTreeMap::new();
    for alarm in called {
        subjects.entry((alarm.printer.as_ref(), alarm.subject)).or_default().push(alarm.raised);
    }
    let counted = |((printer, subject), raises): (&(Option<&PrinterName>, Subject), &Vec<Timestamp>)| SubjectCount {
        printer: printer.map(ToString::to_string),
        tool: subject.tool.map(ToolNumber::idx),
        rule: subject.rule.word(),
        n: measure(raises),
    };
    let mut counts: Vec<SubjectCount> = subjects.iter().map(counted).collect();
    // Stable: of two as frequent, the one by name.
    counts.sort_by_key(|subject| std::cmp::Reverse(subject.n));
    counts
}

/// The most raises of one subject within the time that makes them chatter; raises come in time order.
fn most_within_chatter(raises: &[Timestamp]) -> usize {
    let (mut first, mut most) = (0, 0);
    for (last, raised) in raises.iter().enumerate() {
        while *raised - raises[first] > benchmark::CHATTER_WITHIN {
            first += 1;
        }
        most = most.max(last + 1 - first);
    }
    most
}

fn stale(told: &[Told], to: Timestamp) -> Vec<StaleAlarm> {
    let stands = |alarm: &&Told| alarm.returned.is_none_or(|returned| returned > to);
    let calls = |alarm: &&Told| matches!(alarm.call, Call::Called(_));
    let long = |alarm: &&Told| alarm.raised < to && to - alarm.raised > benchmark::STALE_AFTER;
    let mut found: Vec<StaleAlarm> = told
        .iter()
        .filter(|alarm| stands(alarm) && calls(alarm) && long(alarm))
        .map(|alarm| StaleAlarm {
            printer: alarm.printer.as_ref().map(ToString::to_string),
            tool: alarm.subject.tool.map(ToolNumber::idx),
            rule: alarm.subject.rule.word(),
            raised: alarm.raised,
            stood: to - alarm.raised,
        })
        .collect();
    found.sort_by_key(|alarm| alarm.raised);
    found
}

fn priorities(called: &[&Told]) -> [PriorityShare; 3] {
    let share = |idx: usize| {
        let priority = Priority::ALL[idx];
        let n = called.iter().filter(|alarm| alarm.priority == priority).count();
        let share = match called.len() {
            0 => Err("no alarm was raised".to_owned()),
            all => rate(n, all, Confidence::Percent90).map_err(|refusal| refusal.to_string()),
        };
        PriorityShare { priority: priority.word(), n, share, benchmark: benchmark::PRIORITIES[idx] }
    };
    [share(0), share(1), share(2)]
}

fn acknowledged(called: &[&Told], to: Timestamp) -> AcknowledgeTimes {
    let (mut waits, mut n_superseded) = (Vec::new(), 0);
    for alarm in called {
        let Call::Called(called) = alarm.call else { continue };
        match alarm.seen.filter(|seen| *seen <= to) {
            Some(seen) => waits.push((seen.max(called) - called, true)),
            // Back to normal by itself: a graver alarm took its place, and nobody is asked any more.
            None if alarm.is_over && alarm.seen.is_none() => n_superseded += 1,
            None => waits.push((to.max(called) - called, false)),
        }
    }
    let (n_asked, n_never) = (waits.len(), waits.iter().filter(|(_, is_seen)| !is_seen).count());
    waits.sort_by(|a, b| a.0.get().total_cmp(&b.0.get()).then(b.1.cmp(&a.1)));
    let within = |share| within(&waits, share);
    AcknowledgeTimes { n_asked, n_never, n_superseded, median: within(0.5), nine_in_ten: within(0.9) }
}

/// The time within which a share is acknowledged: the earliest at which the product-limit estimate of those that still
/// wait is down to the rest (Kaplan and Meier, JASA 53 (1958) 457). Waits in order, those that ended first at a tie.
fn within(waits: &[(Seconds, bool)], share: f64) -> Result<Seconds, String> {
    const ROUNDING: f64 = 1e-9;
    if waits.is_empty() {
        return Err("no alarm asked for it".to_owned());
    }
    let mut waiting = 1.0;
    for (nth, (wait, is_seen)) in waits.iter().enumerate() {
        if *is_seen {
            let at_risk = count(waits.len() - nth);
            waiting *= (at_risk - 1.0) / at_risk;
        }
        if *is_seen && waiting <= 1.0 - share + ROUNDING {
            return Ok(*wait);
        }
    }
    let n_never = waits.iter().filter(|(_, is_seen)| !is_seen).count();
    Err(format!("{n_never} of {} are not acknowledged yet", waits.len()))
}

fn marked(called: &[&Told]) -> MarkedAlarms {
    let n = |mark| called.iter().filter(|alarm| alarm.is_right == mark).count();
    let (n_right, n_false, n_unmarked) = (n(Some(true)), n(Some(false)), n(None));
    let false_share = match n_right + n_false {
        0 => Err("nobody has marked any".to_owned()),
        n => rate(n_false, n, Confidence::Percent90).map_err(|refusal| refusal.to_string()),
    };
    MarkedAlarms { n_right, n_false, n_unmarked, false_share }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
