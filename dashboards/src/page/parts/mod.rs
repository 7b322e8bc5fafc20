//! The page *Parts*: what is fitted on each tool, what it went through, how long it may last, and what was told of parts
//! before. Owns its order; a part's sentences are those that commands print.

mod form;
mod life;

use super::{Page, Place, commands, notice, shell};
use crate::format;
use crate::learn::words::capital;
use crate::parts::HOW;
use crate::view::{LinerStands, PartNow, PartTold, PartsPage, PastPart, PrinterParts, Replace, ToolParts};
use maud::{Markup, html};

/// Changes of a tool that are listed; commands list all.
const TOLD_MAX: usize = 30;

/// The whole page.
#[must_use]
pub fn render_parts(page: &PartsPage) -> String {
    let body = html! {
        h1 { "Parts" }
        @if let Some(said) = &page.notice { (notice(said)) }
        p class="lead" { (lead(page)) }
        @for (idx, printer) in page.printers.iter().enumerate() { (of_printer(idx, printer, page)) }
        @if !page.printers.is_empty() { (foot()) }
    };
    shell(&Page { title: "Parts", place: Place::Parts, frame: Some(&page.frame), body })
}

fn lead(page: &PartsPage) -> String {
    if page.printers.is_empty() {
        return "No printer has been read yet. Its parts are told here once one has.".to_owned();
    }
    let parts = || page.printers.iter().flat_map(|printer| &printer.tools).flat_map(|tool| &tool.in_use);
    let is_due = |part: &&PartNow| {
        let expected = part.figures.as_ref().and_then(|figures| figures.expected.as_ref().ok());
        expected.is_some_and(|expected| matches!(expected.replace, Replace::Due))
    };
    let (all, due) = (parts().count(), parts().filter(is_due).count());
    let all_known = parts().all(|part| part.figures.is_some());
    match (all, due) {
        (0, _) => "No part was told yet. Say below when one was fitted: its age counts from then on.".to_owned(),
        (1, 0) if !all_known => "1 part in use was told; whether it is due is not known yet.".to_owned(),
        (n, 0) if !all_known => format!("{n} parts in use were told; whether all of them may stay is not known yet."),
        (1, 0) => "1 part in use was told, and it is not due.".to_owned(),
        (n, 0) => format!("{n} parts in use were told, and none of them is due."),
        (1, _) => "The part in use that was told is due: replace it.".to_owned(),
        (n, 1) => format!("1 of {n} parts in use is due: replace it."),
        (n, due) => format!("{due} of {n} parts in use are due: replace them."),
    }
}

fn of_printer(idx: usize, printer: &PrinterParts, page: &PartsPage) -> Markup {
    let head = format!("printer-{idx}");
    html! {
        section aria-labelledby=(head) {
            h2 id=(head) { (printer.name) }
            @if printer.tools.is_empty() { p { "Nothing has told yet how many tools it has." } }
            @for tool in &printer.tools { (of_tool(idx, printer, tool, page)) }
        }
    }
}

fn of_tool(idx: usize, printer: &PrinterParts, tool: &ToolParts, page: &PartsPage) -> Markup {
    let head = format!("tool-{idx}-{}", tool.number);
    html! {
        section class="tool parts" aria-labelledby=(head) {
            h3 id=(head) { (format::tool(tool.number)) }
            @if tool.in_use.is_empty() {
                p { "No part in use of this tool was told, so none has an age." }
            }
            @for part in &tool.in_use { (life::part(&head, tool, part, page)) }
            @if !tool.in_use.iter().any(|part| part.part == "liner") { (liner(tool.liner)) }
            (form::form(idx, printer, tool, page))
            (told(tool, page))
        }
    }
}

/// What the tool's liner stands, and what an overheated one does.
fn liner(stands: LinerStands) -> Markup {
    let fumes = "Overheated PTFE gives off fumes that harm people and kill birds: ventilate, and stay under it.";
    html! {
        @match stands {
            LinerStands::Absent => p class="quiet" { "The configuration says that this tool has no liner." },
            LinerStands::Rated(rating) => p class="rating" {
                span class="sign" aria-hidden="true" { "▲ " }
                "Its liner is rated for " (format::celsius_whole(rating)) ". " (fumes)
            },
            LinerStands::Assumed(taken) => p class="rating" {
                span class="sign" aria-hidden="true" { "▲ " }
                "The configuration does not say what liner this is (" (commands("`liner_max_c`")) "): PTFE is taken to last at up to "
                (format::celsius_whole(taken)) ". " (fumes)
            },
        }
    }
}

/// All that was told of a tool's parts, with what the lives came to that it ended.
fn told(tool: &ToolParts, page: &PartsPage) -> Markup {
    let head = |tool: &ToolParts| format!("Part changes of {}", format::tool(tool.number));
    html! {
        @if !tool.changes.is_empty() {
            details {
                summary { (capital(&crate::learn::words::counted(tool.changes.len(), "change"))) " told so far" }
                div class="scroll" tabindex="0" role="region" aria-label=(head(tool)) {
                    table class="told" {
                        thead { tr {
                            th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Why" } th scope="col" { "Its life" }
                        } }
                        tbody { @for change in tool.changes.iter().take(TOLD_MAX) { (row(change, page)) } }
                    }
                }
                @if tool.changes.len() > TOLD_MAX { p class="quiet" { "Older ones: " (commands("`dwellwatch parts`")) "." } }
            }
        }
    }
}

fn row(change: &PartTold, page: &PartsPage) -> Markup {
    let note = change.note.as_deref().map_or_else(String::new, |note| format!(" “{note}”"));
    html! {
        tr {
            td { (format::moment(change.at, &page.frame.zone)) }
            th scope="row" { (capital(&format::word(change.part))) " " (change.event) }
            td { (change.reason.unwrap_or(format::NOT_TOLD)) (note) }
            td {
                @for (idx, past) in change.ended.iter().enumerate() { @if idx > 0 { br; } (came_to(past)) }
            }
        }
    }
}

/// What a life came to that is over.
fn came_to(past: &PastPart) -> String {
    let wear = match &past.wear_h {
        Ok(hours) => format!("{} of wear", format::hours(*hours)),
        Err(why) => format!("wear not known: {why}"),
    };
    let how = if past.has_failed { "failed after" } else { "taken out sound after" };
    let heated = match past.heat_cycles {
        1 => "heated once".to_owned(),
        n => format!("heated {n} times"),
    };
    let hot = format::hours(past.hot.as_minutes() / 60.0);
    format!("{} {how} {hot} hot, {wear}, {heated}", format::word(past.part))
}

fn foot() -> Markup {
    html! {
        section aria-labelledby="how" {
            h2 id="how" { "How it is counted" }
            p { (HOW) }
            p {
                "What was told of a part stands in the record. To correct it, tell what is right from then on: fitted by mistake, "
                "record it as removed a minute later, “before it failed”, and fit what is really in. A life without heat counts as none. "
                "Removed by mistake: record it as fitted again; it then counts as a new one."
            }
        }
    }
}
