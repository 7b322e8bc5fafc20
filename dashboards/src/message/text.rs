//! A message as plain text in 78 columns; links alone may be longer, since a broken one leads nowhere.

use super::group::{Group, about, course, groups, is_bad};
use super::{chart, subject, when, why};
use crate::plain::Lines;
use crate::view::{AlarmLinks, MessageKind, MessageView, NoticeView};
use crate::{SAFETY_WORDS, format};

const COLUMNS: usize = 78;

/// The plain part of a message.
#[must_use]
pub fn text(view: &MessageView) -> String {
    let mut out = Lines::new(COLUMNS);
    out.wrapped("", &subject(view));
    if let Some(why) = why(view) {
        out.line("");
        out.wrapped("", &why);
    }
    match (view.kind, view.notices.as_slice()) {
        (MessageKind::Test, _) => {}
        (_, [notice]) => single(notice, view, &mut out),
        _ => several(view, &mut out),
    }
    if let Some(list) = &view.list {
        link("All alarms", list, &mut out);
    }
    out.line("");
    out.wrapped("", SAFETY_WORDS);
    out.into_text()
}

fn single(notice: &NoticeView, view: &MessageView, out: &mut Lines) {
    out.wrapped("", &when(notice, view));
    if let Some(words) = &notice.words {
        out.line("");
        out.wrapped("Cause: ", &format::sentence(&words.cause));
        out.wrapped("Consequence: ", &format::sentence(&words.consequence));
        out.wrapped("Do: ", &format::sentence(&words.action));
    }
    if let Some((shown, bars)) = view.chart.as_ref().and_then(|shown| Some((shown, chart::bars(shown)?))) {
        out.line("");
        out.wrapped("", &bars.title(shown, view));
        out.line(&bars.line());
        for words in bars.words(shown, view) {
            out.wrapped("", &words);
        }
    }
    if let Some(links) = &notice.links {
        act(links, view, out);
    }
}

fn act(links: &AlarmLinks, view: &MessageView, out: &mut Lines) {
    link("Acknowledge", &links.acknowledge, out);
    link("Shelve for an hour", &links.shelve, out);
    out.line("");
    let until = format::moment(links.until, &view.zone);
    out.wrapped("", &format!("A link opens a page that asks before it does anything, until {until}."));
}

fn link(words: &str, address: &str, out: &mut Lines) {
    out.line("");
    out.line(&format!("{words}:"));
    out.line(&self::address(address));
}

/// As it may stand in a line of its own.
fn address(link: &str) -> String {
    link.replace(char::is_control, "")
}

fn several(view: &MessageView, out: &mut Lines) {
    let (shown, more) = groups(view);
    for group in &shown {
        one(group, view, out);
    }
    if more > 0 {
        out.line("");
        out.wrapped("", &super::more(more));
    }
}

fn one(group: &Group<'_>, view: &MessageView, out: &mut Lines) {
    out.line("");
    out.wrapped("- ", &format!("{} ({}): {}.", about(group), group.priority, course(group, view)));
    if let Some(words) = group.told.and_then(|notice| notice.words.as_ref()) {
        out.wrapped("  ", &format::sentence(&words.cause));
        out.wrapped("  Do: ", &format::sentence(&words.action));
    }
    // One a line of the group, so that there are no more of them than lines are shown.
    if let Some(links) = group.newest.links.as_ref().filter(|_| is_bad(group.newest)) {
        out.line("  Acknowledge:");
        out.line(&address(&links.acknowledge));
    }
}
