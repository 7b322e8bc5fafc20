//! One part in use: what it went through, until when it may be kept, and the curve that says so. Owns how the curve and
//! its lives are drawn; every number comes with the view.

use super::super::being_worked_out;
use super::liner;
use crate::chart::{Curve, CurvePoint, Own, PrintMark, Scale, Vertical, curve_beside};
use crate::format;
use crate::learn::words::capital;
use crate::parts::{left, replace, rests_on};
use crate::view::{LivesView, PartExpected, PartNow, PartView, PartsPage, PastPart, Replace, ToolParts};
use maud::{Markup, html};

pub(super) fn part(tool_head: &str, tool: &ToolParts, part: &PartNow, page: &PartsPage) -> Markup {
    let head = format!("{tool_head}-{}", part.part);
    html! {
        article class=(class(part)) aria-labelledby=(head) {
            h4 id=(head) { (capital(&format::word(part.part))) }
            p class="quiet" { "Fitted " (format::moment(part.fitted, &page.frame.zone)) }
            @match &part.figures {
                None => p { (being_worked_out(Some("/parts"))) },
                Some(figures) => {
                    (went_through(figures))
                    @match &figures.expected {
                        Err(reason) => p { "Nothing is expected of it: " (reason) "." },
                        Ok(expected) => {
                            p class="headline" { (replace(figures, expected)) }
                            p { (left(expected)) }
                            (curve(&head, figures, expected, page))
                            p class="quiet" { (rests_on(figures, expected)) }
                        },
                    }
                },
            }
            @if part.part == "liner" { (liner(tool.liner)) }
        }
    }
}

fn class(part: &PartNow) -> &'static str {
    let expected = part.figures.as_ref().and_then(|figures| figures.expected.as_ref().ok());
    match expected.map(|expected| &expected.replace) {
        Some(Replace::Due) => "part due",
        _ => "part",
    }
}

fn went_through(of: &PartView) -> Markup {
    let heated = match of.heat_cycles {
        1 => "once".to_owned(),
        n => format!("{n} times"),
    };
    html! {
        dl class="went" {
            div { dt { "Hot" } dd { (format::hours(of.hot.as_minutes() / 60.0)) } }
            div { dt { "Wear" } dd {
                @match &of.wear_h {
                    Ok(hours) => { (format::hours(*hours)) },
                    Err(reason) => { "not known: " (reason) },
                }
            } }
            div { dt { "Heated from cold" } dd { (heated) } }
        }
    }
}

/// The share of such parts that lasts to an age, with this one's age and its limit.
fn curve(id: &str, of: &PartView, expected: &PartExpected, page: &PartsPage) -> Markup {
    let lives = page.lives.iter().find(|lives| lives.part == of.part && !lives.curve.is_empty());
    let Some((lives, age)) = lives.zip(of.wear_h.as_ref().ok()) else { return html! {} };
    drawn(id, lives, *age, expected)
}

fn drawn(id: &str, lives: &LivesView, age: f64, expected: &PartExpected) -> Markup {
    let until = lives.curve.last().map_or(1.0, |last| last.age);
    let points: Vec<CurvePoint> =
        lives.curve.iter().map(|at| CurvePoint { x: at.age, low: at.low, value: at.share, high: at.high }).collect();
    let marks: Vec<PrintMark> = lives.past.iter().filter_map(mark).collect();
    let part = format::word(lives.part);
    let (now, limit) = (format::hours(age), format::hours(expected.limit_h));
    let (accepted, left) = (format::percent(expected.accepted.get()), share_at(lives, age));
    let told = format!(
        "Of new parts like this {part}, {left} are expected to last to the {now} of wear that it has now; {accepted} have failed by {limit}."
    );
    // Where a new one is no safer, there is nothing to replace it by, and no limit.
    let has_limit = !matches!(expected.replace, Replace::Unknown(_));
    let limit = has_limit.then(|| Vertical { x: expected.limit_h, words: format!("limit, {limit}") });
    let mut verticals: Vec<Vertical> =
        std::iter::once(Vertical { x: age, words: format!("now, {now}") }).chain(limit).collect();
    // The left one's words stand above the right one's line.
    verticals.sort_by(|a, b| a.x.total_cmp(&b.x));
    let of = Curve {
        id: &format!("{id}-curve"),
        name: &format!("Share of such parts that last to an age: {part}"),
        told: &told,
        x: Scale { from: 0.0, to: until, name: "hours of wear".to_owned(), show: format::hours, is_log: false },
        y: Scale { from: 0.0, to: 1.0, name: "share that lasts".to_owned(), show: format::percent, is_log: false },
        points: &points,
        is_stepped: false,
        marks: &marks,
        verticals: &verticals,
    };
    curve_beside(&of, &Own { one: "part", happened: "failed", did_not: "taken out sound" })
}

fn share_at(lives: &LivesView, age: f64) -> String {
    let nearest = lives.curve.iter().min_by(|a, b| (a.age - age).abs().total_cmp(&(b.age - age).abs()));
    nearest.map_or_else(|| "an unknown share".to_owned(), |at| format!("about {}", format::percent(at.share)))
}

/// A part of the record that is out, at the age that it came to.
fn mark(past: &PastPart) -> Option<PrintMark> {
    let x = *past.wear_h.as_ref().ok()?;
    let ended = format::day(past.ended);
    let words = format!("{} {}, out on {ended}", past.printer, format::tool(past.tool));
    Some(PrintMark { x, happened: past.has_failed, words })
}
