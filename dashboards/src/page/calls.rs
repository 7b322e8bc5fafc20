//! What *Now* shows of alarms, and where: as loud as each is grave.

use super::Live;
use crate::alarms::{Call, acts, alarm, call, grade, gravest_first, hold_words};
use crate::view::{AlarmView, NowView};
use dwell_analysis::time::Timestamp;
use maud::{Markup, html};

/// The alarms of *Now* in three: what is urgent and stands before the tools, what else stands, and what is gone. What is
/// held back is not among them.
pub(super) fn sorted(view: &NowView) -> [Vec<&AlarmView>; 3] {
    let shown = view.alarms.iter().filter(|alarm| call(alarm) != Call::None || alarm.returned.is_some());
    let (urgent, rest): (Vec<_>, Vec<_>) = gravest_first(shown).into_iter().partition(|alarm| is_urgent(alarm));
    let (gone, known) = rest.into_iter().partition(|alarm: &&AlarmView| alarm.returned.is_some());
    [urgent, known, gone]
}

/// Whether it stands and has some haste: nobody has looked, or it is grave.
fn is_urgent(alarm: &AlarmView) -> bool {
    match call(alarm) {
        Call::Calls => grade(alarm.priority) > grade("low"),
        Call::Known => grade(alarm.priority) > grade("medium"),
        Call::Unseen | Call::None => false,
    }
}

/// Alarms under a heading; nothing without one.
pub(super) fn others(
    (title, word): (&str, &str),
    alarms: &[&AlarmView],
    at: Timestamp,
    view: &NowView,
    live: &Live,
) -> Markup {
    let id = format!("{word}-alarms");
    html! {
        @if !alarms.is_empty() {
            section aria-label=(title) {
                h2 { (title) }
                div id=(id) data-child="div" { (alarm_list(&id, alarms, at, view, live)) }
            }
        }
    }
}

/// Alarms, each with its buttons, in the element of that id.
pub(super) fn alarm_list(id: &str, alarms: &[&AlarmView], at: Timestamp, view: &NowView, live: &Live) -> Markup {
    let id_of = |(idx, alarm): (usize, &&AlarmView)| {
        alarm.id.map_or_else(|| format!("{id}-unwritten-{idx}"), |number| format!("alarm-{number}"))
    };
    let ids: Vec<_> = alarms.iter().enumerate().map(id_of).collect();
    live.list(id, &ids, |idx, alarm_id| {
        html! {
            div id=(alarm_id) {
                @if let Some(shown) = alarms.get(idx) { (live.hole(alarm_id, || alarm_now(shown, at, view))) }
            }
        }
    })
}

/// One alarm with its buttons.
fn alarm_now(shown: &AlarmView, at: Timestamp, view: &NowView) -> Markup {
    alarm(shown, at, &view.frame.zone, acts(shown, &view.token, false).as_ref())
}

/// What is held back, and what came and went unseen, each in a line.
pub(super) fn quiet_lines(view: &NowView, at: Timestamp) -> Markup {
    let held: Vec<String> = view.holds.iter().map(|hold| hold_words(hold, at, &view.frame.zone)).collect();
    let unseen = match view.n_unseen {
        0 => None,
        1 => Some("1 more alarm came and went, and nobody has looked at it.".to_owned()),
        n => Some(format!("{n} more alarms came and went, and nobody has looked at them.")),
    };
    html! {
        @if !held.is_empty() { p class="quiet" { "Calls nobody: " (held.join("; ")) ". " a href="/alarms" { "Alarms" } } }
        @if let Some(unseen) = unseen { p class="quiet" { (unseen) " " a href="/alarms" { "Alarms" } } }
    }
}
