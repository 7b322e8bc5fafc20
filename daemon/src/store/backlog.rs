//! Steps in memory, in order, while the disk takes nothing. Pure: owns what is kept, up to which bound, what goes
//! first beyond it, and in which order it is to be written; knows no database and no clock.

use super::alarm::{Quiet, is_over_at_once};
use super::commit::Commit;
use super::outbox::Notice;
use crate::alarm::{AlarmEffect, Priority};
use crate::entry::PrinterName;
use crate::tracker::Effect;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::collections::{BTreeMap, HashMap, VecDeque};

/// How much is kept.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    /// Steps of one printer, beyond which its plain readings go.
    pub(super) steps: usize,
    /// Steps of all printers together.
    pub(super) total: usize,
}

/// An hour of a printer at the shortest interval that a configuration may name, 0.2 s; five hours at the usual second.
/// All together about 80 MB (510 bytes a step of two tools, measured), which small boards have: an hour of 41 printers at
/// one poll a second.
pub(super) const BOUNDS: Bounds = Bounds { steps: 18_000, total: 150_000 };

/// Steps that are written in one transaction: little is done again when the room ends within it.
const TOGETHER_MAX: usize = 600;

/// What waits.
#[derive(Debug)]
pub(super) struct Backlog {
    bounds: Bounds,
    queues: BTreeMap<PrinterName, Queue>,
    /// Alarms of the record itself.
    own: VecDeque<Own>,
    /// The alarms of all that waits, in the order in which they came.
    told: VecDeque<Told>,
    /// How many there have ever been.
    n_told: u64,
    n_steps: usize,
    next_seq: u64,
    pub(super) n_dropped: Dropped,
    lost: HashMap<PrinterName, (Timestamp, Timestamp)>,
    /// What nobody is to hear of.
    pub(super) quiet: Quiet,
}

/// What the bound has cost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Plain readings.
    pub readings: usize,
    /// Steps with events.
    pub events: usize,
}

#[derive(Debug, Default)]
struct Queue {
    steps: VecDeque<Step>,
    n_plain: usize,
}

#[derive(Debug)]
struct Step {
    seq: u64,
    /// The newest instant in it; a step of none stands at that of the one before.
    at: Option<Timestamp>,
    is_plain: bool,
    commit: Commit,
}

#[derive(Clone, Debug)]
struct Own {
    seq: u64,
    alarms: Vec<AlarmEffect>,
    notices: bool,
}

#[derive(Debug)]
struct Told {
    seq: u64,
    printer: Option<PrinterName>,
    alarm: AlarmEffect,
    call: Call,
}

/// Whether a change calls somebody.
#[derive(Clone, Debug)]
enum Call {
    Nobody,
    /// Its notice is not made yet: the record is to be asked.
    Unmade,
    With(Notice),
}

/// What is to be written next, in one transaction, and up to which step of its printer that goes.
#[derive(Debug)]
pub(super) enum Due {
    Printer { commit: Commit, last: u64 },
    Own { alarms: Vec<AlarmEffect>, notices: bool, last: u64 },
}

/// How much waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Count {
    pub(super) steps: usize,
    pub(super) events: usize,
    /// Those of printers.
    pub(super) alarms: usize,
}

impl Backlog {
    pub(super) fn new(bounds: Bounds) -> Self {
        Self {
            bounds,
            queues: BTreeMap::new(),
            own: VecDeque::new(),
            told: VecDeque::new(),
            n_told: 0,
            n_steps: 0,
            next_seq: 0,
            n_dropped: Dropped::default(),
            lost: HashMap::new(),
            quiet: Quiet::default(),
        }
    }

    /// Sets a step down behind all that waits of its printer.
    pub(super) fn push(&mut self, commit: Commit) {
        let seq = self.seq();
        self.tell(seq, Some(&commit.printer), &commit.alarms, commit.notices);
        let printer = commit.printer.clone();
        let queue = self.queues.entry(printer.clone()).or_default();
        let is_plain = !commit.has_events();
        queue.n_plain += usize::from(is_plain);
        let at = newest(&commit).or_else(|| queue.steps.back().and_then(|step| step.at));
        queue.steps.push_back(Step { seq, at, is_plain, commit });
        self.n_steps += 1;
        let is_over = queue.steps.len() > self.bounds.steps;
        if is_over && queue.n_plain > 0 {
            self.drop_one(&printer);
        }
        if self.n_steps > self.bounds.total {
            // Plain readings first, of whoever has the most of them: without its beginning a later end finds no row.
            let longest = self.queues.iter().max_by_key(|(_, queue)| (queue.n_plain, queue.steps.len()));
            if let Some(printer) = longest.map(|(printer, _)| printer.clone()) {
                self.drop_one(&printer);
            }
        }
    }

    /// Sets alarms of the record itself down.
    pub(super) fn push_own(&mut self, alarms: Vec<AlarmEffect>, notices: bool) {
        let seq = self.seq();
        self.tell(seq, None, &alarms, notices);
        if !alarms.is_empty() {
            self.own.push_back(Own { seq, alarms, notices });
        }
    }

    fn seq(&mut self) -> u64 {
        self.next_seq += 1;
        self.next_seq
    }

    fn tell(&mut self, seq: u64, printer: Option<&PrinterName>, alarms: &[AlarmEffect], notices: bool) {
        for alarm in alarms {
            let calls = calls(alarm) && !is_over_at_once(alarm, alarms) && !self.is_quiet(printer, alarm);
            let call = if notices && calls { Call::Unmade } else { Call::Nobody };
            self.told.push_back(Told { seq, printer: printer.cloned(), alarm: alarm.clone(), call });
            self.n_told += 1;
        }
    }

    /// Whether nobody is to hear of an alarm's change. One that came in what waits, and called nobody, goes as quietly.
    fn is_quiet(&self, printer: Option<&PrinterName>, alarm: &AlarmEffect) -> bool {
        let of = |told: &&Told| told.printer.as_ref() == printer && told.alarm.key() == alarm.key();
        let came = self.told.iter().filter(of).find(|told| told.alarm.is_raise());
        let came_quietly = !alarm.is_raise() && came.is_some_and(|told| matches!(told.call, Call::Nobody));
        came_quietly || self.quiet.covers(printer, alarm)
    }

    fn drop_one(&mut self, printer: &PrinterName) {
        let Some(queue) = self.queues.get_mut(printer) else { return };
        let plain = queue.steps.iter().position(|step| step.is_plain);
        let Some(step) = queue.steps.remove(plain.unwrap_or(0)) else { return };
        self.n_steps -= 1;
        if step.is_plain {
            queue.n_plain -= 1;
            self.n_dropped.readings += step.commit.effects.len();
            return;
        }
        self.n_dropped.events += 1;
        self.told.retain(|told| told.seq != step.seq);
        for at in beginnings(&step.commit) {
            self.lose(printer, at);
        }
    }

    /// What began then will not be in the record.
    pub(super) fn lose(&mut self, printer: &PrinterName, at: Timestamp) {
        let (from, to) = self.lost.entry(printer.clone()).or_insert((at, at));
        (*from, *to) = (at.min(*from), at.max(*to));
    }

    /// What is to be written next: alarms in the order in which they came, so that their notices stay in it, and before
    /// each of them what its printer did until then.
    pub(super) fn due(&self) -> Option<Due> {
        let first = self.told.front().map(|told| &told.printer);
        let printer = match first {
            Some(None) => {
                let Own { seq, alarms, notices } = self.own.front()?.clone();
                return Some(Due::Own { alarms, notices, last: seq });
            }
            Some(Some(printer)) => printer,
            None => self.queues.keys().next()?,
        };
        let mut steps = self.queues.get(printer)?.steps.iter().take(TOGETHER_MAX);
        let Step { seq, commit, .. } = steps.next()?;
        let (mut last, mut commit) = (*seq, commit.clone());
        while commit.alarms.is_empty()
            && let Some(step) = steps.next()
        {
            last = step.seq;
            commit.effects.extend(step.commit.effects.iter().cloned());
            commit.alarms.clone_from(&step.commit.alarms);
            commit.notices = step.commit.notices;
        }
        Some(Due::Printer { commit, last })
    }

    /// Forgets what has been written.
    pub(super) fn written(&mut self, printer: Option<&PrinterName>, last: u64) {
        self.told.retain(|told| told.printer.as_ref() != printer || told.seq > last);
        let Some(printer) = printer else {
            self.own.retain(|own| own.seq > last);
            return;
        };
        let Some(queue) = self.queues.get_mut(printer) else { return };
        while let Some(step) = queue.steps.pop_front_if(|step| step.seq <= last) {
            queue.n_plain -= usize::from(step.is_plain);
            self.n_steps -= 1;
        }
        if queue.steps.is_empty() {
            self.queues.remove(printer);
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.queues.is_empty() && self.own.is_empty()
    }

    /// Whether what began then may have been dropped before it was written.
    pub(super) fn has_lost(&self, printer: &PrinterName, began: Timestamp) -> bool {
        self.lost.get(printer).is_some_and(|(from, to)| (*from..=*to).contains(&began))
    }

    /// The alarms of what waits, in order.
    pub(super) fn alarms(&self) -> Vec<(Option<PrinterName>, AlarmEffect)> {
        self.told.iter().map(|told| (told.printer.clone(), told.alarm.clone())).collect()
    }

    /// Makes the notices that are not made yet. `priority` is the record's word on an alarm that was raised before all
    /// this; `record` is the word of the record in notices' keys.
    pub(super) fn compose(&mut self, record: &str, priority: impl Fn(Option<&PrinterName>, &AlarmEffect) -> Priority) {
        for idx in 0..self.told.len() {
            let Some(Told { printer, alarm, call: Call::Unmade, .. }) = self.told.get(idx) else { continue };
            let of_raise = self.told.iter().take(idx).find_map(|other| match &other.alarm {
                AlarmEffect::Raised { priority, .. }
                    if other.printer == *printer && other.alarm.key() == alarm.key() =>
                {
                    Some(*priority)
                }
                _ => None,
            });
            let priority = match alarm {
                AlarmEffect::Raised { priority, .. } => *priority,
                AlarmEffect::Returned { .. } => of_raise.unwrap_or_else(|| priority(printer.as_ref(), alarm)),
            };
            let notice = Notice::of(record, printer.as_ref(), alarm, priority);
            if let Some(told) = self.told.get_mut(idx) {
                told.call = Call::With(notice);
            }
        }
    }

    /// The notices of what waits, in order, as far as they are made.
    pub(super) fn notices(&self) -> Vec<Notice> {
        let of = |told: &Told| match &told.call {
            Call::With(notice) => Some(notice.clone()),
            Call::Nobody | Call::Unmade => None,
        };
        self.told.iter().filter_map(of).collect()
    }

    /// How many changes of alarms have ever waited here.
    pub(super) fn n_told(&self) -> u64 {
        self.n_told
    }

    pub(super) fn count(&self) -> Count {
        let n_plain: usize = self.queues.values().map(|queue| queue.n_plain).sum();
        let alarms = self.told.iter().filter(|told| told.printer.is_some()).count();
        Count { steps: self.n_steps, events: self.n_steps - n_plain, alarms }
    }

    /// When the first reading will have to be dropped, as steps have come so far; `None` while that can't be told, and
    /// once it has happened.
    pub(super) fn lasts_until(&self) -> Option<Timestamp> {
        if self.n_dropped != Dropped::default() {
            return None;
        }
        let ends = |queue: &Queue| Some((queue.steps.front()?.at?, queue.steps.back()?.at?));
        let alone = self.queues.values().filter_map(|queue| {
            let (from, to) = ends(queue)?;
            full_at(from, to, queue.steps.len(), self.bounds.steps)
        });
        let all = self.queues.values().filter_map(ends);
        let all = all.reduce(|one, other| (one.0.min(other.0), one.1.max(other.1)));
        let together = all.and_then(|(from, to)| full_at(from, to, self.n_steps, self.bounds.total));
        alone.chain(together).min()
    }
}

/// When so many steps will have come, if they go on coming as they did.
fn full_at(from: Timestamp, to: Timestamp, n: usize, bound: usize) -> Option<Timestamp> {
    let [n, left] = [n, bound.saturating_sub(n)].map(|n| u32::try_from(n).map_or(f64::INFINITY, f64::from));
    let lasted = (to - from).get();
    (n >= 2.0 && lasted > 0.0).then(|| to + Seconds::new(lasted / (n - 1.0) * left))
}

/// Whether a change calls anybody at all, whoever has said what of it.
fn calls(alarm: &AlarmEffect) -> bool {
    match alarm {
        AlarmEffect::Raised { suppressed, .. } => suppressed.is_none(),
        // The graver alarm in its place has called.
        AlarmEffect::Returned { is_superseded, .. } => !is_superseded,
    }
}

/// The newest instant in a step.
fn newest(commit: &Commit) -> Option<Timestamp> {
    let readings = commit.effects.iter().filter_map(|effect| match effect {
        Effect::Sample { reading, .. } => Some(reading.at),
        Effect::ContactLost { since } => Some(*since),
        _ => None,
    });
    readings.chain(commit.alarms.iter().map(AlarmEffect::at)).max()
}

/// What the beginnings in a step are known by: a later end names it.
fn beginnings(commit: &Commit) -> impl Iterator<Item = Timestamp> {
    let effects = commit.effects.iter().filter_map(|effect| match effect {
        Effect::PrintStarted { started: began, .. }
        | Effect::VisitBegan { began, .. }
        | Effect::SpanBegan { began, .. }
        | Effect::ContactLost { since: began } => Some(*began),
        _ => None,
    });
    effects.chain(commit.alarms.iter().filter(|alarm| alarm.is_raise()).map(AlarmEffect::at))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
pub(super) mod tests;
