//! The form that records a part change of a tool. Owns its fields; what is taken of it is the server's.

use crate::format;
use crate::learn::words::capital;
use crate::view::{PartTyped, PartsPage, PrinterParts, ToolParts};
use maud::{Markup, html};

const PARTS: [&str; 5] = ["liner", "nozzle", "heat_break", "heater", "hot_end"];
const EVENTS: [&str; 2] = ["fitted", "removed"];
const REASONS: [(&str, &str); 3] = [("", "not told"), ("failed", "it had failed"), ("preventive", "before it failed")];

pub(super) fn form(idx: usize, printer: &PrinterParts, tool: &ToolParts, page: &PartsPage) -> Markup {
    let number = tool.number.to_string();
    let typed = page.typed.as_ref().filter(|typed| typed.printer == printer.name && typed.tool == number);
    let is_open = typed.is_some();
    let nothing = PartTyped::default();
    let typed = typed.unwrap_or(&nothing);
    html! {
        details class="record" id={ "record-" (idx) "-" (number) } open[is_open] {
            summary { "Record a change of " (format::tool(tool.number)) }
            form method="post" action="/parts" {
                input type="hidden" name="token" value=(page.token);
                input type="hidden" name="printer" value=(printer.name);
                input type="hidden" name="tool" value=(number);
                label { "Part" select name="part" {
                    @for part in PARTS { option value=(part) selected[typed.part == part] { (capital(&format::word(part))) } }
                } }
                label { "Was" select name="event" {
                    @for event in EVENTS { option value=(event) selected[typed.event == event] { (event) } }
                } }
                label { "Why" select name="reason" {
                    @for (word, says) in REASONS { option value=(word) selected[typed.reason == word] { (says) } }
                } }
                label { "When (left out: now)"
                    input type="datetime-local" name="at" value=(typed.at) max=(format::local_minute(page.at, &page.frame.zone));
                }
                label class="note" { "Note (may be left out)" input name="note" maxlength="500" autocomplete="off" value=(typed.note); }
                button type="submit" { "Record it" }
            }
            p class="quiet" {
                "A part that is replaced: record the new one as fitted, and say why; the old one's life ends with it. "
                "Times are those of " (format::zone_name(&page.frame.zone)) "."
            }
        }
    }
}
