//! A message as HTML for mail programs: styles stand at each element, nothing is fetched, and what the program paints
//! behind it may be light or dark, so that only what brings its own ground sets a colour of its ink.

use super::chart::{self, Bars};
use super::group::{Group, about, course, groups};
use super::{subject, when, why};
use crate::view::{AlarmLinks, AlarmWords, MessageChart, MessageKind, MessageView, NoticeView};
use crate::{SAFETY_WORDS, format};
use maud::{DOCTYPE, Markup, html};

/// Pixels from the chart's bottom to its top.
const HEIGHT: f64 = 72.0;

const BODY: &str = "margin:0;padding:16px;font:16px/1.5 system-ui,sans-serif;max-width:36em";
const SMALL: &str = "font-size:14px";
const BUTTON: &str = "display:inline-block;padding:14px 22px;margin:0 8px 8px 0;border:2px solid #0072b2;\
    border-radius:6px;background:#0072b2;color:#ffffff;font-weight:600;text-decoration:none";
const LINE: &str = "border-left:6px double #d55e00;padding:2px 0 2px 12px;margin:0 0 16px 0";
const GONE: &str = "border-left:4px solid #8a8d90;padding:2px 0 2px 12px;margin:0 0 16px 0";

/// The HTML part of a message: a whole document.
#[must_use]
pub fn html(view: &MessageView) -> String {
    let subject = subject(view);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="supported-color-schemes" content="light dark";
                title { (subject) }
            }
            body style=(BODY) {
                h1 style="font-size:20px;line-height:1.3;margin:0 0 8px 0" { (subject) }
                @if let Some(why) = why(view) { p { (why) } }
                @match (view.kind, view.notices.as_slice()) {
                    (MessageKind::Test, _) => {}
                    (_, [notice]) => (single(notice, view)),
                    _ => (several(view)),
                }
                @if let Some(list) = &view.list { p { a href=(list) { "All alarms" } } }
                p style="font-size:14px;border-top:1px solid #8a8d90;padding-top:12px;margin-top:24px" { (SAFETY_WORDS) }
            }
        }
    }
    .into_string()
}

fn single(notice: &NoticeView, view: &MessageView) -> Markup {
    html! {
        p style=(SMALL) { (when(notice, view)) }
        @if let Some(told) = &notice.words { div style=(frame(notice)) { (words(told)) } }
        @if let Some((shown, bars)) = view.chart.as_ref().and_then(|shown| Some((shown, chart::bars(shown)?))) {
            (picture(&bars, shown, view))
        }
        @if let Some(links) = &notice.links { (act(links, view)) }
    }
}

fn frame(notice: &NoticeView) -> &'static str {
    if super::is_bad(notice) { LINE } else { GONE }
}

fn words(told: &AlarmWords) -> Markup {
    html! {
        p style="margin:0 0 8px 0" { strong { "Cause: " } (format::sentence(&told.cause)) }
        p style="margin:0 0 8px 0" { strong { "Consequence: " } (format::sentence(&told.consequence)) }
        p style="margin:0" { strong { "Do: " } (format::sentence(&told.action)) }
    }
}

fn act(links: &AlarmLinks, view: &MessageView) -> Markup {
    html! {
        p style="margin:16px 0 0 0" {
            a href=(links.acknowledge) style=(BUTTON) { "Acknowledge" }
            a href=(links.shelve) style=(BUTTON) { "Shelve for an hour" }
        }
        p style=(SMALL) {
            "A link opens a page that asks before it does anything, until " (format::moment(links.until, &view.zone)) "."
        }
    }
}

fn several(view: &MessageView) -> Markup {
    let (shown, more) = groups(view);
    html! {
        @for group in &shown { (one(group, view)) }
        @if more > 0 { p { (super::more(more)) } }
    }
}

fn one(group: &Group<'_>, view: &MessageView) -> Markup {
    html! {
        div style=(frame(group.newest)) {
            p style="margin:0" { strong { (about(group)) } " (" (group.priority) ")" }
            p style="margin:0;font-size:14px" { (format::sentence(&course(group, view))) }
            @if let Some(told) = group.told.and_then(|notice| notice.words.as_ref()) {
                p style="margin:8px 0 0 0" { (format::sentence(&told.cause)) }
                p style="margin:0" { strong { "Do: " } (format::sentence(&told.action)) }
            }
            @if let Some(links) = &group.newest.links {
                p style="margin:8px 0 0 0" {
                    a href=(links.acknowledge) style="display:inline-block;padding:10px 18px 10px 0" { "Acknowledge" }
                    a href=(links.shelve) style="display:inline-block;padding:10px 0" { "Shelve for an hour" }
                }
            }
        }
    }
}

/// Bars in a table. The limit is the line between two rows: what stands above it is over the limit.
fn picture(bars: &Bars, shown: &MessageChart, view: &MessageView) -> Markup {
    let (title, words) = (bars.title(shown, view), bars.words(shown, view).join(" "));
    let pixels = |degrees: f64| degrees * HEIGHT / (bars.top - bars.floor);
    html! {
        p style="margin:16px 0 4px 0;font-weight:600" { (title) }
        table role="img" aria-label=(words) cellpadding="0" cellspacing="0" border="0" style="border-collapse:collapse" {
            @if let Some(limit) = bars.limit {
                (row(bars, pixels(bars.top - limit), "#d55e00", |value| pixels(value - limit)))
                tr {
                    td colspan=(chart::BARS) style="height:2px;line-height:2px;font-size:1px;background:#d55e00" { }
                    td style="padding-left:6px;font-size:12px;line-height:2px" { "limit" }
                }
                (row(bars, pixels(limit - bars.floor), "#0072b2", |value| pixels(value.min(limit) - bars.floor)))
            } @else {
                (row(bars, HEIGHT, "#0072b2", |value| pixels(value - bars.floor)))
            }
            tr { td colspan=(chart::BARS) style="height:1px;line-height:1px;font-size:1px;background:#8a8d90" { } }
        }
        p style="margin:4px 0 0 0;font-size:14px" { (words) }
    }
}

fn row(bars: &Bars, height: f64, colour: &str, tall: impl Fn(f64) -> f64) -> Markup {
    let height = height.round();
    html! {
        @if height >= 1.0 {
            tr {
                @for bar in &bars.tops {
                    td valign="bottom" style={ "width:6px;padding:0 1px 0 0;font-size:0;line-height:0;height:" (height) "px" } {
                        @if let Some(tall) = bar.map(&tall).map(f64::round).filter(|tall| *tall >= 1.0) {
                            div style={ "width:5px;height:" (tall) "px;background:" (colour) } { }
                        }
                    }
                }
            }
        }
    }
}
