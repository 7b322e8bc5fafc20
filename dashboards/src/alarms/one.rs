//! One alarm, what a person can do about it, and one hold.

use super::{Call, SAID_MAX, SHELVE_FOR, call};
use crate::format;
use crate::view::{AlarmView, HoldView};
use dwell_analysis::time::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// What it is about, such as `bench T1: idle hot`.
pub(crate) fn about(alarm: &AlarmView) -> String {
    format::about(alarm.printer.as_deref(), alarm.tool, alarm.rule)
}

/// One alarm: what it is, since when, and what to do. `acts` stands below it.
pub(crate) fn alarm(alarm: &AlarmView, now: Timestamp, zone: &TimeZone, acts: Option<&Markup>) -> Markup {
    let (class, sign) = looks(alarm);
    html! {
        div class={ "alarm " (class) } {
            p class="alarm-head" {
                span class="sign" aria-hidden="true" { (sign) }
                strong { (about(alarm)) }
                span class="grade" { (alarm.priority) " priority, " (alarm.state) }
            }
            p class="quiet" {
                "Raised " (format::clock_near(alarm.raised, now, zone))
                @match alarm.returned {
                    Some(at) => { ", gone " (format::clock_near(at, now, zone)) },
                    None => { ", stands for " (format::duration(now - alarm.raised)) },
                }
                // What came back unacknowledged rests on no word that somebody said before.
                @if let Some(at) = alarm.acknowledged.filter(|_| !is_asking(alarm)) { ", acknowledged " (format::clock_near(at, now, zone)) }
                @match alarm.is_right {
                    Some(true) => ", marked as right",
                    Some(false) => ", marked as false",
                    None => {}
                }
            }
            p { (format::sentence(&alarm.cause)) " " (format::sentence(&alarm.consequence)) }
            p { strong { "Do: " } (crate::page::commands(&format::sentence(&alarm.action))) }
            @if let Some(acts) = acts { (acts) }
        }
    }
}

/// Whether somebody is to acknowledge it, whoever did so before.
fn is_asking(alarm: &AlarmView) -> bool {
    matches!(call(alarm), Call::Calls | Call::Unseen)
}

/// The class and the sign: shape and words tell what the colour does.
fn looks(alarm: &AlarmView) -> (String, &'static str) {
    let (class, sign) = match (call(alarm), alarm.returned) {
        (Call::Calls, _) => ("standing", "▲"),
        (Call::Known, _) => ("known", "◆"),
        (Call::Unseen, _) | (Call::None, Some(_)) => ("", "△"),
        (Call::None, None) => ("held", "◌"),
    };
    (format!("{class} {}", alarm.priority), sign)
}

/// What a person can do about it: one form, in which each button says what it does. Only the *Alarms* page offers
/// `is_all` of it; *Now* has what takes one tap, and leads back to itself.
pub(crate) fn acts(alarm: &AlarmView, token: &str, is_all: bool) -> Option<Markup> {
    let id = alarm.id?;
    let asks = is_asking(alarm);
    let path = |act: &str| format!("/alarms/{id}/{act}");
    if !is_all && !asks {
        return None;
    }
    Some(html! {
        form class="acts" method="post" action=(path("acknowledge")) {
            input type="hidden" name="token" value=(token);
            @if !is_all { input type="hidden" name="back" value="now"; }
            // Enter in a text would press the first button of all: this one, which takes nothing.
            @if is_all { button type="submit" disabled hidden { "Pick what is to be done" } }
            @if asks {
                button type="submit" class="acknowledge" aria-label={ "Acknowledge " (about(alarm)) } { "Acknowledge" }
            }
            @if !is_all && alarm.returned.is_none() {
                input type="hidden" name="minutes" value="60";
                button type="submit" formaction=(path("shelve")) aria-label={ "Shelve for an hour: " (about(alarm)) } {
                    "Shelve for an hour"
                }
            }
            @if is_all { (more(alarm, id, &path)) }
        }
    })
}

fn more(alarm: &AlarmView, id: i64, path: &impl Fn(&str) -> String) -> Markup {
    let is_held = matches!(alarm.state, "shelved" | "out of service" | "suppressed by design");
    let marked = |as_what: bool| (alarm.is_right == Some(as_what)).then_some("true");
    html! {
        details id={ "more-" (id) } {
            summary { "Shelve, take out of service, or say whether it was right" }
            div class="said" {
                label { "Your name (optional)" input name="by" maxlength=(SAID_MAX) autocomplete="name"; }
                label class="note" { "Why (needed to take it out of service)" input name="why" maxlength=(SAID_MAX); }
            }
            @if !is_held {
                div class="said" {
                    label {
                        "For how long"
                        select name="minutes" {
                            @for (minutes, words) in SHELVE_FOR { option value=(minutes) selected[minutes == 60] { (words) } }
                        }
                    }
                    button type="submit" formaction=(path("shelve")) { "Shelve" }
                    button type="submit" formaction=(path("out-of-service")) { "Take out of service" }
                }
            }
            div class="said" {
                button type="submit" formaction=(path("right")) aria-pressed=[marked(true)] { "It was right" }
                button type="submit" formaction=(path("false")) aria-pressed=[marked(false)] { "It was false" }
            }
        }
    }
}

/// A hold in words: `bench T1: idle hot, shelved until 15:02 by Ada: nozzle is being changed`.
pub(crate) fn hold_words(hold: &HoldView, now: Timestamp, zone: &TimeZone) -> String {
    let near = |at| format::clock_near(at, now, zone);
    let about = format::about(hold.printer.as_deref(), hold.tool, hold.rule);
    let until =
        hold.until.map_or_else(|| format!("since {}", near(hold.began)), |until| format!("until {}", near(until)));
    let why = hold.why.as_deref().map_or_else(String::new, |why| format!(": {why}"));
    format!("{about}, {} {until} by {}{why}", hold.kind, hold.by)
}
