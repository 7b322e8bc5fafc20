//! Many notices as few lines: one a printer, tool and rule, with counts. Owns their order and how many are shown.

use crate::alarms::grade;
use crate::format;
use crate::view::{MessageView, NoticeView};
use dwell_analysis::time::Timestamp;

/// Lines that one message shows; a person reads no more of them on a phone.
pub(super) const SHOWN_MAX: usize = 12;

/// All notices of one printer, tool and rule.
pub(super) struct Group<'a> {
    /// The newest of them.
    pub(super) newest: &'a NoticeView,
    /// The newest that came with words.
    pub(super) told: Option<&'a NoticeView>,
    /// The gravest priority among them.
    pub(super) priority: &'static str,
    /// How many alarms came.
    pub(super) n_raised: usize,
    /// How many went.
    pub(super) n_returned: usize,
}

/// The groups, those that stand and are grave first; and how many are not shown.
pub(super) fn groups(view: &MessageView) -> (Vec<Group<'_>>, usize) {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for notice in &view.notices {
        let mine = |group: &&mut Group<'_>| subject(group.newest) == subject(notice);
        match groups.iter_mut().find(mine) {
            Some(group) => join(group, notice),
            None => groups.push(alone(notice)),
        }
    }
    groups.sort_by_key(|group| {
        let stands = is_bad(group.newest);
        std::cmp::Reverse((stands, grade(group.priority), at(group.newest)))
    });
    let more = groups.len().saturating_sub(SHOWN_MAX);
    groups.truncate(SHOWN_MAX);
    (groups, more)
}

fn subject(notice: &NoticeView) -> (Option<&str>, Option<usize>, &str) {
    (notice.printer.as_deref(), notice.tool, notice.rule)
}

fn alone(notice: &NoticeView) -> Group<'_> {
    let is_raise = is_bad(notice);
    Group {
        newest: notice,
        told: notice.words.is_some().then_some(notice),
        priority: notice.priority,
        n_raised: usize::from(is_raise),
        n_returned: usize::from(!is_raise),
    }
}

fn join<'a>(group: &mut Group<'a>, notice: &'a NoticeView) {
    group.newest = notice;
    if notice.words.is_some() {
        group.told = Some(notice);
    }
    if grade(notice.priority) > grade(group.priority) {
        group.priority = notice.priority;
    }
    if is_bad(notice) {
        group.n_raised += 1;
    } else {
        group.n_returned += 1;
    }
}

/// Whether it tells that its alarm stands.
pub(super) fn is_bad(notice: &NoticeView) -> bool {
    notice.returned.is_none()
}

fn at(notice: &NoticeView) -> Timestamp {
    notice.returned.unwrap_or(notice.raised)
}

/// What the group is about, such as `bench T1: idle hot`.
pub(super) fn about(group: &Group<'_>) -> String {
    format::about(group.newest.printer.as_deref(), group.newest.tool, group.newest.rule)
}

/// How often and whether it stands: `raised 3 times, gone 2 times; stands since 14:02`.
pub(super) fn course(group: &Group<'_>, view: &MessageView) -> String {
    let near = |instant| format::clock_near(instant, view.made, &view.zone);
    let last = match group.newest.returned {
        None => format!("stands since {}", near(group.newest.raised)),
        Some(at) => format!("gone at {}", near(at)),
    };
    if group.n_raised + group.n_returned == 1 {
        return last;
    }
    let counts = [(group.n_raised, "raised"), (group.n_returned, "gone")];
    let counts: Vec<String> =
        counts.iter().filter(|(n, _)| *n > 0).map(|(n, word)| format!("{word} {}", times(*n))).collect();
    format!("{}; {last}", counts.join(", "))
}

fn times(n: usize) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}
