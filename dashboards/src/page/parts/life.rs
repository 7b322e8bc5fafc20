//! One part in use: what it went through, until when it may be kept, and the curve that says so. Owns how the curve and
//! its lives are drawn; every number comes with the view.

use super::liner;
use crate::format;
use crate::learn::words::capital;
use crate::parts::{left, replace, rests_on};
use crate::view::{LivesView, PartExpected, PartNow, PartView, PartsPage, Replace, ToolParts};
use maud::{Markup, html};

pub(super) fn part(tool_head: &str, tool: &ToolParts, part: &PartNow, page: &PartsPage) -> Markup {
    let head = format!("{tool_head}-{}", part.part);
    html! {
        article class=(class(part)) aria-labelledby=(head) {
            h4 id=(head) { (capital(&format::word(part.part))) }
            p class="quiet" { "Fitted " (format::moment(part.fitted, &page.frame.zone)) }
            @match &part.figures {
                None => p { "What it went through since is being worked out." },
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

fn drawn(_id: &str, _lives: &LivesView, _age: f64, _expected: &PartExpected) -> Markup {
    html! {}
}
