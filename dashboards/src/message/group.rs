//! Many notices as few lines: one a printer, tool and rule, with a count. Owns their order and how many are shown.

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
    /// How many notices they are.
    pub(super) n: usize,
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
    let told = notice.words.is_some().then_some(notice);
    Group { newest: notice, told, priority: notice.priority, n: 1 }
}

fn join<'a>(group: &mut Group<'a>, notice: &'a NoticeView) {
    group.newest = notice;
    group.n += 1;
    if notice.words.is_some() {
        group.told = Some(notice);
    }
    if grade(notice.priority) > grade(group.priority) {
        group.priority = notice.priority;
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

/// Whether it stands, and how many changes this message tells of: `stands since 14:02, the last of 3 changes in this
/// message`. What came before is not in it, so that it can't tell how often an alarm was raised or went.
pub(super) fn course(group: &Group<'_>, view: &MessageView) -> String {
    let near = |instant| format::clock_near(instant, view.made, &view.zone);
    let last = match group.newest.returned {
        None => format!("stands since {}", near(group.newest.raised)),
        Some(at) => format!("gone at {}", near(at)),
    };
    if group.n == 1 { last } else { format!("{last}, the last of {} changes in this message", group.n) }
}
