//! The *Alarms* page: what stands, what is held, how the alarms did, and what became of each.

use super::{Page, Place, shell};
use crate::alarms::{Call, SAID_MAX, about, acts, alarm, call, figures, gravest_first, hold_words};
use crate::format;
use crate::view::{AlarmChangeView, AlarmView, AlarmsView, HoldView, PastAlarm, StuckWay};
use maud::{Markup, html};

/// Lines of what nobody has looked at.
const UNSEEN_MAX: usize = 20;

/// The whole page.
#[must_use]
pub fn render_alarms(view: &AlarmsView) -> String {
    let body = html! {
        h1 { "Alarms" }
        @if view.is_unwritten { (not_written()) }
        (stuck(view))
        (open(view))
        (holds(view))
        section aria-labelledby="figures" {
            h2 id="figures" { "How they did" }
            @match &view.figures {
                Some(found) => (figures(found, &view.frame.zone)),
                None => p { "Nothing has been recorded yet, so there is nothing to count." },
            }
        }
        (past(view))
    };
    shell(&Page { title: &title(view), place: Place::Alarms, frame: Some(&view.frame), body })
}

/// How many wait to be looked at, so that a browser's tab tells it too.
fn title(view: &AlarmsView) -> String {
    match view.open.iter().filter(|alarm| matches!(call(alarm), Call::Calls | Call::Unseen)).count() {
        0 => "Alarms".to_owned(),
        n => format!("{n} unacknowledged: Alarms"),
    }
}

fn not_written() -> Markup {
    html! {
        section class="unwritten" aria-label="The record" {
            span class="sign" aria-hidden="true" { "◇" }
            div {
                p class="headline" { "The record can't be written now." }
                p {
                    "What stands is shown all the same, from memory. Figures and history end where the record does, and nothing "
                    "that is said of an alarm is taken until it can be written again. " a href="/" { "Now" } " has the cause."
                }
            }
        }
    }
}

/// Ways that fail: an alarm is then seen here alone.
fn stuck(view: &AlarmsView) -> Markup {
    html! {
        @if !view.stuck.is_empty() {
            section class="unwritten" aria-labelledby="stuck" {
                span class="sign" aria-hidden="true" { "◇" }
                div {
                    h2 id="stuck" class="headline" { "Messages do not arrive" }
                    ul { @for way in &view.stuck { li { (stuck_words(way, view)) } } }
                    p {
                        strong { "Do: " } "See in dwellwatch's log why; " (super::commands("`dwellwatch alarms test`"))
                        " tries each way once."
                    }
                }
            }
        }
    }
}

fn stuck_words(way: &StuckWay, view: &AlarmsView) -> String {
    let near = |at| format::clock_near(at, view.at, &view.frame.zone);
    let waits = if way.n_in_message == 1 { "waits" } else { "wait" };
    let changes = format::counted(way.n_in_message, "change");
    let next =
        if way.next > view.at { format!("the next at {}", near(way.next)) } else { "the next is due".to_owned() };
    let behind = match way.n_behind {
        0 => String::new(),
        n => format!(", and up to {n} more behind"),
    };
    let (name, tries, since) = (&way.name, way.n_tries, near(way.since));
    format!("{name}: not delivered since {since}, {tries} tries, {next}; {changes} {waits}{behind}.")
}

fn open(view: &AlarmsView) -> Markup {
    let (held, open): (Vec<_>, Vec<_>) =
        gravest_first(&view.open).into_iter().partition(|alarm| call(alarm) == Call::None);
    let (unseen, open): (Vec<_>, Vec<_>) = open.into_iter().partition(|alarm| call(alarm) == Call::Unseen);
    html! {
        section aria-labelledby="open" {
            h2 id="open" class="unseen" { "What stands or waits to be seen" }
            @if open.is_empty() {
                p class="lead" {
                    "No alarm stands" (if unseen.is_empty() { ", and none waits to be seen." } else { "." })
                }
            }
            @for open in &open {
                (alarm(open, view.at, &view.frame.zone, acts(open, &view.token, true).as_ref()))
            }
        }
        (self::unseen(&unseen, view))
        @if !held.is_empty() {
            section aria-labelledby="held" {
                h2 id="held" { "Held back" }
                p class="quiet" { "These were found too, and call nobody: a person said so, the printer is being set up, or the same was said lately." }
                @for held in &held {
                    details id={ "held-" (held.id.unwrap_or_default()) } {
                        summary { (about(held)) ", " (held.state) }
                        (alarm(held, view.at, &view.frame.zone, acts(held, &view.token, true).as_ref()))
                    }
                }
            }
        }
    }
}

/// What came and went and nobody has looked at: a line each, since a record that was replayed may have many.
fn unseen(unseen: &[&AlarmView], view: &AlarmsView) -> Markup {
    html! {
        @if !unseen.is_empty() {
            section aria-labelledby="unseen" {
                h2 id="unseen" { "Came and went, and nobody has looked" }
                @for alarm in unseen.iter().take(UNSEEN_MAX) {
                    details id={ "unseen-" (alarm.id.unwrap_or_default()) } {
                        summary {
                            (about(alarm)) ", " (alarm.priority) " priority, "
                            (format::clock_near(alarm.raised, view.at, &view.frame.zone))
                        }
                        (self::alarm(alarm, view.at, &view.frame.zone, acts(alarm, &view.token, true).as_ref()))
                    }
                }
                @if unseen.len() > UNSEEN_MAX {
                    p class="quiet" { "And " (unseen.len() - UNSEEN_MAX) " more, which follow when these have been acknowledged." }
                }
                @if unseen.len() > 1 { (acknowledge_all(view)) }
            }
        }
    }
}

/// One button for all of them, and for none that came after the page was drawn.
fn acknowledge_all(view: &AlarmsView) -> Markup {
    html! {
        form class="acts" method="post" action="/alarms/returned/acknowledge" {
            input type="hidden" name="token" value=(view.token);
            input type="hidden" name="before" value=(view.at.as_ms());
            label { "Your name (optional)" input name="by" maxlength=(SAID_MAX) autocomplete="name"; }
            button type="submit" { "Acknowledge all that came and went" }
        }
    }
}

fn holds(view: &AlarmsView) -> Markup {
    html! {
        @if !view.holds.is_empty() {
            section aria-labelledby="holds" {
                h2 id="holds" { "Shelved and out of service" }
                ul class="holds" { @for hold in &view.holds { li { (hold_entry(hold, view)) } } }
            }
        }
    }
}

fn hold_entry(hold: &HoldView, view: &AlarmsView) -> Markup {
    let (act, words) = match hold.kind {
        "shelved" => ("unshelve", "End shelving"),
        _ => ("return-to-service", "Return to service"),
    };
    let about = format::about(hold.printer.as_deref(), hold.tool, hold.rule);
    html! {
        span { (hold_words(hold, view.at, &view.frame.zone)) }
        @if let Some(id) = hold.alarm {
            form class="acts" method="post" action={ "/alarms/" (id) "/" (act) } {
                input type="hidden" name="token" value=(view.token);
                button type="submit" aria-label={ (words) " of " (about) } { (words) }
            }
        }
    }
}

fn past(view: &AlarmsView) -> Markup {
    html! {
        section aria-labelledby="past" {
            h2 id="past" { "The last 30 days" }
            @if view.past.is_empty() { p { (format::NO_CALL) } }
            ol class="past" { @for past in &view.past { li { (entry(past, view)) } } }
            @if view.n_more > 0 {
                p class="quiet" {
                    "And " (view.n_more) " before them; " code { "dwellwatch alarms" } " lists all of the record."
                }
            }
            @if let Some(words) = format::recorded_quietly(view.n_quiet) { p class="quiet" { (crate::page::commands(&words)) } }
        }
    }
}

fn entry(past: &PastAlarm, view: &AlarmsView) -> Markup {
    let alarm = &past.alarm;
    let moment = |at| format::moment_short(at, &view.frame.zone);
    let lasted = match alarm.returned {
        Some(at) => format!("lasted {}", format::duration(at - alarm.raised)),
        None => "stands".to_owned(),
    };
    let marked = match alarm.is_right {
        Some(true) => ", marked as right",
        Some(false) => ", marked as false",
        None => "",
    };
    html! {
        p class="print-head" {
            strong { (about(alarm)) }
            span class="quiet" { (moment(alarm.raised)) ", " (lasted) ", " (alarm.priority) " priority, " (alarm.state) (marked) }
        }
        details id={ "past-" (alarm.id.unwrap_or_default()) } {
            summary { (format::sentence(&alarm.cause)) }
            p { (format::sentence(&alarm.consequence)) " " strong { "Do: " } (super::commands(&format::sentence(&alarm.action))) }
            ol class="changes" { @for change in &past.changes { li { (changed(change, view)) } } }
            @if past.changes.is_empty() { p class="quiet" { "Its changes were not kept: it is older than they are." } }
            @if alarm.is_right.is_none() { (mark(past, view)) }
        }
    }
}

fn changed(change: &AlarmChangeView, view: &AlarmsView) -> Markup {
    html! {
        (format::moment_short(change.at, &view.frame.zone)) ": " (change.to) ", by " (change.by)
        @if let Some(why) = &change.why { ": " (why) }
    }
}

/// What is over can still be said to have been right or false; what is open has these buttons above.
fn mark(past: &PastAlarm, view: &AlarmsView) -> Markup {
    let path = |act: &str, id: i64| format!("/alarms/{id}/{act}");
    html! {
        @if let (Some(id), "normal") = (past.alarm.id, past.alarm.state) {
            form class="acts" method="post" action=(path("right", id)) {
                input type="hidden" name="token" value=(view.token);
                button type="submit" { "It was right" }
                button type="submit" formaction=(path("false", id)) { "It was false" }
            }
        }
    }
}
